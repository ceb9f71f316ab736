"""What happened to a counter: exchanged, set to another scale, misread; hours added, taken away, undone."""

from typing import TYPE_CHECKING, Annotated, Any

import typer

from api.commands.shared.common import HELP, AsJson, app, command_context, hand, instant_given, me, out

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from scheduler.actions.base.context import Answer

counter_app = typer.Typer(
    help="Counters: what happened to them, and what the ledger makes of it.\n\nExample: leadline counter show plover-vp1-hours",
    context_settings=HELP,
    rich_markup_mode=None,
    no_args_is_help=True,
)
app.add_typer(counter_app, name="counter")

Counter = Annotated[str, typer.Argument(help="counter id")]
EventId = Annotated[str, typer.Argument(help="event id, as `leadline counter show` lists it")]
Reason = Annotated[str, typer.Option(help="why, in a few words")]
At = Annotated[str | None, typer.Option(help="when it happened, with offset (default: now)")]
ReadAt = Annotated[str, typer.Option(help="instant of the reading, as `leadline counter show` lists it")]
NewFirst = Annotated[float, typer.Option(help="what it showed first, in its own counts")]
OldFinal = Annotated[float | None, typer.Option(help="what it showed last before, if it could be read")]


@counter_app.command()
def show(
    counter: Counter,
    limit: Annotated[int, typer.Option(help="how many of the newest ledger entries", min=1, max=10_000)] = 20,
    as_json: AsJson = False,
) -> None:
    """Show a counter: how it counts, newest ledger entries, flags, and what people recorded.

    Example: leadline counter show plover-vp1-hours
    """
    from api.routes.shared import shapes
    from scheduler.actions.hours.counter_events import counter_book
    from scheduler.actions.hours.ledger import derive_vessel
    from scheduler.actions.vessel import fleet
    from scheduler.storage.vessel import AssetKind

    with command_context() as context:
        place = fleet.locate(context, me(), counter, AssetKind.COUNTER)
        derive_vessel(context, place.vessel_id)
        told = shapes.counter_json(counter_book(context, place, limit))
    out(told, as_json, lambda: _shown(told))


def _shown(told: "Mapping[str, Any]") -> "Iterator[str]":
    scale = told["scales"][-1]
    rolls = "no roll-over" if scale["modulus"] is None else f"starts again at 0 after {scale['modulus'] - 1}"
    yield f"{told['counter']}, position {told['position']}: {scale['seconds_per_count']} s a count, {rolls}"
    yield f"newest reading {told['newest_value'] or 'none'}, observed {told['newest_at'] or 'never'}"
    for flag in told["flags"]:
        yield f"  flag {flag['at']} {flag['code']}: {flag['says']}"
    for event in told["events"]:
        hours = "" if event["hours"] is None else f" {event['hours']:+g} h"
        asked = f", asked for by {event['asked_by']}" if event["asked_by"] else ""
        yield f"  event {event['id']} {event['at']} {event['kind']}{hours}, {event['state']}: {event['reason']} ({event['by']}{asked})"
    for entry in told["entries"]:
        why = f", {entry['reason']}" if entry["reason"] else ""
        yield f"  {entry['at']} {entry['credit_hours']:+8.2f} h {entry['verdict']}{why}"


@counter_app.command()
def replaced(
    counter: Counter,
    new_first: NewFirst,
    reason: Reason,
    old_final: OldFinal = None,
    at: At = None,
    as_json: AsJson = False,
) -> None:
    """The counter was exchanged for another that counts alike.

    Example: leadline counter replaced plover-vp1-hours --old-final 12004 --new-first 0 --reason "display dead"
    """
    _record(counter, at, reason, as_json, kind="replacement", old_final=old_final, new_first=new_first)


@counter_app.command()
def rescaled(
    counter: Counter,
    seconds_per_count: Annotated[int, typer.Option(help="3600 hours, 360 tenths, 60 minutes, 1 seconds", min=1)],
    new_first: NewFirst,
    reason: Reason,
    old_final: OldFinal = None,
    modulus: Annotated[int | None, typer.Option(help="count at which it starts again at 0 (default: never)")] = None,
    resolution: Annotated[float, typer.Option(help="smallest step, in counts")] = 1.0,
    at: At = None,
    as_json: AsJson = False,
) -> None:
    """The counter counts on another scale, or rolls over elsewhere, from an instant on.

    Example: leadline counter rescaled plover-vp1-hours --seconds-per-count 60 --new-first 720240 --reason "new firmware"
    """
    _record(
        counter,
        at,
        reason,
        as_json,
        kind="rescale",
        seconds_per_count=seconds_per_count,
        modulus=modulus,
        resolution=resolution,
        old_final=old_final,
        new_first=new_first,
    )


@counter_app.command()
def adjust(
    counter: Counter,
    hours: Annotated[float, typer.Option(help="hours to add; below 0 takes away, which another person confirms")],
    reason: Reason,
    at: At = None,
    as_json: AsJson = False,
) -> None:
    """Add running hours, or ask for some to be taken away.

    Example: leadline counter adjust plover-vp1-hours --hours 21 --reason "starter log, counter was dead"
    """
    _record(counter, at, reason, as_json, kind="adjustment", hours=hours)


@counter_app.command()
def opening(
    counter: Counter,
    hours: Annotated[float, typer.Option(help="hours run before the first reading")],
    reason: Reason,
    at: At = None,
    as_json: AsJson = False,
) -> None:
    """Give the hours run before the counter's first reading.

    Example: leadline counter opening plover-vp1-hours --hours 11000 --reason "log book of the yard"
    """
    _record(counter, at, reason, as_json, kind="opening balance", hours=hours)


@counter_app.command()
def preset(
    counter: Counter,
    hours: Annotated[float, typer.Option(help="hours that the jump is worth", min=0)],
    at: ReadAt,
    reason: Reason,
    as_json: AsJson = False,
) -> None:
    """The counter was set at a reading: say what the jump is worth; the count goes on from there.

    Example: leadline counter preset plover-vp1-hours --hours 6 --at 2026-11-25T07:00:00Z --reason "preset by the yard"
    """
    _record(counter, at, reason, as_json, kind="step decision", hours=hours)


@counter_app.command()
def misread(counter: Counter, at: ReadAt, reason: Reason, as_json: AsJson = False) -> None:
    """A reading is wrong and is not to be used.

    Example: leadline counter misread plover-vp1-hours --at 2026-11-25T07:00:00Z --reason "two digits exchanged"
    """
    _record(counter, at, reason, as_json, kind="bad reading")


@counter_app.command()
def primary(counter: Counter, reason: Reason, at: At = None, as_json: AsJson = False) -> None:
    """This counter counts for its position from an instant on; the others only check it.

    Example: leadline counter primary plover-vp1-drive --at 2026-11-25T07:00:00Z --reason "panel counter sticks"
    """
    _record(counter, at, reason, as_json, kind="primary")


@counter_app.command()
def undo(counter: Counter, event: EventId, reason: Reason, as_json: AsJson = False) -> None:
    """Undo an event, or turn down what was asked for. Both stay in the record.

    Example: leadline counter undo plover-vp1-hours 3f9c2a7b1e5d4c60 --reason "wrong pump"
    """
    from scheduler.actions.hours import undoing
    from scheduler.actions.vessel import fleet
    from scheduler.storage.vessel import AssetKind

    with command_context() as context:
        place = fleet.locate(context, me(), counter, AssetKind.COUNTER)
        answer = undoing.undo_event(context, hand({"undo": event, "counter": counter}), place, event, reason)
    _told(answer, as_json)


@counter_app.command()
def confirm(
    counter: Counter,
    event: EventId,
    person: Annotated[str, typer.Option("--as", help="id of the chief engineer or office person who confirms")],
    reason: Annotated[str, typer.Option(help="anything to add")] = "",
    as_json: AsJson = False,
) -> None:
    """Confirm what another person asked for: hours are taken away by two people.

    Example: leadline counter confirm plover-vp1-hours 3f9c2a7b1e5d4c60 --as chief-plover
    """
    from scheduler.actions.base.context import Hand
    from scheduler.actions.hours import undoing
    from scheduler.actions.people import people
    from scheduler.actions.vessel import fleet
    from scheduler.storage.vessel import AssetKind

    with command_context() as context:
        place = fleet.locate(context, me(), counter, AssetKind.COUNTER)
        asked = hand({"confirm": event, "counter": counter})
        actor = people.in_the_name_of(context, person, me().name)
        actor.must_reach(place.vessel_id, f"counter {counter}")
        answer = undoing.confirm_event(context, Hand(actor, asked.key, asked.asked), place, event, reason)
    _told(answer, as_json)


def _record(counter: str, at: str | None, reason: str, as_json: bool, **told: Any) -> None:
    from scheduler.actions.hours import counter_events
    from scheduler.actions.vessel import fleet
    from scheduler.storage.vessel import AssetKind

    event = counter_events.CounterEvent(at=instant_given(at), reason=reason, **told)
    with command_context() as context:
        place = fleet.locate(context, me(), counter, AssetKind.COUNTER)
        asked = {"counter": counter, "at": event.at.isoformat(), "reason": reason, **told}
        answer = counter_events.add_event(context, hand(asked), place, event)
    _told(answer, as_json)


def _told(answer: "Answer", as_json: bool) -> None:
    body = answer.body
    says = body.get("says", "The ledger follows.")
    out(
        dict(body),
        as_json,
        lambda: iter([f"{body['event']} {body['id']} of {body['counter']}, record {body['record']}. {says}"]),
    )
