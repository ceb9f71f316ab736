"""Each counter's total at the end of each UTC day: kept beside the ledger, so that years of days are read in a few rows."""

import struct
from collections.abc import Iterator, Sequence
from itertools import count

from sqlalchemy import LargeBinary, TextClause, bindparam, text
from sqlmodel import Field, Session, col, select

from scheduler.storage.hours.ledger import SEEK, LedgerEntryRow, first_entry
from scheduler.storage.types import Row

_DAY_S = 86_400
DAYS = 366
"""Days in a row."""
_NO_ENTRY = -1
MOST_S = 2**37
"""No instant is later: some four thousand years on."""
_ENDS = struct.Struct(f"<{DAYS}i{DAYS}q")
"""Of each day the second of its last used entry, then of each day its total."""


class DayEndsRow(Row, table=True):
    """The last used ledger entry of each UTC day from day `span` * DAYS on, counted from 1970: a cache, rewritten with the ledger."""

    counter_no: int = Field(primary_key=True, foreign_key="counter.no")
    span: int = Field(primary_key=True)
    ends: bytes = Field(sa_type=LargeBinary)
    vessel_id: str


Ends = dict[int, list[tuple[int, int]]]
"""By counter number (at_s, total_s), in order."""


def day_ends(session: Session, counter_nos: Sequence[int], from_s: int, until_s: int) -> Ends:
    """(at_s, total_s) of the last used entry of each UTC day of each counter, as kept.

    Args:
        from_s, until_s: from the beginning of the first one's day to the end of the last one's.
    """
    first, last = from_s // _DAY_S, until_s // _DAY_S
    ends: Ends = {no: [] for no in counter_nos}
    row = DayEndsRow
    query = select(row.counter_no, row.span, row.ends).where(col(row.counter_no).in_(ends))
    query = query.where(row.span >= first // DAYS, row.span <= last // DAYS).order_by(col(row.span))
    for no, span, packed in session.exec(query):
        values = _ENDS.unpack(packed)
        ends[no] += (
            (day * _DAY_S + second, total_s)
            for day, second, total_s in zip(count(span * DAYS), values[:DAYS], values[DAYS:], strict=False)
            if second != _NO_ENTRY and first <= day <= last
        )
    return ends


def keep_day_ends(session: Session, counter_no: int, vessel_id: str, from_s: int, until_s: int) -> None:
    """Bring the kept days in step with the ledger, whose entries between two instants (both included) were rewritten."""
    first, last = from_s // _DAY_S, until_s // _DAY_S
    entry = LedgerEntryRow
    used = select(entry.at_s, entry.total_s).where(entry.counter_no == counter_no, col(entry.total_s).is_not(None))
    used = used.where(entry.at_s >= first * _DAY_S, entry.at_s <= min(until_s, MOST_S) // _DAY_S * _DAY_S + _DAY_S - 1)
    found: dict[int, list[tuple[int, int, int]]] = {}
    for at_s, total_s in session.exec(used.order_by(col(entry.at_s), col(entry.seq))):
        day, second = divmod(at_s, _DAY_S)
        found.setdefault(day // DAYS, []).append((day % DAYS, second, total_s or 0))
    rows = select(DayEndsRow).where(DayEndsRow.counter_no == counter_no)
    rows = rows.where(DayEndsRow.span >= first // DAYS, DayEndsRow.span <= min(until_s, MOST_S) // _DAY_S // DAYS)
    there = {row.span: row for row in session.exec(rows)}
    for span in sorted({*there, *found}):
        row = there.get(span)
        known = [_NO_ENTRY] * DAYS + [0] * DAYS if row is None else list(_ENDS.unpack(row.ends))
        for place in range(max(0, first - span * DAYS), min(DAYS, last + 1 - span * DAYS)):
            known[place], known[DAYS + place] = _NO_ENTRY, 0
        for place, second, total_s in found.get(span, ()):
            known[place], known[DAYS + place] = second, total_s
        ends = _ENDS.pack(*known)
        if row is None:
            session.add(DayEndsRow(counter_no=counter_no, span=span, ends=ends, vessel_id=vessel_id))
        elif row.ends != ends:
            row.ends = ends
            session.add(row)
    session.flush()


def days_both_ends(session: Session, counter_nos: Sequence[int], from_s: int, until_s: int, ahead_s: int = 0) -> Ends:
    """(at_s, total_s) of the first and the last used entry of each day of each counter, by seeks: two a day and counter.

    Args:
        from_s, until_s: from the beginning of the first one's day to the end of the last one's. ahead_s: how far the clock whose
            midnights part the days is ahead of UTC.
    """
    first_s, nos = _midnight(from_s, ahead_s), list(counter_nos)
    begun = [at_s for no in nos if (at_s := first_entry(session, no, first_s)) is not None]
    ends: dict[int, set[tuple[int, int]]] = {no: set() for no in nos}
    if begun:  # of days before the first entry nothing has to be looked up
        asked = {"nos": nos, "first": _midnight(min(begun), ahead_s), "until": until_s}
        for no, point in _sought(session, asked):
            ends[no].add(point)
    return {no: sorted(points) for no, points in ends.items()}


def _midnight(at_s: int, ahead_s: int) -> int:
    return (at_s + ahead_s) // _DAY_S * _DAY_S - ahead_s


def _sought(session: Session, asked: dict[str, object]) -> Iterator[tuple[int, tuple[int, int]]]:
    for query in (_DAY_ENDS, _DAY_FIRSTS):
        for no, day_s, packed in session.connection().execute(query, asked).all():
            if packed is not None:
                yield no, (day_s + packed % _DAY_S, packed // _DAY_S)


def _by_day(order: str) -> TextClause:
    """One seek gives both figures, packed in one: the second of the day below, the total above it."""
    seek = SEEK.format(f">= start_s AND at_s < start_s + {_DAY_S}", order).removeprefix("FROM ledger_entry ")
    return text(
        "WITH RECURSIVE day (start_s) AS (SELECT CAST(:first AS BIGINT) UNION ALL "  # noqa: S608
        f"SELECT start_s + {_DAY_S} FROM day WHERE start_s + {_DAY_S} <= :until) "
        f"SELECT no, start_s, (SELECT total_s * {_DAY_S} + at_s - start_s FROM ledger_entry {seek}) "
        "FROM counter CROSS JOIN day WHERE no IN :nos"
    ).bindparams(bindparam("nos", expanding=True))


_DAY_ENDS, _DAY_FIRSTS = _by_day("DESC"), _by_day("ASC")
