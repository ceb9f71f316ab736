"""Derive the ledger from readings and events, after the commit that stored them; hours by seeks in the stored ledger."""

import json
from collections.abc import Sequence
from datetime import datetime

from scheduler.actions.base.context import Context, seconds
from scheduler.domain.hours.ledger import (
    START,
    Adjustment,
    BadReading,
    Event,
    Flag,
    Item,
    LedgerState,
    OpeningBalance,
    Reading,
    Replacement,
    Rescale,
    Setup,
    StepDecision,
    derive,
    setups_of,
)
from scheduler.domain.hours.ledger_fit import AHEAD_S
from scheduler.domain.hours.questions import may_miss
from scheduler.domain.hours.running import DAY_S, GIVEN, SoughtTotals, daily_by_pump
from scheduler.domain.hours.sources import Change
from scheduler.domain.vessel.document import Plant
from scheduler.errors import StorageFull
from scheduler.storage.database import Session, bump_revision
from scheduler.storage.hours.counters import (
    CounterEventRow,
    CounterRow,
    FlagRow,
    counter_event_rows,
    counter_events_of_kinds,
    counter_numbers,
    counter_rows,
    dirty_vessels,
    find_counter,
)
from scheduler.storage.hours.day_ends import day_ends, keep_day_ends
from scheduler.storage.hours.ledger import (
    EntryValues,
    LedgerCheckpointRow,
    add_entries,
    drop_checkpoints,
    drop_derived,
    newest_checkpoint,
    readings_counted,
    totals_by_id,
)
from scheduler.storage.hours.readings import instants_by_hand, newest_reading, piece_end, reading_rows
from scheduler.storage.hours.signs import touch_signs
from scheduler.storage.plant_state import LOOK_BACK_DAYS
from scheduler.storage.shore.home import Writing

PIECE = 2000
"""Readings derived between two checkpoints."""
CHECKPOINT_APART_S = 7 * DAY_S


GIVING = frozenset({"adjustment", "opening balance"})
"""Kinds of event that give hours; undone by the opposite entry, and not by being passed over."""
ANSWERS = ("nothing missing", "adjustment")
"""Events that answer a question about missing hours when they stand at its instant."""


def setup_of(row: CounterRow) -> Setup:
    """How a counter counted when first set up."""
    return Setup(row.seconds_per_count, row.modulus, row.resolution_milli, row.id)


def setups_of_counter(session: Session, row: CounterRow) -> list[tuple[int, Setup]]:
    """How a counter counted when, see `ledger.setups_of`."""
    assert row.no is not None
    events = events_of(counter_event_rows(session, row.no))
    return setups_of(setup_of(row), [event for event in events if isinstance(event, Rescale)])


def setups_of_vessel(
    session: Session, vessel_id: str, counters: Sequence[CounterRow]
) -> dict[int | None, list[tuple[int, Setup]]]:
    """The same for all counters of a vessel, by their numbers."""
    return setups_in(counter_events_of_kinds(session, vessel_id, ("rescale", "undo")), counters)


def setups_in(
    rows: Sequence[CounterEventRow], counters: Sequence[CounterRow]
) -> dict[int | None, list[tuple[int, Setup]]]:
    """The same from events that are loaded: all of rescales and undos."""
    own: dict[int, list[CounterEventRow]] = {}
    for row in rows:
        own.setdefault(row.counter_no, []).append(row)
    return {
        counter.no: setups_of(
            setup_of(counter), [e for e in events_of(own.get(counter.no or 0, ())) if isinstance(e, Rescale)]
        )
        for counter in counters
    }


def changes_of(session: Session, vessel_id: str, counters: Sequence[CounterRow]) -> dict[str, list[Change]]:
    """When another counter began to count, by position (see `domain.sources`)."""
    return changes_in(counter_events_of_kinds(session, vessel_id, ("primary", "undo")), counters)


def changes_in(rows: Sequence[CounterEventRow], counters: Sequence[CounterRow]) -> dict[str, list[Change]]:
    """The same from events that are loaded: all of `primary` and undos."""
    by_no = {counter.no: counter for counter in counters}
    undone = undone_by(rows)
    changes: dict[str, list[Change]] = {}
    for row in rows:
        counter = by_no.get(row.counter_no)
        if row.kind == "primary" and row.id not in undone and counter is not None:
            changes.setdefault(counter.position_id, []).append((row.at_s, counter.id))
    return changes


def undone_by(rows: Sequence[CounterEventRow]) -> dict[str, str]:
    """Id of the undo of each event undone, by the id of the latter."""
    return {json.loads(row.detail)["undoes"]: row.id for row in rows if row.kind == "undo"}


def may_be_missing(session: Session, row: CounterRow, flags: Sequence[Flag]) -> list[Flag]:
    """The flags of a counter that say hours may be missing, and that nobody has answered for; oldest first."""
    return [] if row.no is None or not flags else missing_in(counter_event_rows(session, row.no), flags)


def missing_in(rows: Sequence[CounterEventRow], flags: Sequence[Flag]) -> list[Flag]:
    """The same from a counter's events that are loaded: all of `ANSWERS` and undos."""
    undone = undone_by(rows)
    return may_miss(flags, {row.at_s for row in rows if row.kind in ANSWERS and row.id not in undone})


def events_of(rows: Sequence[CounterEventRow]) -> list[Event]:
    """The ledger's events that stored counter events stand for; what was taken back, or is only asked for, is left out."""
    undone = undone_by(rows)
    found = (_event(row) for row in rows if row.kind in GIVING or row.id not in undone)
    return [event for event in found if event is not None]


def _event(row: CounterEventRow) -> Event | None:
    detail = json.loads(row.detail)
    match row.kind:
        case "replacement":
            return Replacement(row.at_s, detail["old_final_milli"], detail["new_first_milli"])
        case "rescale":
            scale = detail["seconds_per_count"], detail["modulus"], detail["resolution_milli"]
            return Rescale(row.at_s, detail["old_final_milli"], detail["new_first_milli"], *scale)
        case "undo":
            return Adjustment(row.at_s, detail["seconds"]) if "seconds" in detail else None
        case "adjustment asked" | "undo asked" | "primary" | "nothing missing":
            return None
        case "adjustment":
            return Adjustment(row.at_s, detail["seconds"])
        case "opening balance":
            return OpeningBalance(row.at_s, detail["seconds"])
        case "step decision":
            return StepDecision(row.at_s, detail["seconds"])
        case "bad reading":
            return BadReading(row.at_s)
    raise ValueError(f"counter event {row.id} is of an unknown kind {row.kind!r}")


def derive_vessel(context: Context, vessel_id: str) -> int:
    """Bring the ledger of a vessel's touched counters up to date; how many counters were derived.

    Each counter has its own transaction, so the intake never waits for a long one. Where nothing can be stored now, reading
    goes on with what was derived before; whoever would act on it cannot store that either.
    """
    with context.db.read() as session:
        waiting = [row.id for row in counter_rows(session, vessel_id) if row.dirty_from_s is not None]
    for done, counter_id in enumerate(waiting):
        try:
            with context.db.write(vessel_id, writing=Writing.WORKED_OUT) as session:
                row = find_counter(session, counter_id)
                if row is not None and row.dirty_from_s is not None:
                    _derive(session, row, row.dirty_from_s, context.now_s() + AHEAD_S)
                    bump_revision(session, vessel_id)
        except StorageFull:  # timers say so
            return done
    return len(waiting)


def derive_all(context: Context) -> list[str]:
    """Bring every touched counter's ledger up to date; the vessels concerned."""
    with context.db.read() as session:
        vessels = dirty_vessels(session)
    for vessel_id in vessels:
        derive_vessel(context, vessel_id)
    return vessels


def _derive(session: Session, row: CounterRow, dirty_from_s: int, latest_s: int) -> None:
    """Derive anew from the newest checkpoint before the touched instant, piece by piece.

    Once the state is the one held of old at a checkpoint, and nothing was touched after it, the rest stands as it is: a
    day posted late costs the same however long ago it was. What lies after `latest_s` (stamps from the future) is a piece
    of its own, so that the next reading goes on from the checkpoint before it.
    """
    assert row.no is not None
    no, skew = row.no, row.skew_most_s
    newest, posted = newest_checkpoint(session, no, 2**62), newest_reading(session, no)
    state, after_s = checkpoint_before(session, no, dirty_from_s)
    start_s, setup = after_s, setup_of(row)
    touch_signs(session, row.vessel_id, row.plant_id, start_s // DAY_S)
    ahead = posted is not None and posted[0] > latest_s - skew
    event_rows = counter_event_rows(session, no, after_s)
    events = events_of(event_rows)
    end_s: int | None = after_s
    while end_s is not None:
        end_s = piece_end(session, no, after_s, skew, PIECE)
        if ahead and after_s < latest_s:
            end_s = latest_s if end_s is None else min(end_s, latest_s)
        held = newest_checkpoint(session, no, 2**62 if end_s is None else end_s + 1)
        if held is not None and held.at_s > after_s:
            end_s = held.at_s
        else:
            held = None
        was = None if held is None else held.state
        until_s = 2**62 if end_s is None else end_s
        state = _write(session, row, setup, events, state, after_s, until_s)
        after_s = until_s
        if was is None or newest is None or state.pending or state.open or state.to_text() != was:
            continue
        later = after_s < newest.at_s
        if later and not any(event.at_s > after_s for event in event_rows):
            counted = readings_counted(session, no, after_s, newest.at_s, skew)
            beyond = _state_of(newest) if counted else None
            if beyond is not None:
                state, after_s = beyond, newest.at_s
    if newest is not None and (newest.at_s == start_s or ahead):
        _thin_out(session, no, start_s, latest_s)
    row.dirty_from_s = None
    session.add(row)


def items_after(session: Session, row: CounterRow, after_s: int, until_s: int = 2**62) -> list[Item]:
    """Readings and events of a counter later than an instant, up to and at another."""
    assert row.no is not None
    read = reading_rows(session, row.no, after_s, row.skew_most_s, until_s)
    events = events_of(counter_event_rows(session, row.no, after_s))
    return [*(Reading(*one) for one in read), *(event for event in events if event.at_s <= until_s)]


def _thin_out(session: Session, counter_no: int, at_s: int, latest_s: int) -> None:
    """Drop the checkpoint there unless it is the newest or the one before it is a week older: each tick makes one."""
    newest, before = (newest_checkpoint(session, counter_no, until_s) for until_s in (latest_s + 1, at_s))
    if newest is not None and before is not None and at_s < newest.at_s and at_s - before.at_s < CHECKPOINT_APART_S:
        drop_checkpoints(session, counter_no, at_s - 1, at_s)


def checkpoint_before(session: Session, counter_no: int, dirty_from_s: int) -> tuple[LedgerState, int]:
    """The state kept newest before an instant and its own instant; the start where there is none."""
    held = newest_checkpoint(session, counter_no, dirty_from_s)
    state = None if held is None else _state_of(held)
    return (START, -(2**62)) if held is None or state is None else (state, held.at_s)


def _state_of(row: LedgerCheckpointRow) -> LedgerState | None:
    try:
        return LedgerState.from_text(row.state)
    except ValueError:
        return None  # of another version: derived anew from the start


def _write(
    session: Session,
    row: CounterRow,
    setup: Setup,
    events: Sequence[Event],
    state: LedgerState,
    after_s: int,
    until_s: int,
) -> LedgerState:
    """Derive what came after `after_s` and put it in place of what is held up to and at `until_s`; the state after it."""
    assert row.no is not None
    no, vessel_id = row.no, row.vessel_id
    begun_s = min((flag.at_s - 1 for flag in state.open), default=-(2**62) if state.last_s is None else state.last_s)
    hand = instants_by_hand(session, no, begun_s, until_s)
    piece: list[Item] = [
        *(Reading(*reading) for reading in reading_rows(session, no, after_s, row.skew_most_s, until_s)),
        *(event for event in events if after_s < event.at_s <= until_s),
    ]
    drop_checkpoints(session, no, after_s, until_s)
    derived = derive(setup, piece, state, by_hand=hand)
    if derived.rewrite_from_s is None:
        return derived.state
    text = derived.state.to_text()
    drop_derived(session, no, derived.rewrite_from_s, until_s)
    given_s = state.given_s - sum(entry.credit_s for entry in state.pending if entry.verdict in GIVEN)
    rows: list[EntryValues] = []
    last_s, seq = None, 0
    for at_s, credit_s, total_s, verdict, reason in derived.entries:
        seq = seq + 1 if at_s == last_s else 0
        last_s = at_s
        if verdict in GIVEN:
            given_s += credit_s
        rows.append((no, at_s, seq, credit_s, total_s, given_s, str(verdict), str(reason), vessel_id))
    add_entries(session, rows)
    keep_day_ends(session, no, vessel_id, derived.rewrite_from_s, until_s)
    for flag in derived.flags:
        session.merge(FlagRow.of(vessel_id, no, flag))
    last_s = derived.state.last_s
    if last_s is not None:
        session.merge(LedgerCheckpointRow(counter_no=no, at_s=last_s, state=text, vessel_id=vessel_id))
    session.flush()
    return derived.state


def totals_of(session: Session, vessel_id: str, counters: Sequence[CounterRow]) -> SoughtTotals:
    """The ledger's totals of some counters of a vessel."""
    numbers = counter_numbers(counters)
    return SoughtTotals(changes_of(session, vessel_id, counters), lambda at_s: totals_by_id(session, numbers, at_s))


def daily_of(
    session: Session, plant: Plant, counters: Sequence[CounterRow], at: datetime, *, most_days: int = LOOK_BACK_DAYS
) -> dict[str, list[int]]:
    """As `running.daily_by_pump`, as far back as the counters go (3 years at most)."""
    today = seconds(at) // DAY_S
    numbers = counter_numbers(counters)
    ends = day_ends(session, list(numbers.values()), (today - most_days) * DAY_S, today * DAY_S)
    changes = changes_of(session, counters[0].vessel_id, counters) if counters else {}
    return daily_by_pump(plant, {counter_id: ends[no] for counter_id, no in numbers.items()}, changes, at)
