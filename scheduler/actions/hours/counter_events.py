"""Counter events: what people say about a counter. Each is a record; the ledger follows. Nothing is ever edited.

How the vessel's document and events share the work: the document says how a counter counted when first set up and which
counter of a position counted first (`primary`). From then on events alone change it: `rescale` another scale from an
instant on, `primary` another counter of the position. Once a counter has readings the document cannot change either.

Hours are taken away by two people: one asks, another of authority confirms (`undoing.confirm_event`); nothing
changes before. An undo is an event of its own that refers to the one it undoes (rule R16).
"""

import json
import secrets
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from math import isfinite
from typing import Any

from scheduler.actions.base.actor import person_of
from scheduler.actions.base.context import AHEAD, Answer, Context, Hand, hand_action, instant, seconds
from scheduler.actions.base.pending import ask_plan
from scheduler.actions.hours.ledger import GIVING, setups_of_counter, undone_by
from scheduler.actions.people.sides import ASKS, person_acting, remember_side
from scheduler.actions.vessel.document import document_of, position_names
from scheduler.actions.vessel.fleet import Place, clock_of
from scheduler.domain.hours.accepting import MOST_COUNTS, Refusal, value_milli
from scheduler.domain.hours.ledger import Flag, Setup, setup_at
from scheduler.domain.people.persons import Person
from scheduler.errors import NotFound, Refused
from scheduler.language import gettext
from scheduler.shiptime import ShipOffset
from scheduler.storage.database import Session
from scheduler.storage.hours.counters import (
    CounterEventRow,
    CounterRow,
    counter_event_rows,
    counter_rows,
    find_counter,
    flag_rows,
)
from scheduler.storage.hours.ledger import LedgerEntryRow, recent_entries
from scheduler.storage.hours.readings import value_at
from scheduler.storage.record import append_record

MOST_HOURS = 200_000
ASKED_ADJUSTMENT, ASKED_UNDO = "adjustment asked", "undo asked"
ASKED = {ASKED_ADJUSTMENT: "adjustment", ASKED_UNDO: "undo"}
"""Kinds that change nothing until confirmed, and what they become."""
EXPECTED = "replacement, rescale, adjustment, opening balance, step decision, bad reading, primary or nothing missing"


@dataclass(frozen=True, slots=True, kw_only=True)
class CounterEvent:
    """What happened to a counter.

    kind: replacement, rescale, adjustment, opening balance, step decision, bad reading, primary, nothing missing.
    old_final, new_first: counts shown at the end (none: not known) and at the start; of a rescale in old and new counts.
    hours: running hours added (an adjustment may take away), or that a jump of the counter is decided to be worth.
    seconds_per_count, modulus, resolution: how it counts from a rescale on.
    A decision or a bad reading is about the reading at exactly `at`, as the ledger shows it; nothing missing, about the
    flag at exactly `at`. Primary: this counter is the one that counts for its position from `at` on.
    """

    kind: str
    at: datetime
    reason: str
    old_final: float | None = None
    new_first: float | None = None
    hours: float | None = None
    seconds_per_count: int | None = None
    modulus: int | None = None
    resolution: float | None = None


def add_event(context: Context, hand: Hand, place: Place, event: CounterEvent) -> Answer:
    """Record the event and have the ledger derived from its instant on.

    An adjustment that takes hours away is only asked for (status 202) until another person confirms it.

    Raises:
        Refused: an instant to come, no reason, a value missing or impossible. NotAllowed: hours taken away by nobody known.
    """
    with context.db.read() as session:
        name = counter_words(session, counter_row(session, place))
    with _naming(name):
        must_say_why(event.reason)
        if event.at > context.now() + AHEAD:
            says = gettext("that time is still to come; give the instant of the {kind}.", kind=event.kind)
            raise Refused(says, faults=[("/at", says)])

    def act(session: Session) -> Answer:
        row = counter_row(session, place)
        with _naming(name):
            detail = _detail(session, row, event)
        kind = ASKED_ADJUSTMENT if event.kind == "adjustment" and detail["seconds"] < 0 else event.kind
        if kind in ASKED:
            detail["asked_by_id"] = asker_of(context, hand).id
        elif kind in GIVING:
            detail["by_id"] = person_of(hand.actor).id
        return keep_event(context, session, hand, place, row, kind, seconds(event.at), detail, event.reason)

    return hand_action(context, hand, place.vessel_id, act)


@contextmanager
def _naming(name: str) -> Iterator[None]:
    """What is refused inside names the counter."""
    try:
        yield
    except Refused as refused:
        raise Refused(f"{name}: {refused.says}", faults=refused.faults) from refused


def keep_event(
    context: Context,
    session: Session,
    hand: Hand,
    place: Place,
    row: CounterRow,
    kind: str,
    at_s: int,
    detail: Mapping[str, Any],
    reason: str,
) -> Answer:
    """Store an event, its record, and what follows from it; what is only asked for has no effect yet."""
    assert row.no is not None
    event_id = secrets.token_hex(8)
    session.add(
        CounterEventRow(
            id=event_id,
            vessel_id=place.vessel_id,
            counter_no=row.no,
            kind=kind,
            at_s=at_s,
            detail=json.dumps(detail),
            actor=hand.actor.name,
            reason=reason,
            recorded_s=context.now_s(),
        )
    )
    payload = {
        "counter": place.id,
        "event": kind,
        "event_id": event_id,
        "at": instant(at_s),
        **{name: value for name, value in detail.items() if name not in ("asked_by_id", "by_id")},
        "reason": reason,
        "by": hand.actor.name,
    }
    number, _ = append_record(session, place.vessel_id, f"counter {kind}", context.now(), payload)
    told = {"counter": place.id, "event": kind, "id": event_id, "record": number}
    if kind in ASKED:
        remember_side(session, place.vessel_id, f"counter event {event_id} asked", hand.actor)
        says = gettext(
            "Nothing has changed yet: hours are taken away by two people. Another person, chief engineer or office, "
            "confirms it."
        )
        return Answer(202, {**told, "says": says})
    row.dirty_from_s = at_s if row.dirty_from_s is None else min(at_s, row.dirty_from_s)
    session.add(row)
    ask_plan(session, place.vessel_id, place.plant_id, context.now())
    return Answer(201, told)


def counter_words(session: Session, row: CounterRow) -> str:
    """What people call a counter: by its position."""
    names = position_names(document_of(session, row.vessel_id)[0])
    return f"The counter of {names.get(row.position_id, row.position_id)}"


def must_say_why(reason: str) -> None:
    """Raises Refused when no reason is given."""
    if not reason.strip():
        raise Refused(
            gettext("The reason is empty: say why in a few words, it stays in the record."),
            faults=[("/reason", gettext("this is empty; say why in a few words."))],
        )


def asker_of(context: Context, hand: Hand) -> Person:
    """Who asks that hours be taken away. Raises NotAllowed: nobody known, or not one who asks for such things."""
    return person_acting(context, hand.actor, ASKS, gettext("ask that hours be taken away"))


def counter_row(session: Session, place: Place) -> CounterRow:
    """The counter's row. Raises NotFound."""
    row = find_counter(session, place.id)
    if row is None or row.no is None:
        raise NotFound(gettext("There is no counter {id} here.", id=place.id))
    return row


def _detail(session: Session, row: CounterRow, event: CounterEvent) -> dict[str, Any]:
    match event.kind:
        case "replacement":
            setup = setup_at(setups_of_counter(session, row), seconds(event.at))
            return _ends(setup, setup, event)
        case "rescale":
            return _rescale(session, row, event)
        case "adjustment" | "opening balance":
            hours = event.hours
            least = -MOST_HOURS if event.kind == "adjustment" else 0
            if hours is None or hours == 0 or not least <= hours <= MOST_HOURS:
                adjustment = gettext("{hours} h is not an adjustment; give a figure other than 0, at most {most} h.")
                balance = gettext("{hours} h is not an opening balance; give a figure above 0, at most {most} h.")
                says = (adjustment if least else balance).format(hours=hours, most=MOST_HOURS)
                raise Refused(f"hours: {says}", faults=[("/hours", says)])
            return {"seconds": round(hours * 3600)}
        case "step decision":
            if event.hours is None or not 0 <= event.hours <= MOST_HOURS:
                says = gettext(
                    "{hours} h cannot be what the jump is worth; give what ran meanwhile, 0 to {most} h.",
                    hours=event.hours,
                    most=MOST_HOURS,
                )
                raise Refused(f"hours: {says}", faults=[("/hours", says)])
            return {"seconds": round(event.hours * 3600)}
        case "bad reading" | "nothing missing":
            return {}
        case "primary":
            return _primary(session, row)
    raise Refused(
        f"{event.kind!r} is not a counter event; expected {EXPECTED}.", faults=[("/kind", f"expected {EXPECTED}.")]
    )


def _ends(old: Setup, new: Setup, event: CounterEvent) -> dict[str, Any]:
    return {
        "old_final_milli": None if event.old_final is None else _milli(old, "old_final", event.old_final),
        "new_first_milli": _milli(new, "new_first", event.new_first),
    }


def _rescale(session: Session, row: CounterRow, event: CounterEvent) -> dict[str, Any]:
    at_s = seconds(event.at)
    old = setup_at(setups_of_counter(session, row), at_s)
    for name, figure, what in (
        ("seconds_per_count", event.seconds_per_count, "3600 for an hour register, 60 for minutes"),
        ("modulus", event.modulus, "the count at which it starts again at 0, or nothing if it does not"),
        ("resolution", event.resolution, "the smallest step in counts"),
    ):
        missing = figure is None and name == "seconds_per_count"
        if missing or (figure is not None and not (isfinite(figure) and 0 < figure <= MOST_COUNTS)):
            says = f"{figure} cannot be; expected {what}."
            raise Refused(f"{name}: {says}", faults=[(f"/{name}", says)])
    assert event.seconds_per_count is not None
    resolution = 1.0 if event.resolution is None else event.resolution
    new = Setup(event.seconds_per_count, event.modulus, max(1, round(resolution * 1000)), row.id)
    if new == old:
        raise Refused(
            gettext(
                "it counts so already at that instant; give the new scale, or record a replacement if it was exchanged."
            )
        )
    scale = {
        "seconds_per_count": new.seconds_per_count,
        "modulus": new.modulus,
        "resolution_milli": new.resolution_milli,
    }
    return {**_ends(old, new, event), **scale}


def _primary(session: Session, row: CounterRow) -> dict[str, Any]:
    others = [r for r in counter_rows(session, row.vessel_id) if r.position_id == row.position_id and r.no != row.no]
    if not others:
        raise Refused(
            gettext(
                "it is the only counter of its position, so it counts for it already. To have "
                "another one count, add that to the vessel's document first."
            )
        )
    return {}


def _milli(setup: Setup, name: str, value: float | None) -> int:
    taken = value_milli(replace(setup, name=name), value)
    if isinstance(taken, Refusal):
        raise Refused(taken.says, faults=[(f"/{name}", taken.says)])
    return taken


@dataclass(frozen=True, slots=True, kw_only=True)
class EventShown:
    """An event as kept. state: counts, asked (waits for another person), confirmed, undone. by: who recorded it.

    asked_by: who asked for what `by` confirmed. undoes: id of the event that this one undoes.
    """

    id: str
    kind: str
    at: datetime
    state: str
    by: str
    reason: str
    recorded_at: datetime
    hours: float | None = None
    asked_by: str | None = None
    undoes: str | None = None
    detail: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class CounterBook:
    """A counter's row, newest reading (instant put right, epoch seconds; thousandths), newest ledger entries, flags, events.

    setups: how it counted when, see `ledger.setups_of`. events: newest first. position: what people call its position.
    """

    row: CounterRow
    newest: tuple[int, int] | None
    entries: Sequence[LedgerEntryRow]
    flags: Sequence[Flag]
    setups: Sequence[tuple[int, Setup]]
    events: Sequence[EventShown]
    position: str
    offset_minutes: ShipOffset


def counter_book(context: Context, place: Place, limit: int = 50) -> CounterBook:
    """What the ledger made of a counter's newest readings, and what people said about it. Raises NotFound."""
    with context.db.read() as session:
        row = counter_row(session, place)
        assert row.no is not None
        flags = [one.flag() for one in flag_rows(session, place.vessel_id) if one.counter_no == row.no]
        events = events_shown(counter_event_rows(session, row.no))
        return CounterBook(
            row,
            _newest(session, row),
            recent_entries(session, row.no, limit),
            flags,
            setups_of_counter(session, row),
            events[::-1],
            position_names(document_of(session, place.vessel_id)[0]).get(row.position_id, row.position_id),
            clock_of(session, place.vessel_id, context.now()),
        )


def _newest(session: Session, row: CounterRow) -> tuple[int, int] | None:
    if row.no is None or row.newest_s is None:
        return None
    milli = value_at(session, row.no, row.newest_s, row.skew_most_s)
    return None if milli is None else (row.newest_s, milli)


def events_shown(rows: Sequence[CounterEventRow]) -> list[EventShown]:
    """A counter's events in words for people, in the order given."""
    undone = undone_by(rows)
    confirmed = {json.loads(row.detail).get("asked") for row in rows}
    told = []
    for row in rows:
        detail = json.loads(row.detail)
        asked = "confirmed" if row.id in confirmed else "asked"
        seconds_given = detail.get("seconds")
        told.append(
            EventShown(
                id=row.id,
                kind=row.kind,
                at=instant(row.at_s),
                state="undone" if row.id in undone else asked if row.kind in ASKED else "counts",
                by=row.actor,
                reason=row.reason,
                recorded_at=instant(row.recorded_s),
                hours=None if seconds_given is None else seconds_given / 3600,
                asked_by=detail.get("asked_by"),
                undoes=detail.get("undoes"),
                detail=detail,
            )
        )
    return told
