"""Readings, counter events, and the derived ledger: entries, checkpoints, flags."""

from collections.abc import Iterable, Sequence

from sqlalchemy import delete, insert
from sqlmodel import Session, col, func, select

from scheduler.storage.tables import (
    CounterEventRow,
    CounterRow,
    FlagRow,
    LedgerCheckpointRow,
    LedgerEntryRow,
    ReadingRow,
)


def readings(session: Session, counter_no: int, after_s: int) -> Sequence[tuple[int, int, int]]:
    """(at_s, value_milli, received_s) of a counter's readings later than an instant, in order."""
    query = (
        select(ReadingRow.at_s, ReadingRow.value_milli, ReadingRow.received_s)
        .where(ReadingRow.counter_no == counter_no, ReadingRow.at_s > after_s)
        .order_by(col(ReadingRow.at_s))
    )
    return session.exec(query).all()


def events(session: Session, counter_no: int, after_s: int) -> list[CounterEventRow]:
    """A counter's events later than an instant, in order of instant and recording."""
    query = select(CounterEventRow).where(CounterEventRow.counter_no == counter_no, CounterEventRow.at_s > after_s)
    return list(
        session.exec(query.order_by(col(CounterEventRow.at_s), col(CounterEventRow.recorded_s), CounterEventRow.id))
    )


def checkpoint(session: Session, counter_no: int, before_s: int) -> LedgerCheckpointRow | None:
    """The newest checkpoint strictly before an instant, or none."""
    query = select(LedgerCheckpointRow).where(
        LedgerCheckpointRow.counter_no == counter_no, LedgerCheckpointRow.at_s < before_s
    )
    return session.exec(query.order_by(col(LedgerCheckpointRow.at_s).desc()).limit(1)).first()


def drop_from(session: Session, counter_no: int, *, entries_from_s: int, checkpoints_from_s: int) -> None:
    """Forget a counter's derived entries and checkpoints from an instant on (both included)."""
    session.execute(
        delete(LedgerEntryRow).where(
            col(LedgerEntryRow.counter_no) == counter_no, col(LedgerEntryRow.at_s) >= entries_from_s
        )
    )
    session.execute(
        delete(LedgerCheckpointRow).where(
            col(LedgerCheckpointRow.counter_no) == counter_no, col(LedgerCheckpointRow.at_s) >= checkpoints_from_s
        )
    )


def drop_flags(session: Session, counter_no: int, from_s: int) -> None:
    """Forget a counter's derived flags from an instant on (included)."""
    session.execute(delete(FlagRow).where(col(FlagRow.counter_no) == counter_no, col(FlagRow.at_s) >= from_s))


def add_entries(session: Session, rows: Sequence[dict[str, object]]) -> None:
    """Store derived entries in one go."""
    if rows:
        session.execute(insert(LedgerEntryRow), list(rows))


def flags(session: Session, vessel_id: str) -> list[FlagRow]:
    """A vessel's flags, newest first."""
    query = select(FlagRow).where(FlagRow.vessel_id == vessel_id)
    return list(session.exec(query.order_by(col(FlagRow.at_s).desc(), FlagRow.code)))


def entry_at_or_before(session: Session, counter_no: int, at_s: int) -> tuple[int, int] | None:
    """(at_s, total_s) of the last entry at or before an instant, by one seek; or none."""
    query = (
        select(LedgerEntryRow.at_s, LedgerEntryRow.total_s)
        .where(LedgerEntryRow.counter_no == counter_no, LedgerEntryRow.at_s <= at_s)
        .order_by(col(LedgerEntryRow.at_s).desc(), col(LedgerEntryRow.seq).desc())
    )
    return session.exec(query.limit(1)).first()


def entry_after(session: Session, counter_no: int, at_s: int) -> tuple[int, int] | None:
    """(at_s, total_s) of the first entry later than an instant, by one seek; or none."""
    query = (
        select(LedgerEntryRow.at_s, LedgerEntryRow.total_s)
        .where(LedgerEntryRow.counter_no == counter_no, LedgerEntryRow.at_s > at_s)
        .order_by(col(LedgerEntryRow.at_s), col(LedgerEntryRow.seq).desc())
    )
    return session.exec(query.limit(1)).first()


def newest_reading(session: Session, counter_no: int) -> tuple[int, int] | None:
    """(at_s, value_milli) of a counter's newest reading, by one seek; or none."""
    query = (
        select(ReadingRow.at_s, ReadingRow.value_milli)
        .where(ReadingRow.counter_no == counter_no)
        .order_by(col(ReadingRow.at_s).desc())
    )
    return session.exec(query.limit(1)).first()


def recent_entries(session: Session, counter_no: int, limit: int) -> list[LedgerEntryRow]:
    """A counter's newest ledger entries, newest first."""
    query = select(LedgerEntryRow).where(LedgerEntryRow.counter_no == counter_no)
    query = query.order_by(col(LedgerEntryRow.at_s).desc(), col(LedgerEntryRow.seq).desc())
    return list(session.exec(query.limit(limit)))


def day_ends(session: Session, counter_no: int, from_s: int) -> list[tuple[int, int]]:
    """(at_s, total_s) of the last entry of each UTC day from an instant on, in order."""
    last = (
        select(func.max(LedgerEntryRow.at_s).label("at_s"))
        .where(LedgerEntryRow.counter_no == counter_no, LedgerEntryRow.at_s >= from_s)
        .group_by(col(LedgerEntryRow.at_s) // 86400)
    )
    query = (
        select(LedgerEntryRow.at_s, LedgerEntryRow.total_s)
        .where(LedgerEntryRow.counter_no == counter_no, col(LedgerEntryRow.at_s).in_(last))
        .order_by(col(LedgerEntryRow.at_s), col(LedgerEntryRow.seq))
    )
    return list(dict(session.exec(query).all()).items())


def clean(session: Session, counter_nos: Iterable[int]) -> None:
    """Mark counters as derived."""
    for no in counter_nos:
        row = session.get(CounterRow, no)
        if row is not None:
            row.dirty_from_s = None
            session.add(row)
