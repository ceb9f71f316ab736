"""Versions of a vessel's operating calendar and the stretches in each."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import BigInteger, CheckConstraint, Index
from sqlalchemy import select as select_columns
from sqlmodel import Field, Session, col, select

from scheduler.domain.voyage.stretches import Source
from scheduler.storage.types import WITHOUT_ROWID, Instant, Json, Row, by_value


class VoyageVersionRow(Row, table=True):
    """A version of a vessel's operating calendar: who made it and why; kinds: [code, weight] of each.

    undoes: the version that this one takes back. record: its number in the vessel's history.
    """

    __table_args__ = (CheckConstraint("version >= 1", name="version"), WITHOUT_ROWID)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    version: int = Field(primary_key=True)
    kinds: list[Any] = Field(sa_type=Json)
    actor: str
    reason: str
    what: str
    undoes: int | None = None
    record: int = Field(sa_type=BigInteger)
    recorded_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "recorded_s"})


class VoyageStretchRow(Row, table=True):
    """A stretch of ship's days of one kind, in the versions from `since_version` up to before `until_version`."""

    __table_args__ = (
        CheckConstraint("to_on >= from_on", name="to_on"),
        CheckConstraint("until_version IS NULL OR until_version > since_version", name="until_version"),
        Index(None, "vessel_id", "until_version"),
        WITHOUT_ROWID,
    )

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    since_version: int = Field(primary_key=True)
    from_on: date = Field(primary_key=True)
    to_on: date
    kind: str
    source: Source = Field(sa_type=by_value(Source, "source"))
    note: str
    until_version: int | None = None


def newest_voyage_version(session: Session, vessel_id: str) -> VoyageVersionRow | None:
    """The version in force, or none before the first."""
    query = select(VoyageVersionRow).where(VoyageVersionRow.vessel_id == vessel_id)
    return session.exec(query.order_by(col(VoyageVersionRow.version).desc()).limit(1)).first()


def voyage_version(session: Session, vessel_id: str, number: int) -> VoyageVersionRow | None:
    """That version, or none."""
    return session.get(VoyageVersionRow, (vessel_id, number))


def voyage_versions(session: Session, vessel_id: str, limit: int) -> list[VoyageVersionRow]:
    """The newest versions, newest first."""
    query = select(VoyageVersionRow).where(VoyageVersionRow.vessel_id == vessel_id)
    return list(session.exec(query.order_by(col(VoyageVersionRow.version).desc()).limit(limit)))


def voyage_stretch_rows(session: Session, vessel_id: str) -> list[VoyageStretchRow]:
    """The stretches in force, by date."""
    query = select(VoyageStretchRow).where(VoyageStretchRow.vessel_id == vessel_id)
    query = query.where(col(VoyageStretchRow.until_version).is_(None))
    return list(session.exec(query.order_by(col(VoyageStretchRow.from_on))))


StretchValues = tuple[date, date, str, Source, str]
"""From, to, kind, source and note of a stretch."""


def voyage_stretches(session: Session, vessel_id: str, at_version: int | None = None) -> tuple[StretchValues, ...]:
    """The stretches of a version (none: of the one in force), by date."""
    row = VoyageStretchRow
    columns = col(row.from_on), col(row.to_on), col(row.kind), col(row.source), col(row.note)
    query = select_columns(*columns).where(col(row.vessel_id) == vessel_id)
    if at_version is None:
        query = query.where(col(row.until_version).is_(None))
    else:
        query = query.where(col(row.since_version) <= at_version).where(
            col(row.until_version).is_(None) | (col(row.until_version) > at_version)
        )
    found = session.connection().execute(query.order_by(col(row.from_on)))
    return tuple((from_on, to_on, kind, source, note) for from_on, to_on, kind, source, note in found)
