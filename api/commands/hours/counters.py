"""What happened to a counter: exchanged, set to another scale, misread; hours added, taken away, undone."""

from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any

import typer

from api.commands.shared.command import Output, command, counter_place, hand, instant_or_now, ship_stamps
from api.commands.shared.groups import group
from api.commands.shared.options import FIGURE, FIGURE_FROM_0, INSTANT, CounterId, Why

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from scheduler.actions.base.context import Answer, Context

counter_app = group(
    "counter",
    "Counters: what happened to them, and what the ledger makes of it.",
    "counter show plover-vp1-hours",
)

EventId = Annotated[str, typer.Argument(help="event id, as `leadline counter show` lists it")]
At = Annotated[
    datetime | None, typer.Option(help="when it happened, ship time or with offset (default: now)", **INSTANT)
]
ReadAt = Annotated[
    datetime, typer.Option(help="instant of the reading, as `leadline counter show` lists it", **INSTANT)
]
NewFirst = Annotated[float, typer.Option(help="what it showed first, in its own counts", **FIGURE)]
OldFinal = Annotated[float | None, typer.Option(help="what it showed last before, if it could be read", **FIGURE)]


@command(counter_app, "show")
def show_counter(
    context: "Context",
    counter: CounterId,
    limit: Annotated[int, typer.Option(help="how many of the newest ledger entries", min=1, max=10_000)] = 20,
) -> Output:
    """Show a counter: how it counts, newest ledger entries, flags, and what people recorded.

    Example: leadline counter show plover-vp1-hours
    """
    from api.routes.answers.hours import CounterAnswer
    from scheduler.actions.hours.counter_events import counter_book
    from scheduler.actions.hours.ledger import derive_vessel

    place = counter_place(context, counter)
    derive_vessel(context, place.vessel_id)
    book = CounterAnswer.of(counter_book(context, place, limit)).plain()
    return Output(book, _book_lines(book, ship_stamps(context, place.vessel_id)))


def _book_lines(book: "Mapping[str, Any]", ship: "Callable[[str], str]") -> "Iterator[str]":
    scale = book["scales"][-1]
    rolls = "no roll-over" if scale["modulus"] is None else f"starts again at 0 after {scale['modulus'] - 1}"
    yield f"{book['counter']}, position {book['position']}: {scale['seconds_per_count']} s a count, {rolls}"
    yield f"newest reading {book['newest_value'] or 'none'}, observed {ship(book['newest_at']) if book['newest_at'] else 'never'}"
    for flag in book["flags"]:
        yield f"  flag {flag['at']} {flag['code']}: {flag['says']}"
    for event in book["events"]:
        hours = "" if event["hours"] is None else f" {event['hours']:+g} h"
        asked = f", asked for by {event['asked_by']}" if event["asked_by"] else ""
        what = f"{ship(event['at'])} {event['kind']}{hours}, {event['state']}"
        yield f"  event {event['id']} {what}: {event['reason']} ({event['by']}{asked})"
    for entry in book["entries"]:
        why = f", {entry['reason']}" if entry["reason"] else ""
        yield f"  {ship(entry['at'])} {entry['credit_hours']:+8.2f} h {entry['verdict']}{why}"


@command(counter_app)
def replaced(
    context: "Context",
    counter: CounterId,
    new_first: NewFirst,
    reason: Why,
    old_final: OldFinal = None,
    at: At = None,
) -> Output:
    """The counter was exchanged for another that counts alike.

    Example: leadline counter replaced plover-vp1-hours --old-final 12004 --new-first 0 --reason "display dead"
    """
    return _record(context, counter, at, reason, kind="replacement", old_final=old_final, new_first=new_first)


@command(counter_app)
def rescaled(
    context: "Context",
    counter: CounterId,
    seconds_per_count: Annotated[int, typer.Option(help="3600 hours, 360 tenths, 60 minutes, 1 seconds", min=1)],
    new_first: NewFirst,
    reason: Why,
    old_final: OldFinal = None,
    modulus: Annotated[int | None, typer.Option(help="count at which it starts again at 0 (default: never)")] = None,
    resolution: Annotated[float, typer.Option(help="smallest step, in counts", **FIGURE)] = 1.0,
    at: At = None,
) -> Output:
    """The counter counts on another scale, or rolls over elsewhere, from an instant on.

    Example: leadline counter rescaled plover-vp1-hours --seconds-per-count 60 --new-first 720240 --reason "new firmware"
    """
    return _record(
        context,
        counter,
        at,
        reason,
        kind="rescale",
        seconds_per_count=seconds_per_count,
        modulus=modulus,
        resolution=resolution,
        old_final=old_final,
        new_first=new_first,
    )


@command(counter_app)
def adjust(
    context: "Context",
    counter: CounterId,
    hours: Annotated[
        float, typer.Option(help="hours to add; below 0 takes away, which another person confirms", **FIGURE)
    ],
    reason: Why,
    at: At = None,
) -> Output:
    """Add running hours, or ask for some to be taken away.

    Example: leadline counter adjust plover-vp1-hours --hours 21 --reason "starter log, counter was dead"
    """
    return _record(context, counter, at, reason, kind="adjustment", hours=hours)


@command(counter_app)
def opening(
    context: "Context",
    counter: CounterId,
    hours: Annotated[float, typer.Option(help="hours run before the first reading", **FIGURE)],
    reason: Why,
    at: At = None,
) -> Output:
    """Give the hours run before the counter's first reading.

    Example: leadline counter opening plover-vp1-hours --hours 11000 --reason "log book of the yard"
    """
    return _record(context, counter, at, reason, kind="opening balance", hours=hours)


@command(counter_app)
def preset(
    context: "Context",
    counter: CounterId,
    hours: Annotated[float, typer.Option(help="hours that the jump is worth", **FIGURE_FROM_0)],
    at: ReadAt,
    reason: Why,
) -> Output:
    """The counter was set at a reading: say what the jump is worth; the count goes on from there.

    Example: leadline counter preset plover-vp1-hours --hours 6 --at 2026-11-25T07:00:00Z --reason "preset by the yard"
    """
    return _record(context, counter, at, reason, kind="step decision", hours=hours)


@command(counter_app)
def misread(context: "Context", counter: CounterId, at: ReadAt, reason: Why) -> Output:
    """A reading is wrong and is not to be used.

    Example: leadline counter misread plover-vp1-hours --at 2026-11-25T07:00:00Z --reason "two digits exchanged"
    """
    return _record(context, counter, at, reason, kind="bad reading")


@command(counter_app)
def primary(context: "Context", counter: CounterId, reason: Why, at: At = None) -> Output:
    """This counter counts for its position from an instant on; the others only check it.

    Example: leadline counter primary plover-vp1-drive --at 2026-11-25T07:00:00Z --reason "panel counter sticks"
    """
    return _record(context, counter, at, reason, kind="primary")


@command(counter_app, "undo")
def undo_event(context: "Context", counter: CounterId, event: EventId, reason: Why) -> Output:
    """Undo an event, or turn down what was asked for. Both stay in the record.

    Example: leadline counter undo plover-vp1-hours 3f9c2a7b1e5d4c60 --reason "wrong pump"
    """
    from scheduler.actions.hours import undoing

    asked = hand(context, {"undo": event, "counter": counter})
    return _recorded(undoing.undo_event(context, asked, counter_place(context, counter), event, reason))


@command(counter_app, "confirm")
def confirm_event(
    context: "Context",
    counter: CounterId,
    event: EventId,
    reason: Annotated[str, typer.Option(help="anything to add")] = "",
) -> Output:
    """Confirm what another person asked for, with your own key: hours are taken away by two people.

    Example: leadline --key-file own.key counter confirm plover-vp1-hours 3f9c2a7b1e5d4c60
    """
    from scheduler.actions.hours import undoing

    asked = hand(context, {"confirm": event, "counter": counter})
    return _recorded(undoing.confirm_event(context, asked, counter_place(context, counter), event, reason))


def _record(context: "Context", counter: str, at: datetime | None, reason: str, **members: Any) -> Output:
    from scheduler.actions.hours import counter_events

    place = counter_place(context, counter)
    event = counter_events.CounterEvent(at=instant_or_now(context, place.vessel_id, at), reason=reason, **members)
    asked = {"counter": counter, "at": event.at.isoformat(), "reason": reason, **members}
    return _recorded(counter_events.add_event(context, hand(context, asked), place, event))


def _recorded(answer: "Answer") -> Output:
    body = answer.body
    says = body.get("says", "The ledger follows.")
    return Output(body, [f"{body['event']} {body['id']} of {body['counter']}, record {body['record']}. {says}"])
