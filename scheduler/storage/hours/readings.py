"""Readings as posted, and what was posted and not stored."""

from collections.abc import Sequence
from enum import StrEnum

from sqlalchemy import BigInteger, CheckConstraint, ColumnElement, ForeignKeyConstraint, Index, bindparam, text, tuple_
from sqlmodel import Field, Session, col, func, select

from scheduler.storage.types import AUTO, WITHOUT_ROWID, Row, by_value


class Unstored(StrEnum):
    """Why a reading stands in the intake log and not among the readings."""

    CONFLICT = "conflict"
    REFUSED = "refused"


class ReadingRow(Row, table=True):
    """A cumulative reading as posted, in thousandths of a count; never changed. Written by `intake` alone.

    at_s: as stamped, with counter_no its identity. skew_s: how far the sender's clock was behind ours when it was sent (0
    within 5 minutes); the ledger takes it as observed at at_s + skew_s.
    """

    __table_args__ = (
        ForeignKeyConstraint(["counter_no", "vessel_id"], ["counter.no", "counter.vessel_id"]),
        CheckConstraint("value_milli >= 0", name="value_milli"),
        WITHOUT_ROWID,
    )

    counter_no: int = Field(primary_key=True)
    at_s: int = Field(primary_key=True, sa_type=BigInteger)
    value_milli: int = Field(sa_type=BigInteger)
    received_s: int = Field(sa_type=BigInteger)
    vessel_id: str
    skew_s: int = Field(default=0, sa_type=BigInteger, sa_column_kwargs={"server_default": "0"})


class HandReadingRow(Row, table=True):
    """An instant at which a person read a counter and typed what it showed: flags about it give no advice on wiring."""

    __table_args__ = (
        ForeignKeyConstraint(["counter_no", "vessel_id"], ["counter.no", "counter.vessel_id"]),
        WITHOUT_ROWID,
    )

    counter_no: int = Field(primary_key=True)
    at_s: int = Field(primary_key=True, sa_type=BigInteger)
    vessel_id: str


class IntakeLogRow(Row, table=True):
    """A posted item that is not among the readings, as it came, and why."""

    __table_args__ = (Index(None, "vessel_id", "received_s"),)

    id: int | None = Field(default=None, primary_key=True, sa_type=AUTO)
    vessel_id: str = Field(foreign_key="vessel.id")
    counter_ref: str
    received_s: int = Field(sa_type=BigInteger)
    status: Unstored = Field(sa_type=by_value(Unstored, "status"))
    why: str
    item: str


_RIGHT_S = col(ReadingRow.at_s) + col(ReadingRow.skew_s)
"""A reading's instant put right by its sender's skew."""


_NEWEST = text(
    "SELECT counter.no, reading.at_s, reading.value_milli FROM counter JOIN reading ON reading.counter_no = counter.no "
    "AND reading.at_s = (SELECT max(one.at_s) FROM reading AS one WHERE one.counter_no = counter.no) WHERE counter.no IN :nos"
).bindparams(bindparam("nos", expanding=True))


def reading_rows(
    session: Session, counter_no: int, after_s: int, skew_most_s: int, until_s: int = 2**62
) -> Sequence[tuple[int, int, int, int]]:
    """(instant put right by the skew, value_milli, received_s, skew_s) of a counter's readings whose instant put right is
    later than a given one, up to and at another, in order of their stamps.

    Args:
        skew_most_s: of the counter; no reading was put right by more, so the search begins so much before, and ends after.
    """
    query = select(_RIGHT_S, ReadingRow.value_milli, ReadingRow.received_s, ReadingRow.skew_s)
    query = query.where(*stamps_between(counter_no, after_s, until_s, skew_most_s))
    return session.exec(query.order_by(col(ReadingRow.at_s))).all()


def instants_by_hand(session: Session, counter_no: int, after_s: int, until_s: int = 2**62) -> frozenset[int]:
    """Instants later than one, up to and at another, at which a person read the counter."""
    row = HandReadingRow
    query = select(row.at_s).where(row.counter_no == counter_no, row.at_s > after_s, row.at_s <= until_s)
    return frozenset(session.exec(query))


def piece_end(session: Session, counter_no: int, after_s: int, skew_most_s: int, size: int) -> int | None:
    """The instant (put right) of the `size`th reading later than an instant, by their stamps; none when there are fewer."""
    query = select(_RIGHT_S).where(*stamps_between(counter_no, after_s, 2**62, skew_most_s))
    return session.exec(query.order_by(col(ReadingRow.at_s)).offset(size - 1).limit(1)).first()


def stamps_between(counter_no: int, after_s: int, until_s: int, skew_most_s: int) -> tuple[ColumnElement[bool], ...]:
    """A counter's readings whose instant put right is later than one and up to another, sought by their stamps."""
    return (
        col(ReadingRow.counter_no) == counter_no,
        col(ReadingRow.at_s) > after_s - skew_most_s,
        col(ReadingRow.at_s) <= until_s + skew_most_s,
        after_s < _RIGHT_S,
        until_s >= _RIGHT_S,
    )


def newest_readings(session: Session, counter_nos: Sequence[int]) -> dict[int, tuple[int, int]]:
    """(at_s, value_milli) of each counter's newest reading as stamped, by one seek a counter; those without are left out."""
    found = session.connection().execute(_NEWEST, {"nos": list(counter_nos)})
    return {no: (at_s, value_milli) for no, at_s, value_milli in found}


def newest_reading(session: Session, counter_no: int) -> tuple[int, int] | None:
    """(at_s, value_milli) of a counter's newest reading as stamped, or none."""
    return newest_readings(session, [counter_no]).get(counter_no)


def value_at(session: Session, counter_no: int, at_s: int, skew_most_s: int) -> int | None:
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


def recent_unstored(
    session: Session, vessel_id: str, limit: int, counter: str | None = None, before: int | None = None
) -> list[IntakeLogRow]:
    """A vessel's newest items, newest first; of one counter when it is named, and before the one with that id."""
    query = select(IntakeLogRow).where(IntakeLogRow.vessel_id == vessel_id)
    if counter is not None:
        query = query.where(IntakeLogRow.counter_ref == counter)
    last = None if before is None else session.get(IntakeLogRow, before)
    if last is not None:
        place = col(IntakeLogRow.received_s), col(IntakeLogRow.id)
        query = query.where(tuple_(*place) < (last.received_s, last.id))
    return list(
        session.exec(query.order_by(col(IntakeLogRow.received_s).desc(), col(IntakeLogRow.id).desc()).limit(limit))
    )


def unstored_since(session: Session, vessel_id: str, received_s: int) -> list[tuple[str, str, int, int]]:
    """(status, counter as it was named, how many, newest received) of a vessel's items received from an instant on."""
    query = (
        select(IntakeLogRow.status, IntakeLogRow.counter_ref, func.count(), func.max(IntakeLogRow.received_s))
        .where(IntakeLogRow.vessel_id == vessel_id, IntakeLogRow.received_s >= received_s)
        .group_by(col(IntakeLogRow.status), col(IntakeLogRow.counter_ref))
    )
    found = session.exec(query.order_by(col(IntakeLogRow.status), col(IntakeLogRow.counter_ref)))
    return [(str(status), counter, number, newest_s) for status, counter, number, newest_s in found]
