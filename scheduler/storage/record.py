"""The record in the database: adding one under the lock of its chain, and reading it back as it was written."""

import json
from collections.abc import Collection, Iterator, Mapping
from datetime import UTC, datetime

from sqlalchemy import BigInteger, CheckConstraint, text
from sqlmodel import Field, Session, col, select

from scheduler.domain.record.chain import GENESIS, Record, record_of
from scheduler.domain.record.search import record_words
from scheduler.storage.database import INSTALLATION
from scheduler.storage.paging import PageAsked, numbered_rows
from scheduler.storage.search import index_record
from scheduler.storage.shore.home import must_be_written_here, name_of_mirror
from scheduler.storage.types import Instant, Row
from scheduler.storage.vessel import VesselRow

READ_AT_ONCE = 500


class RecordRow(Row, table=True):
    """A record of a vessel's history ("": of the installation). Triggers refuse to change or delete one."""

    __table_args__ = (
        CheckConstraint("number >= 1", name="number"),
        CheckConstraint("length(hash) = 64 AND length(previous_hash) = 64", name="hash"),
    )

    vessel_id: str = Field(primary_key=True)
    number: int = Field(primary_key=True, sa_type=BigInteger)
    text: str
    hash: str
    previous_hash: str
    kind: str
    recorded_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "recorded_s"})


class ChainHeadRow(Row, table=True):
    """Number and hash of a vessel's newest record; locked while one is added."""

    vessel_id: str = Field(primary_key=True)
    number: int = Field(sa_type=BigInteger)
    hash: str


def append_record(
    session: Session, vessel_id: str, kind: str, at: datetime, payload: Mapping[str, object]
) -> tuple[int, str]:
    """Adds a record to the vessel's history ("": the installation's) and returns its number and chain hash.

    The head of the chain stays locked until the transaction ends, so numbers have no gaps and no twins; when the
    transaction is undone, so are the record and its number.

    Args:
        session: of a `write` block. at: aware; when it is recorded. payload: see `scheduler.domain.base.canonical.canonical`.

    Raises:
        Refused: the payload holds something a record cannot hold. Clash: the vessel is written aboard, see `chain_kept_here`.
    """
    if vessel_id:
        must_be_written_here(session, vessel_id)
    session.connection().execute(
        text(
            "INSERT INTO chain_head (vessel_id, number, hash) VALUES (:vessel_id, 0, :hash) "
            "ON CONFLICT (vessel_id) DO NOTHING"
        ),
        {"vessel_id": vessel_id, "hash": GENESIS},
    )
    locked = select(ChainHeadRow).where(ChainHeadRow.vessel_id == vessel_id).with_for_update()
    head = session.exec(locked.execution_options(populate_existing=True)).one()
    recorded_at = at.astimezone(UTC).replace(microsecond=0)
    record = record_of(
        number=head.number + 1, kind=kind, payload=payload, recorded_at=recorded_at, previous_hash=head.hash
    )
    session.add(
        RecordRow(
            vessel_id=vessel_id,
            number=record.number,
            text=record.text,
            hash=record.hash,
            previous_hash=record.previous_hash,
            kind=kind,
            recorded_at=recorded_at,
        )
    )
    head.number, head.hash = record.number, record.hash
    session.flush()
    index_record(session, vessel_id, record.number, record_words(json.loads(record.text)))
    return record.number, record.hash


def chain_kept_here(session: Session, vessel_id: str) -> str:
    """The chain on which what happens here about a vessel is put on record: hers, or the installation's where she writes aboard."""
    return INSTALLATION if vessel_id and name_of_mirror(session, vessel_id) is not None else vessel_id


def chain_head(session: Session, vessel_id: str) -> tuple[int, str]:
    """Number and chain hash of the vessel's newest record; (0, 64 zeros) when it has none."""
    row = session.get(ChainHeadRow, vessel_id, populate_existing=True)
    return (row.number, row.hash) if row else (0, GENESIS)


def newest_records(session: Session, vessel_id: str, kind: str, page: PageAsked | None = None) -> list[Record]:
    """The vessel's records of a kind, newest first: all of them, or a page."""
    query = select(RecordRow).where(RecordRow.vessel_id == vessel_id, RecordRow.kind == kind)
    return [_record(row) for row in numbered_rows(session, query, col(RecordRow.number), page)[::-1]]


def _record(row: RecordRow) -> Record:
    return Record(
        number=row.number,
        kind=row.kind,
        text=row.text,
        hash=row.hash,
        previous_hash=row.previous_hash,
        recorded_at=row.recorded_at,
    )


def record_rows(
    session: Session, vessel_id: str, first: int = 1, last: int | None = None, *, kind: str | None = None
) -> Iterator[Record]:
    """The vessel's records with numbers `first` to `last` (both included; none: to the newest), in order of number.

    They are read in blocks (`READ_AT_ONCE`), so that a long history needs little memory; read within one `read` block. kind: only
    records of that kind.
    """
    query = select(RecordRow).where(RecordRow.vessel_id == vessel_id, RecordRow.number >= first)
    if last is not None:
        query = query.where(RecordRow.number <= last)
    if kind is not None:
        query = query.where(RecordRow.kind == kind)
    query = query.order_by(col(RecordRow.number)).execution_options(yield_per=READ_AT_ONCE)
    for row in session.exec(query):
        yield _record(row)


def records_numbered(session: Session, vessel_id: str, numbers: Collection[int]) -> list[Record]:
    """The vessel's records with those numbers, newest first."""
    query = select(RecordRow).where(RecordRow.vessel_id == vessel_id, col(RecordRow.number).in_(numbers))
    return [_record(row) for row in session.exec(query.order_by(col(RecordRow.number).desc()))]


def chains_there(session: Session) -> list[str]:
    """Whose chains there are, sorted: of each vessel, of whatever else has a head, and "" the installation's."""
    return sorted({INSTALLATION, *session.exec(select(ChainHeadRow.vessel_id)), *session.exec(select(VesselRow.id))})


_GUARDS_SQLITE = {"record_no_update", "record_no_delete", "record_no_replace"}
_GUARDS_POSTGRES = {"record_no_change", "record_no_truncate"}


def missing_guards(session: Session) -> list[str]:
    """Triggers against changes of the record that are gone, switched off, or no longer refuse; by name."""
    connection = session.connection()
    if connection.dialect.name == "sqlite":
        asked, expected = (
            "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'record'",
            _GUARDS_SQLITE,
        )
    else:
        asked, expected = (
            (
                "SELECT t.tgname, p.prosrc FROM pg_trigger t JOIN pg_proc p ON p.oid = t.tgfoid "
                "WHERE t.tgrelid = 'record'::regclass AND t.tgenabled IN ('O', 'A')"
            ),
            _GUARDS_POSTGRES,
        )
    there = {name for name, does in connection.execute(text(asked)) if "RAISE" in str(does).upper()}
    return sorted(expected - there)
