"""Readings, counter events, and the derived ledger: entries, checkpoints, flags."""

from collections.abc import Sequence

from sqlalchemy import ColumnElement, delete
from sqlmodel import Session, col, func, or_, select

from scheduler.storage.tables import (
    CounterEventRow,
    FlagRow,
    LedgerCheckpointRow,
    LedgerEntryRow,
    ReadingRow,
)

EntryValues = tuple[int, int, int, int, int | None, int, str, str, str]
"""counter_no, at_s, seq, credit_s, total_s, given_s, verdict, reason, vessel_id: the columns of `ledger_entry`."""

_RIGHT_S = col(ReadingRow.at_s) + col(ReadingRow.skew_s)
"""A reading's instant put right by its sender's skew."""


def readings(
    session: Session, counter_no: int, after_s: int, skew_most_s: int, until_s: int = 2**62
) -> Sequence[tuple[int, int, int, int]]:
    """(instant put right by the skew, value_milli, received_s, skew_s) of a counter's readings whose instant put right is
    later than a given one, up to and at another, in order of their stamps.

    Args:
        skew_most_s: of the counter; no reading was put right by more, so the search begins so much before, and ends after.
    """
    query = select(_RIGHT_S, ReadingRow.value_milli, ReadingRow.received_s, ReadingRow.skew_s)
    query = query.where(*_between(counter_no, after_s, until_s, skew_most_s))
    return session.exec(query.order_by(col(ReadingRow.at_s))).all()


def piece_end(session: Session, counter_no: int, after_s: int, skew_most_s: int, size: int) -> int | None:
    """The instant (put right) of the `size`th reading later than an instant, by their stamps; none when there are fewer."""
    query = select(_RIGHT_S).where(*_between(counter_no, after_s, 2**62, skew_most_s))
    return session.exec(query.order_by(col(ReadingRow.at_s)).offset(size - 1).limit(1)).first()


def counted(session: Session, counter_no: int, after_s: int, until_s: int, skew_most_s: int) -> bool:
    """Whether between two instants (the later included) there are as many ledger entries as readings.

    Where no person's events are, each reading has its entry: then none was added since they were derived.
    """
    there = session.exec(select(func.count()).where(*_between(counter_no, after_s, until_s, skew_most_s))).one()
    entries = select(func.count()).where(
        LedgerEntryRow.counter_no == counter_no, LedgerEntryRow.at_s > after_s, LedgerEntryRow.at_s <= until_s
    )
    return there == session.exec(entries).one()


def _between(counter_no: int, after_s: int, until_s: int, skew_most_s: int) -> tuple[ColumnElement[bool], ...]:
    """A counter's readings whose instant put right is later than one and up to another, sought by their stamps."""
    return (
        col(ReadingRow.counter_no) == counter_no,
        col(ReadingRow.at_s) > after_s - skew_most_s,
        col(ReadingRow.at_s) <= until_s + skew_most_s,
        after_s < _RIGHT_S,
        until_s >= _RIGHT_S,
    )


def events(session: Session, counter_no: int, after_s: int = -(2**62)) -> list[CounterEventRow]:
    """A counter's events later than an instant, in order of instant and recording."""
    query = select(CounterEventRow).where(CounterEventRow.counter_no == counter_no, CounterEventRow.at_s > after_s)
    return list(
        session.exec(query.order_by(col(CounterEventRow.at_s), col(CounterEventRow.recorded_s), CounterEventRow.id))
    )


def events_of_kinds(session: Session, vessel_id: str, kinds: Sequence[str]) -> list[CounterEventRow]:
    """A vessel's counter events of some kinds, in order of instant and recording."""
    query = select(CounterEventRow).where(CounterEventRow.vessel_id == vessel_id, col(CounterEventRow.kind).in_(kinds))
    return list(
        session.exec(query.order_by(col(CounterEventRow.at_s), col(CounterEventRow.recorded_s), CounterEventRow.id))
    )


def checkpoint(session: Session, counter_no: int, before_s: int) -> LedgerCheckpointRow | None:
    """The newest checkpoint strictly before an instant, or none."""
    query = select(LedgerCheckpointRow).where(
        LedgerCheckpointRow.counter_no == counter_no, LedgerCheckpointRow.at_s < before_s
    )
    return session.exec(query.order_by(col(LedgerCheckpointRow.at_s).desc()).limit(1)).first()


def drop_checkpoints(session: Session, counter_no: int, after_s: int, until_s: int = 2**62) -> None:
    """Forget a counter's checkpoints later than an instant, up to and at another."""
    rows = delete(LedgerCheckpointRow).where(col(LedgerCheckpointRow.counter_no) == counter_no)
    session.execute(rows.where(col(LedgerCheckpointRow.at_s) > after_s, col(LedgerCheckpointRow.at_s) <= until_s))


def drop_derived(session: Session, counter_no: int, from_s: int, until_s: int = 2**62) -> None:
    """Forget a counter's derived entries and flags from an instant to another, both included."""
    for table in (LedgerEntryRow, FlagRow):
        session.execute(
            delete(table).where(
                col(table.counter_no) == counter_no, col(table.at_s) >= from_s, col(table.at_s) <= until_s
            )
        )


def add_entries(session: Session, rows: Sequence[EntryValues]) -> None:
    """Store derived entries in one go."""
    if rows:
        connection = session.connection()
        mark = "?" if connection.dialect.name == "sqlite" else "%s"
        connection.exec_driver_sql(
            "INSERT INTO ledger_entry (counter_no, at_s, seq, credit_s, total_s, given_s, verdict, reason, vessel_id) "  # noqa: S608
            f"VALUES ({', '.join([mark] * 9)})",
            list(rows),
        )


def flags(session: Session, vessel_id: str) -> list[FlagRow]:
    """A vessel's flags, newest first."""
    query = select(FlagRow).where(FlagRow.vessel_id == vessel_id)
    return list(session.exec(query.order_by(col(FlagRow.at_s).desc(), FlagRow.code)))


def total_at_or_before(session: Session, counter_no: int, at_s: int) -> tuple[int, int] | None:
    """(at_s, total_s) of the last used entry at or before an instant, by one seek; or none."""
    query = (
        select(LedgerEntryRow.at_s, LedgerEntryRow.total_s)
        .where(LedgerEntryRow.counter_no == counter_no, LedgerEntryRow.at_s <= at_s)
        .where(col(LedgerEntryRow.total_s).is_not(None))
        .order_by(col(LedgerEntryRow.at_s).desc(), col(LedgerEntryRow.seq).desc())
    )
    return _point(session.exec(query.limit(1)).first())


def total_after(session: Session, counter_no: int, at_s: int) -> tuple[int, int] | None:
    """(at_s, total_s) of the first used entry later than an instant, by one seek; or none."""
    query = (
        select(LedgerEntryRow.at_s, LedgerEntryRow.total_s)
        .where(LedgerEntryRow.counter_no == counter_no, LedgerEntryRow.at_s > at_s)
        .where(col(LedgerEntryRow.total_s).is_not(None))
        .order_by(col(LedgerEntryRow.at_s), col(LedgerEntryRow.seq).desc())
    )
    return _point(session.exec(query.limit(1)).first())


def given(session: Session, counter_no: int, at_s: int) -> int:
    """Seconds given by opening balances and adjustments up to and at an instant, by one seek."""
    query = (
        select(LedgerEntryRow.given_s)
        .where(LedgerEntryRow.counter_no == counter_no, LedgerEntryRow.at_s <= at_s)
        .order_by(col(LedgerEntryRow.at_s).desc(), col(LedgerEntryRow.seq).desc())
    )
    return session.exec(query.limit(1)).first() or 0


def _point(row: tuple[int, int | None] | None) -> tuple[int, int] | None:
    return None if row is None or row[1] is None else (row[0], row[1])


def newest_reading(session: Session, counter_no: int) -> tuple[int, int] | None:
    """(at_s, value_milli) of a counter's newest reading as stamped, by one seek; or none."""
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


def day_ends(session: Session, counter_no: int, from_s: int, *, firsts: bool = False) -> list[tuple[int, int]]:
    """(at_s, total_s) of the last used entry of each UTC day from an instant on (`firsts`: the first too), in order."""
    used = col(LedgerEntryRow.total_s).is_not(None)
    marks = [
        select(end(LedgerEntryRow.at_s))
        .where(LedgerEntryRow.counter_no == counter_no, LedgerEntryRow.at_s >= from_s, used)
        .group_by(col(LedgerEntryRow.at_s) // 86400)
        for end in ((func.max, func.min) if firsts else (func.max,))
    ]
    query = (
        select(LedgerEntryRow.at_s, LedgerEntryRow.total_s)
        .where(LedgerEntryRow.counter_no == counter_no, used)
        .where(or_(*(col(LedgerEntryRow.at_s).in_(mark) for mark in marks)))
        .order_by(col(LedgerEntryRow.at_s), col(LedgerEntryRow.seq))
    )
    return list({at_s: total_s for at_s, total_s in session.exec(query) if total_s is not None}.items())


def entry_at(session: Session, counter_no: int, at_s: int) -> LedgerEntryRow | None:
    """The last ledger entry at exactly an instant (that of the reading, when there is one), or none."""
    query = select(LedgerEntryRow).where(LedgerEntryRow.counter_no == counter_no, LedgerEntryRow.at_s == at_s)
    return session.exec(query.order_by(col(LedgerEntryRow.seq).desc()).limit(1)).first()


def instants_judged(session: Session, counter_no: int, verdict: str, not_why: str, from_s: int) -> set[int]:
    """Instants from one on (included) with an entry of a verdict, those of one reason left out."""
    query = select(LedgerEntryRow.at_s).where(LedgerEntryRow.counter_no == counter_no, LedgerEntryRow.at_s >= from_s)
    return set(session.exec(query.where(LedgerEntryRow.verdict == verdict, LedgerEntryRow.reason != not_why)))


def shown_at(session: Session, counter_no: int, at_s: int, skew_most_s: int) -> int | None:
    """What a counter showed (thousandths) at exactly an instant put right, or none.

    Args:
        skew_most_s: of the counter, see `readings`.
    """
    right_s = col(ReadingRow.at_s) + col(ReadingRow.skew_s)
    query = (
        select(ReadingRow.value_milli)
        .where(ReadingRow.counter_no == counter_no, ReadingRow.at_s >= at_s - skew_most_s, right_s == at_s)
        .order_by(col(ReadingRow.received_s), col(ReadingRow.at_s))
    )
    return session.exec(query.limit(1)).first()


def newest_received(session: Session, counter_no: int) -> int | None:
    """When the reading with the newest stamp came in, by one seek; none when there is none."""
    query = select(ReadingRow.received_s).where(ReadingRow.counter_no == counter_no)
    return session.exec(query.order_by(col(ReadingRow.at_s).desc()).limit(1)).first()
