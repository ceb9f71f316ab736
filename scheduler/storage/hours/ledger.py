"""The derived ledger: entries and checkpoints, read by seeks."""

from collections.abc import Mapping, Sequence

from sqlalchemy import BigInteger, SmallInteger, bindparam, delete, text
from sqlmodel import Field, Session, col, func, select

from scheduler.domain.hours.ledger_values import WATCHED
from scheduler.domain.hours.running import TotalsAround
from scheduler.storage.database import read_once
from scheduler.storage.hours.counters import CounterRow, FlagRow
from scheduler.storage.hours.readings import newest_readings, stamps_between, value_at
from scheduler.storage.types import WITHOUT_ROWID, Row


class LedgerEntryRow(Row, table=True):
    """A derived ledger entry: a cache that may be dropped and replayed at any time.

    total_s: seconds counted so far, none where the value is not used. given_s: seconds given so far by opening balances
    and adjustments.
    """

    __table_args__ = (WITHOUT_ROWID,)

    counter_no: int = Field(primary_key=True, foreign_key="counter.no")
    at_s: int = Field(primary_key=True, sa_type=BigInteger)
    seq: int = Field(primary_key=True, sa_type=SmallInteger)
    credit_s: int = Field(sa_type=BigInteger)
    total_s: int | None = Field(default=None, sa_type=BigInteger)
    given_s: int = Field(sa_type=BigInteger)
    verdict: str
    reason: str
    vessel_id: str


class LedgerCheckpointRow(Row, table=True):
    """The fold's state after everything up to and including `at_s`; a cache as well."""

    __table_args__ = (WITHOUT_ROWID,)

    counter_no: int = Field(primary_key=True, foreign_key="counter.no")
    at_s: int = Field(primary_key=True, sa_type=BigInteger)
    state: str
    vessel_id: str


EntryValues = tuple[int, int, int, int, int | None, int, str, str, str]
"""counter_no, at_s, seq, credit_s, total_s, given_s, verdict, reason, vessel_id: the columns of `ledger_entry`."""


_WATCHED = sorted(code.value for code in WATCHED)


SEEK = "FROM ledger_entry WHERE counter_no = counter.no AND at_s {} AND total_s IS NOT NULL ORDER BY at_s {}, seq DESC LIMIT 1"


_BEFORE, _AFTER = SEEK.format("<= :at", "DESC"), SEEK.format("> :at", "ASC")


_STANDINGS = text(
    f"SELECT no, (SELECT at_s {_BEFORE}), (SELECT total_s {_BEFORE}), (SELECT at_s {_AFTER}), (SELECT total_s {_AFTER}), "  # noqa: S608
    "(SELECT given_s FROM ledger_entry WHERE counter_no = counter.no AND at_s <= :at "
    "ORDER BY at_s DESC, seq DESC LIMIT 1) FROM counter WHERE no IN :nos"
).bindparams(bindparam("nos", expanding=True))


def readings_counted(session: Session, counter_no: int, after_s: int, until_s: int, skew_most_s: int) -> bool:
    """Whether between two instants (the later included) there are as many ledger entries as readings.

    Where no person's events are, each reading has its entry: then none was added since they were derived.
    """
    there = session.exec(select(func.count()).where(*stamps_between(counter_no, after_s, until_s, skew_most_s))).one()
    entries = select(func.count()).where(
        LedgerEntryRow.counter_no == counter_no, LedgerEntryRow.at_s > after_s, LedgerEntryRow.at_s <= until_s
    )
    return there == session.exec(entries).one()


def newest_checkpoint(session: Session, counter_no: int, before_s: int) -> LedgerCheckpointRow | None:
    """The newest checkpoint strictly before an instant, or none."""
    query = select(LedgerCheckpointRow).where(
        LedgerCheckpointRow.counter_no == counter_no, LedgerCheckpointRow.at_s < before_s
    )
    query = query.order_by(col(LedgerCheckpointRow.at_s).desc()).limit(1)
    return read_once(session, (LedgerCheckpointRow, counter_no, before_s), lambda: session.exec(query).first())


def drop_checkpoints(session: Session, counter_no: int, after_s: int, until_s: int = 2**62) -> None:
    """Forget a counter's checkpoints later than an instant, up to and at another."""
    rows = delete(LedgerCheckpointRow).where(col(LedgerCheckpointRow.counter_no) == counter_no)
    session.execute(rows.where(col(LedgerCheckpointRow.at_s) > after_s, col(LedgerCheckpointRow.at_s) <= until_s))


def drop_derived(session: Session, counter_no: int, from_s: int, until_s: int = 2**62) -> None:
    """Forget a counter's derived entries and flags from an instant to another, both included; not what the watch flagged."""
    for table in (LedgerEntryRow, FlagRow):
        rows = delete(table).where(
            col(table.counter_no) == counter_no, col(table.at_s) >= from_s, col(table.at_s) <= until_s
        )
        session.execute(rows if table is LedgerEntryRow else rows.where(col(FlagRow.code).not_in(_WATCHED)))


_COLUMNS = "counter_no, at_s, seq, credit_s, total_s, given_s, verdict, reason, vessel_id"


_ADD_ON_SQLITE = f"INSERT INTO ledger_entry ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"  # noqa: S608


_ADD_ON_POSTGRES = (
    f"INSERT INTO ledger_entry ({_COLUMNS}) SELECT * FROM unnest(%s::integer[], %s::bigint[], %s::smallint[], "  # noqa: S608
    "%s::bigint[], %s::bigint[], %s::bigint[], %s::text[], %s::text[], %s::text[])"
)


def add_entries(session: Session, rows: Sequence[EntryValues]) -> None:
    """Store derived entries in one go."""
    connection = session.connection()
    if rows and connection.dialect.name == "sqlite":
        connection.exec_driver_sql(_ADD_ON_SQLITE, list(rows))
    elif rows:
        connection.exec_driver_sql(_ADD_ON_POSTGRES, tuple(list(column) for column in zip(*rows, strict=True)))


def totals_around(session: Session, counter_nos: Sequence[int], at_s: int) -> dict[int, TotalsAround]:
    """How each counter's ledger stands around an instant, by seeks, in one question for all of them.

    Those of the last used entry at or before it and of the first after it.
    """
    found = session.connection().execute(_STANDINGS, {"nos": list(counter_nos), "at": at_s})
    return {
        no: TotalsAround(
            None if before_s is None else (before_s, before_total),
            None if after_s is None else (after_s, after_total),
            given_s or 0,
        )
        for no, before_s, before_total, after_s, after_total, given_s in found
    }


def totals_by_id(session: Session, numbers: Mapping[str, int], at_s: int) -> dict[str, TotalsAround]:
    """The same by counter id. numbers: short number of each counter by its id."""
    found = totals_around(session, list(numbers.values()), at_s)
    return {counter: found[no] for counter, no in numbers.items() if no in found}


def counted_values(
    session: Session, counters: Sequence[CounterRow], totals: Mapping[str, TotalsAround]
) -> dict[str, tuple[int, int]]:
    """By counter id the instant of its last total, and what it showed then (thousandths); left out where that is not on record."""
    newest = newest_readings(session, [row.no for row in counters if row.no is not None])
    found = {}
    for row in counters:
        if row.no is None or row.id not in totals or (before := totals[row.id].before) is None:
            continue
        at_s, milli = newest.get(row.no, (None, None))
        value = milli if at_s == before[0] else value_at(session, row.no, before[0], row.skew_most_s)
        if value is not None:
            found[row.id] = before[0], value
    return found


def total_at_or_before(session: Session, counter_no: int, at_s: int) -> tuple[int, int] | None:
    """(at_s, total_s) of the last used entry at or before an instant, or none."""
    return totals_around(session, [counter_no], at_s)[counter_no].before


def total_after(session: Session, counter_no: int, at_s: int) -> tuple[int, int] | None:
    """(at_s, total_s) of the first used entry later than an instant, or none."""
    return totals_around(session, [counter_no], at_s)[counter_no].after


def recent_entries(session: Session, counter_no: int, limit: int) -> list[LedgerEntryRow]:
    """A counter's newest ledger entries, newest first."""
    query = select(LedgerEntryRow).where(LedgerEntryRow.counter_no == counter_no)
    query = query.order_by(col(LedgerEntryRow.at_s).desc(), col(LedgerEntryRow.seq).desc())
    return list(session.exec(query.limit(limit)))


def first_entry(session: Session, counter_no: int, from_s: int) -> int | None:
    """Instant of a counter's first entry at an instant or later, or none; one seek."""
    row = LedgerEntryRow
    query = select(row.at_s).where(row.counter_no == counter_no, row.at_s >= from_s)
    return session.exec(query.order_by(col(row.at_s)).limit(1)).first()


def first_entry_day(session: Session, counter_nos: Sequence[int]) -> int | None:
    """Epoch day of the earliest entry of some counters, or none."""
    found = [at_s for no in counter_nos if (at_s := first_entry(session, no, -(2**62))) is not None]
    return min(found) // 86_400 if found else None


def entry_at(session: Session, counter_no: int, at_s: int) -> LedgerEntryRow | None:
    """The last ledger entry at exactly an instant (that of the reading, when there is one), or none."""
    query = select(LedgerEntryRow).where(LedgerEntryRow.counter_no == counter_no, LedgerEntryRow.at_s == at_s)
    return session.exec(query.order_by(col(LedgerEntryRow.seq).desc()).limit(1)).first()


def counted_before(session: Session, counter_no: int, at_s: int, limit: int) -> list[int]:
    """Instants of the newest entries before an instant whose value the count rests on, newest first."""
    row = LedgerEntryRow
    query = select(row.at_s).where(row.counter_no == counter_no, row.at_s < at_s, col(row.total_s).is_not(None))
    return list(session.exec(query.order_by(col(row.at_s).desc(), col(row.seq).desc()).limit(limit)))


def instants_judged(session: Session, counter_no: int, verdict: str, not_why: str, from_s: int) -> set[int]:
    """Instants from one on (included) with an entry of a verdict, those of one reason left out."""
    query = select(LedgerEntryRow.at_s).where(LedgerEntryRow.counter_no == counter_no, LedgerEntryRow.at_s >= from_s)
    return set(session.exec(query.where(LedgerEntryRow.verdict == verdict, LedgerEntryRow.reason != not_why)))
