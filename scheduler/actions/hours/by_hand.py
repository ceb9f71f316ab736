"""Hours read by eye: counters of a ship at one instant, or a log of many, each value judged apart, with a record of who read them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import AHEAD, Answer, Context, Hand, hand_action, instant, must_have_key, seconds
from scheduler.actions.hours.counter_events import counter_words
from scheduler.actions.hours.ledger import checkpoint_before, derive_vessel, items_after, setup_of, setups_of_counter
from scheduler.actions.hours.questions import seconds_per_day
from scheduler.actions.hours.readings import MOST_ITEMS, ReadingDoor, post
from scheduler.actions.vessel.document import document_of
from scheduler.domain.hours.accepting import Accepted, Refusal, check
from scheduler.domain.hours.ledger import LedgerVerdict, Reading, setup_at
from scheduler.domain.hours.preview import ReadingFit, ReadingPreview, preview
from scheduler.domain.hours.unusual import Unusual, unusual
from scheduler.errors import NotFound, Refused
from scheduler.language import gettext
from scheduler.storage.database import Session
from scheduler.storage.hours.counters import CounterRow, counter_rows
from scheduler.storage.hours.intake import Intake, Taken
from scheduler.storage.hours.ledger import LedgerEntryRow, entry_at, total_at_or_before
from scheduler.storage.hours.readings import HandReadingRow, value_at
from scheduler.storage.record import append_record
from scheduler.wording.hours import counts_text

_LATER_S = 7 * 86_400
"""So much after a value that is entered late is looked at, whether it still fits."""


@dataclass(frozen=True, slots=True)
class HandCounter:
    """A counter to be read: its id, its position's name (with the plant's where there are several), what it showed last, and what it
    ran a day in the 30 days before (0: not known)."""

    id: str
    position: str
    seconds_per_count: int
    newest: tuple[datetime, int] | None
    usual_s_per_day: float = 0.0


@dataclass(frozen=True, slots=True)
class Read:
    """What a counter, by id, showed at an instant."""

    counter: str
    at: datetime
    value: float


@dataclass(frozen=True, slots=True)
class ValueJudged:
    """What became of one value typed. status: stored, duplicate, conflict or refused.

    entry: what the ledger made of it. stands: the other value stored at that instant, thousandths, in a conflict. why: the
    words of a refusal. unusual: it counts far more than the counter runs.
    """

    counter: str
    status: str
    entry: LedgerEntryRow | None = None
    stands: int | None = None
    why: str = ""
    unusual: Unusual | None = None

    @property
    def taken(self) -> bool:
        """Whether the value is among the readings."""
        return self.status in (Taken.STORED, Taken.DUPLICATE)


def hand_counters(context: Context, vessel_id: str) -> list[HandCounter]:
    """A vessel's counters in the order of her plants and positions, with what each showed last. Raises NotFound."""
    with context.db.read() as session:
        vessel, _ = document_of(session, vessel_id)
        rows = {row.id: row for row in counter_rows(session, vessel_id)}
        found = []
        for plant in vessel.plants:
            names = {position.id: position.name for position in plant.positions}
            order = list(names)
            prefix = f"{plant.name}, " if len(vessel.plants) > 1 else ""
            for counter in sorted(plant.counters, key=lambda one: (order.index(one.position), one.id)):
                said = _newest(session, rows[counter.id])
                name = f"{prefix}{names[counter.position]}"
                row = rows[counter.id]
                rate = 0.0 if row.no is None or said is None else seconds_per_day(session, row.no, seconds(said[0]))
                found.append(HandCounter(counter.id, name, _counts(session, row), said, rate))
    return found


def _newest(session: Session, row: CounterRow) -> tuple[datetime, int] | None:
    if row.no is None or row.newest_s is None:
        return None
    milli = value_at(session, row.no, row.newest_s, row.skew_most_s)
    return None if milli is None else (instant(row.newest_s), milli)


def _counts(session: Session, row: CounterRow) -> int:
    return row.seconds_per_count if row.no is None else setups_of_counter(session, row)[-1][1].seconds_per_count


def named(counters: list[HandCounter], name: str) -> HandCounter:
    """The counter of that id, or the only one at the position of that name; small and capital letters are the same.

    Raises:
        NotFound: there is none. Refused: the position has several counters.
    """
    wanted = name.strip().casefold()
    for counter in counters:
        if counter.id.casefold() == wanted:
            return counter
    found = [
        one for one in counters if one.position.casefold() == wanted or one.position.casefold().endswith(f", {wanted}")
    ]
    if len(found) > 1:
        raise Refused(
            gettext(
                "{name} has several counters: {found}. Name one of them.",
                name=name,
                found=", ".join(one.id for one in found),
            )
        )
    if not found:
        known = ", ".join(f"{one.position} ({one.id})" for one in counters)
        raise NotFound(
            gettext(
                "There is no counter or position {name} on this vessel. Known: {known}.",
                name=name,
                known=known or "none",
            )
        )
    return found[0]


def store_by_hand(
    context: Context, intake: Intake, hand: Hand, vessel_id: str, values: Sequence[Read]
) -> list[ValueJudged]:
    """Store values read by eye and say what became of each, in order; one that is refused never stops the others.

    Args:
        intake: the writer of readings.

    Raises:
        Refused: an instant is still to come, or there is no value. NotFound: no such vessel. MissingCondition: no key.
    """
    hand.actor.must_reach(vessel_id, f"vessel {vessel_id}")
    must_have_key(hand)
    _must_have_been(context, values)
    items = [{"counter": one.counter, "observed_at": one.at.isoformat(), "value": one.value} for one in values]
    with context.db.write(vessel_id) as session:
        _mark(session, vessel_id, values)
    actor, door = replace(hand.actor, vessel_id=vessel_id), ReadingDoor(context, intake)
    told = [
        answer
        for n in range(0, len(items), MOST_ITEMS)
        for answer in post(door, intake, actor, {"readings": items[n : n + MOST_ITEMS]})["items"]
    ]
    derive_vessel(context, vessel_id)
    judged = []
    with context.db.read() as session:
        rows = {row.id: row for row in counter_rows(session, vessel_id)}
        for read, one in zip(values, told, strict=True):
            status, row = str(one["status"]), rows.get(read.counter)
            entry = stands = None
            if row is not None and row.no is not None and status != "refused":
                at_s = seconds(read.at)
                entry = entry_at(session, row.no, at_s)
                stands = value_at(session, row.no, at_s, row.skew_most_s) if status == Taken.CONFLICT else None
            why = one.get("why", "")
            if status == "refused" and row is not None:
                refused = _checked(session, row, read)
                why = refused.says if isinstance(refused, Refusal) else why
            odd = None if row is None or entry is None else _unusual(session, row, entry, round(read.value * 1000))
            judged.append(ValueJudged(read.counter, status, entry, stands, why, odd))
    taken = [read for read, one in zip(values, judged, strict=True) if one.taken]
    if taken:
        _record(context, hand, vessel_id, taken)
    return judged


def preview_by_hand(context: Context, actor: Actor, vessel_id: str, values: Sequence[Read]) -> list[ReadingPreview]:
    """What the ledger would make of values read by eye, in order; nothing is stored.

    Raises:
        Refused: an instant is still to come, or there is no value. NotFound: no such vessel or counter.
    """
    actor.must_reach(vessel_id, f"vessel {vessel_id}")
    _must_have_been(context, values)
    derive_vessel(context, vessel_id)
    with context.db.read() as session:
        rows = {row.id: row for row in counter_rows(session, vessel_id)}
        return [_preview(session, rows.get(one.counter), one, context.now_s()) for one in values]


def _preview(session: Session, row: CounterRow | None, read: Read, now_s: int) -> ReadingPreview:
    if row is None or row.no is None:
        raise NotFound(gettext("There is no counter {counter} on this vessel.", counter=read.counter))
    taken = _checked(session, row, read)
    if isinstance(taken, Refusal):
        return ReadingPreview(fit=ReadingFit.REFUSED, why=taken.says)
    at_s, milli = taken
    stands = value_at(session, row.no, at_s, row.skew_most_s)
    state, after_s = checkpoint_before(session, row.no, at_s)
    items = [
        item
        for item in items_after(session, row, after_s, at_s + _LATER_S)
        if not (isinstance(item, Reading) and item.at_s == at_s)
    ]
    point = total_at_or_before(session, row.no, at_s - 1)
    rate = 0.0 if point is None else seconds_per_day(session, row.no, point[0])
    seen = preview(setup_of(row), state, items, Reading(at_s, milli, now_s), usual_s_per_day=rate)
    if stands is None:
        return seen
    return replace(seen, fit=ReadingFit.KNOWN if stands == milli else ReadingFit.CONFLICT, slip=None, stands=stands)


def _checked(session: Session, row: CounterRow, read: Read) -> Accepted | Refusal:
    """What the door for readings says of a value."""
    setup = setup_at(setups_of_counter(session, row), seconds(read.at))
    return check(replace(setup, name=counter_words(session, row)), read.value, seconds(read.at))


def _must_have_been(context: Context, values: Sequence[Read]) -> None:
    if not values:
        says = gettext("nothing was typed; give at least one counter's value.")
        raise Refused(gettext("Nothing to store: {says}", says=says), faults=[("/values", says)])
    if any(one.at > context.now() + AHEAD for one in values):
        says = gettext("this is still to come; give the date and time at which the counters were read.")
        raise Refused(f"at: {says}", faults=[("/at", says)])


def _mark(session: Session, vessel_id: str, values: Sequence[Read]) -> None:
    """That these instants are of readings read by eye; before they are stored, so that flags know it."""
    numbers = {row.id: row.no for row in counter_rows(session, vessel_id)}
    at = {(no, seconds(one.at)) for one in values if (no := numbers.get(one.counter)) is not None}
    for no, at_s in sorted(at):
        session.merge(HandReadingRow(counter_no=no, at_s=at_s, vessel_id=vessel_id))


def _unusual(session: Session, row: CounterRow, entry: LedgerEntryRow, milli: int) -> Unusual | None:
    if row.no is None or entry.verdict != LedgerVerdict.CREDITED:
        return None
    point = total_at_or_before(session, row.no, entry.at_s - 1)
    shown = None if point is None else value_at(session, row.no, point[0], row.skew_most_s)
    if point is None or shown is None:
        return None
    setup = setup_at(setups_of_counter(session, row), entry.at_s)
    rate = seconds_per_day(session, row.no, point[0])
    return unusual(setup, (point[0], shown), entry.at_s, milli, seconds_per_day=rate)


def _record(context: Context, hand: Hand, vessel_id: str, values: Sequence[Read]) -> None:
    """Who read them: readings carry no author, and an auditor will ask."""
    payload = {
        "readings": [
            {"counter": one.counter, "at": one.at, "value": counts_text(round(one.value * 1000))}
            for one in sorted(values, key=lambda one: (one.counter, one.at))
        ],
        "by": hand.actor.name,
    }

    def act(session: Session) -> Answer:
        number, _ = append_record(session, vessel_id, "hours read by hand", context.now(), payload)
        return Answer(201, {"record": number})

    hand_action(context, hand, vessel_id, act)


def own_intake(context: Context) -> Intake:
    """A writer of one's own, for a command that has no server; used as a context manager."""
    return Intake(context.db, context.clock)
