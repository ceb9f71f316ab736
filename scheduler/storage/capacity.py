"""Outages, tests of pumps, and lower minima agreed."""

from datetime import datetime
from enum import StrEnum

from sqlalchemy import BigInteger, CheckConstraint, Index, or_
from sqlmodel import Field, Session, col, func, select

from scheduler.domain.base.enums import Test
from scheduler.storage.paging import PageAsked, numbered_rows
from scheduler.storage.types import WITHOUT_ROWID, Instant, Row, by_value


class OutageStatus(StrEnum):
    """How far a pump is out: down, or returned and not yet proved by a test."""

    DOWN = "down"
    NOT_PROVED = "not proved"


class OutageRow(Row, table=True):
    """A stretch in which a pump counts for less than its capacity; `to_at` none: still.

    expected_at: when it is expected back, as somebody said, or as a plan has it; none: not known. Plans alone may use it.
    """

    __table_args__ = (
        CheckConstraint("to_s IS NULL OR to_s >= from_s", name="to_s"),
        CheckConstraint("counts_for_litres_per_h >= 0", name="counts_for"),
        Index(None, "vessel_id", "plant_id", "from_s"),
    )

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    id: str = Field(primary_key=True)
    plant_id: str
    pump_id: str
    from_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "from_s"})
    to_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "to_s"})
    counts_for_litres_per_h: int = 0
    status: OutageStatus = Field(sa_type=by_value(OutageStatus, "status"))
    reason: str
    expected_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "expected_s"})
    actor: str
    recorded_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "recorded_s"})
    job_key: str = Field(default="", sa_column_kwargs={"server_default": ""})
    """Of the job whose work put it out; empty: a person said so."""
    expected_record: int = Field(default=0, sa_type=BigInteger, sa_column_kwargs={"server_default": "0"})
    """That last said when it is back; 0: none since it went out."""


class PumpTestRow(Row, table=True):
    """A pull-down test of a pump: its result and, when passed, the swept litres an hour it showed."""

    __table_args__ = (Index(None, "vessel_id", "pump_id", "at_s"),)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    id: str = Field(primary_key=True)
    pump_id: str
    at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "at_s"})
    result: Test = Field(sa_type=by_value(Test, "result"))
    swept_litres_per_h: int | None = None
    actor: str
    recorded_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "recorded_s"})


class ConcessionRow(Row, table=True):
    """A lower minimum asked for a stretch of time, and who signed it. number counts within the vessel.

    It counts once signed both as chief and by the second signer, and as long as it is not withdrawn. hotel_by: who signed
    second; hotel_by_id: who wrote that name down; second_as: hotel, chief officer or master, as the ship names. chief_as: chief,
    office, or master while the link was down; chief_entered_by: who wrote the master's name down.
    """

    __table_args__ = (Index(None, "vessel_id", "plant_id"), WITHOUT_ROWID)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    number: int = Field(primary_key=True)
    plant_id: str
    from_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "from_s"})
    to_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "to_s"})
    minimum_litres_per_h: int = Field(sa_type=BigInteger)
    reason: str
    asked_by_id: str
    asked_by: str
    asked_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "asked_s"})
    chief_by_id: str | None = None
    chief_by: str | None = None
    chief_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "chief_s"})
    hotel_by_id: str | None = None
    hotel_by: str | None = None
    hotel_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "hotel_s"})
    chief_as: str = Field(default="", sa_column_kwargs={"server_default": ""})
    chief_entered_by: str = Field(default="", sa_column_kwargs={"server_default": ""})
    second_as: str = Field(default="hotel", sa_column_kwargs={"server_default": "hotel"})
    withdrawn_by: str | None = None
    withdrawn_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "withdrawn_s"})


def concession_rows(
    session: Session, vessel_id: str, plant_id: str, page: PageAsked | None = None
) -> list[ConcessionRow]:
    """A plant's concessions, by number."""
    query = select(ConcessionRow).where(ConcessionRow.vessel_id == vessel_id, ConcessionRow.plant_id == plant_id)
    return numbered_rows(session, query, col(ConcessionRow.number), page)


def concession_rows_of(session: Session, vessel_id: str) -> list[ConcessionRow]:
    """A vessel's concessions, by number."""
    query = select(ConcessionRow).where(ConcessionRow.vessel_id == vessel_id)
    return list(session.exec(query.order_by(col(ConcessionRow.number))))


def concessions_waiting(session: Session, vessel_id: str, at: datetime) -> list[ConcessionRow]:
    """A vessel's lower minima that lack a signature and have not ended at an instant, oldest first."""
    query = select(ConcessionRow).where(
        ConcessionRow.vessel_id == vessel_id,
        col(ConcessionRow.withdrawn_at).is_(None),
        ConcessionRow.to_at > at,
        or_(col(ConcessionRow.chief_at).is_(None), col(ConcessionRow.hotel_at).is_(None)),
    )
    return list(session.exec(query.order_by(col(ConcessionRow.number))))


def concession_row(session: Session, vessel_id: str, number: int) -> ConcessionRow | None:
    """That concession, or none."""
    return session.get(ConcessionRow, (vessel_id, number))


def next_concession_number(session: Session, vessel_id: str) -> int:
    """The number the vessel's next concession gets."""
    query = select(func.max(ConcessionRow.number)).where(ConcessionRow.vessel_id == vessel_id)
    return (session.exec(query).one() or 0) + 1


def outage_rows(session: Session, vessel_id: str, plant_id: str, *, since_at: datetime) -> list[OutageRow]:
    """Outages of a plant's pumps that last beyond an instant, oldest first."""
    query = (
        select(OutageRow)
        .where(OutageRow.vessel_id == vessel_id, OutageRow.plant_id == plant_id)
        .where(col(OutageRow.to_at).is_(None) | (col(OutageRow.to_at) > since_at))
    )
    return list(session.exec(query.order_by(col(OutageRow.from_at), OutageRow.id)))


def open_outage_rows(session: Session, vessel_id: str, pump_id: str) -> list[OutageRow]:
    """A pump's outages without an end, oldest first."""
    query = select(OutageRow).where(
        OutageRow.vessel_id == vessel_id, OutageRow.pump_id == pump_id, col(OutageRow.to_at).is_(None)
    )
    return list(session.exec(query.order_by(col(OutageRow.from_at))))


def outages_ended_at(session: Session, vessel_id: str, pump_id: str, at: datetime) -> list[OutageRow]:
    """A pump's outages that ended at an instant, because another began then."""
    query = select(OutageRow).where(
        OutageRow.vessel_id == vessel_id,
        OutageRow.pump_id == pump_id,
        OutageRow.to_at == at,
        OutageRow.from_at < at,
    )
    return list(session.exec(query))


def passed_tests(session: Session, vessel_id: str) -> dict[str, int]:
    """Swept litres an hour of each pump's newest passed test that measured it."""
    query = (
        select(PumpTestRow)
        .where(PumpTestRow.vessel_id == vessel_id, col(PumpTestRow.swept_litres_per_h).is_not(None))
        .order_by(col(PumpTestRow.at))
    )
    return {row.pump_id: row.swept_litres_per_h for row in session.exec(query) if row.swept_litres_per_h is not None}


def swept_between(session: Session, vessel_id: str, pump_id: str, from_at: datetime, to_at: datetime) -> int | None:
    """Swept litres an hour as a pump's newest passed test of that time measured it; none: none did."""
    query = select(PumpTestRow.swept_litres_per_h).where(
        PumpTestRow.vessel_id == vessel_id,
        PumpTestRow.pump_id == pump_id,
        PumpTestRow.at >= from_at,
        PumpTestRow.at <= to_at,
        col(PumpTestRow.swept_litres_per_h).is_not(None),
    )
    return session.exec(query.order_by(col(PumpTestRow.at).desc()).limit(1)).first()


def open_outage_row(session: Session, vessel_id: str, pump_id: str) -> bool:
    """Whether that pump is out without end."""
    out = select(OutageRow.id).where(
        OutageRow.vessel_id == vessel_id, OutageRow.pump_id == pump_id, col(OutageRow.to_at).is_(None)
    )
    return session.exec(out.limit(1)).first() is not None
