"""What is asked about the counters of a vessel, and what was posted and not stored."""

from collections.abc import Sequence
from datetime import datetime

from scheduler.actions.base.context import Context, instant
from scheduler.actions.hours.ledger import (
    checkpoint_before,
    derive_vessel,
    items_after,
    may_be_missing,
    setup_of,
    setups_of_counter,
)
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.hours.ledger import Code, Flag, LedgerState, LedgerVerdict, Reading, VerdictReason, setup_at
from scheduler.domain.hours.questions import (
    Question,
    held_questions,
    misread_before,
    missing_question,
    open_held,
    with_earlier,
)
from scheduler.errors import NotFound
from scheduler.language import gettext as _
from scheduler.storage.database import Session
from scheduler.storage.hours.counters import CounterRow, find_counter, flag_rows
from scheduler.storage.hours.ledger import (
    counted_before,
    instants_judged,
    newest_checkpoint,
    total_after,
    total_at_or_before,
)
from scheduler.storage.hours.readings import IntakeLogRow, reading_rows, recent_unstored, value_at

RECENT_S = 30 * 86_400
"""How far back the rate of a counter is taken."""


EXPLAIN = 3
"""So many counted readings before the held ones are tried as the one that was misread."""


def open_questions(context: Context, place: Place) -> tuple[Question, ...]:
    """What is asked about one counter now. Raises NotFound."""
    derive_vessel(context, place.vessel_id)
    with context.db.read() as session:
        row = find_counter(session, place.id)
        if row is None:
            raise NotFound(_("There is no counter {id} here.", id=place.id))
        return questions_of(session, row, _flags_of(session, row))


def questions_of(session: Session, row: CounterRow, flags: Sequence[Flag]) -> tuple[Question, ...]:
    """What is asked about a counter whose ledger is up to date, oldest first."""
    if row.no is None or not flags:
        return ()
    asked = [_missing(session, row, flag) for flag in may_be_missing(session, row, flags)]
    state = _state(session, row.no)
    starts = [flag.at_s for flag in flags if flag.code is Code.HELD]
    if state is not None and state.lines and starts:
        held_at = instants_judged(session, row.no, LedgerVerdict.HELD, VerdictReason.FUTURE, min(starts))
        read = (Reading(*one) for one in reading_rows(session, row.no, min(starts) - 1, row.skew_most_s))
        rests = state.before or state.good
        held = held_questions(
            setup_at(setups_of_counter(session, row), max(starts)),
            state,
            flags,
            sorted((one for one in read if one.at_s in held_at), key=lambda one: one.at_s),
            0.0 if rests is None else seconds_per_day(session, row.no, rests.at_s),
        )
        asked += with_earlier(held, _earlier(session, row, held))
    return tuple(sorted(asked, key=lambda one: one.at_s))


def undecided_since(session: Session, row: CounterRow, flags: Sequence[Flag]) -> datetime | None:
    """Since when a reading of a counter is held that a person can still decide about; none when there is none."""
    if row.no is None or not any(flag.code is Code.HELD for flag in flags):
        return None
    state = _state(session, row.no)
    held = [] if state is None else open_held(state, flags)
    return instant(held[0].at_s) if held else None


def _earlier(session: Session, row: CounterRow, asked: Sequence[Question]) -> Reading | None:
    """The counted reading that explains the held ones when it was misread, or none."""
    if row.no is None or not asked:
        return None
    counted_at = counted_before(session, row.no, asked[0].at_s, EXPLAIN)
    if not counted_at:
        return None
    state, after_s = checkpoint_before(session, row.no, min(counted_at))
    items = items_after(session, row, after_s)
    counted = [item for item in items if isinstance(item, Reading) and item.at_s in counted_at]
    return misread_before(setup_of(row), state, items, counted)


def intake_log(
    context: Context, vessel_id: str, limit: int, counter: str | None = None, before: int | None = None
) -> list[IntakeLogRow]:
    """What was posted and not stored, newest first; before: id of the one that was shown last."""
    with context.db.read() as session:
        return recent_unstored(session, vessel_id, limit, counter, before)


def _missing(session: Session, row: CounterRow, flag: Flag) -> Question:
    assert row.no is not None
    point = total_at_or_before(session, row.no, flag.at_s - 1)
    if point is None:
        return missing_question(flag, None, 0.0)
    milli = value_at(session, row.no, point[0], row.skew_most_s)
    good = None if milli is None else (point[0], milli)
    return missing_question(flag, good, seconds_per_day(session, row.no, point[0]))


def _flags_of(session: Session, row: CounterRow) -> list[Flag]:
    return [one.flag() for one in flag_rows(session, row.vessel_id) if one.counter_no == row.no]


def _state(session: Session, counter_no: int) -> LedgerState | None:
    kept = newest_checkpoint(session, counter_no, 2**62)
    try:
        return None if kept is None else LedgerState.from_text(kept.state)
    except ValueError:
        return None  # of another version: derived anew at the next tick


def seconds_per_day(session: Session, counter_no: int, until_s: int) -> float:
    """What the counter ran a day in the 30 days before an instant; 0 without a past."""
    last = total_at_or_before(session, counter_no, until_s)
    first = total_at_or_before(session, counter_no, until_s - RECENT_S)
    first = first or total_after(session, counter_no, until_s - RECENT_S)
    if last is None or first is None or last[0] <= first[0]:
        return 0.0
    return (last[1] - first[1]) * 86_400 / (last[0] - first[0])
