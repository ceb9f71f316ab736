"""Vessels, their documents in every version, the ids in use, and the ship's clock."""

from collections.abc import Iterable
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any

from sqlalchemy import BigInteger, CheckConstraint
from sqlalchemy.orm import defer
from sqlmodel import Field, Session, col, func, select

from scheduler.storage.database import read_once
from scheduler.storage.paging import PageAsked, numbered_rows
from scheduler.storage.types import WITHOUT_ROWID, Instant, Json, Packed, Row, by_value

_LONG_AGO = datetime.fromtimestamp(0, UTC)


class AssetKind(StrEnum):
    """What an id of the vessel document names."""

    PLANT = "plant"
    POSITION = "position"
    PUMP = "pump"
    PART = "part"
    COUNTER = "counter"


class VesselRow(Row, table=True):
    """A vessel and its document, the JSON text of `scheduler.domain.vessel.document.Vessel`."""

    id: str = Field(primary_key=True)
    name: str
    imo: str
    document: str
    version: int
    changed_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "changed_s"})


class DocumentVersionRow(Row, table=True):
    """A vessel's document as stored once: every version is kept. record: of the vessel's history, 0 where that was before.

    by_id: of the person, else of the key, none where that was before. to_approve: the changes that somebody ashore approves, in
    words; approved_by: who did, empty while nobody has.
    """

    __table_args__ = (WITHOUT_ROWID,)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    version: int = Field(primary_key=True)
    document: str = Field(sa_type=Packed)
    stored_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "stored_s"})
    by: str
    reason: str
    approved_by: str
    record: int = Field(sa_type=BigInteger)
    by_id: str | None = None
    to_approve: list[str] = Field(default_factory=list, sa_type=Json, sa_column_kwargs={"server_default": "[]"})
    approved_by_id: str | None = None
    approved_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "approved_s"})


class KindSinceRow(Row, table=True):
    """When a plant's job kind was first set up here: of what was done before that, nobody keeps count."""

    __table_args__ = (WITHOUT_ROWID,)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    plant_id: str = Field(primary_key=True)
    kind: str = Field(primary_key=True)
    since_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "since_s"})


def _watched(column: str) -> Any:
    more = {"name": column, "server_default": "0"}
    return Field(default=_LONG_AGO, sa_type=Instant, sa_column_kwargs=more, index=True)


class RevisionRow(Row, table=True):
    """Goes up by one with each write that touches the vessel ("": the installation); caches are keyed by it.

    Kept apart from the vessel so that a reading does not rewrite the vessel's document. limits_watch_at ... record_walk_at: when each
    watch next looks at her (`storage.watches`).
    """

    vessel_id: str = Field(primary_key=True)
    number: int = Field(sa_type=BigInteger)
    limits_watch_at: datetime = _watched("limits_watch_s")
    counters_watch_at: datetime = _watched("counters_watch_s")
    night_at: datetime = _watched("night_s")
    record_walk_at: datetime = _watched("record_walk_s")


class AssetRow(Row, table=True):
    """An id that some vessel document uses; ids are unique across vessels."""

    id: str = Field(primary_key=True)
    vessel_id: str = Field(foreign_key="vessel.id", index=True)
    plant_id: str | None = None
    kind: AssetKind = Field(sa_type=by_value(AssetKind, "kind"))


class ShipOffsetRow(Row, table=True):
    """The ship's clock: minutes ahead of UTC from an instant on."""

    __table_args__ = (CheckConstraint("offset_minutes BETWEEN -900 AND 900", name="offset_minutes"), WITHOUT_ROWID)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    from_at: datetime = Field(primary_key=True, sa_type=Instant, sa_column_kwargs={"name": "from_s"})
    offset_minutes: int
    actor: str
    reason: str
    recorded_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "recorded_s"})


def vessel_row(session: Session, vessel_id: str) -> VesselRow | None:
    """That vessel, or none."""
    return session.get(VesselRow, vessel_id)


def document_version(session: Session, vessel_id: str, number: int) -> DocumentVersionRow | None:
    """A version of a vessel's document, or none."""
    return session.get(DocumentVersionRow, (vessel_id, number))


def document_versions(session: Session, vessel_id: str, page: PageAsked | None = None) -> list[DocumentVersionRow]:
    """A vessel's versions, newest first, without their documents read."""
    kept = select(DocumentVersionRow).where(DocumentVersionRow.vessel_id == vessel_id)
    light = kept.options(defer(col(DocumentVersionRow.document)))  # type: ignore[arg-type]
    return numbered_rows(session, light, col(DocumentVersionRow.version), page)[::-1]


def first_stored_at(session: Session, vessel_id: str) -> datetime | None:
    """When a vessel's oldest version that is kept was stored; none for no vessel."""
    return session.exec(
        select(func.min(DocumentVersionRow.stored_at)).where(DocumentVersionRow.vessel_id == vessel_id)
    ).one()


def versions_waiting(session: Session, vessel_id: str) -> list[DocumentVersionRow]:
    """The versions of a vessel's document whose changes nobody ashore has approved, newest first; their texts are not read."""
    query = select(DocumentVersionRow).where(
        DocumentVersionRow.vessel_id == vessel_id, DocumentVersionRow.approved_by == ""
    )
    light = query.options(defer(col(DocumentVersionRow.document)))  # type: ignore[arg-type]
    rows = session.exec(light.order_by(col(DocumentVersionRow.version).desc()))
    return [row for row in rows if row.to_approve]


def kinds_since(session: Session, vessel_id: str, plant_id: str) -> dict[str, datetime]:
    """By job kind of a plant, the instant at which it was first set up here."""
    kept = select(KindSinceRow).where(KindSinceRow.vessel_id == vessel_id, KindSinceRow.plant_id == plant_id)
    return {row.kind: row.since_at for row in session.exec(kept)}


def vessel_rows(
    session: Session, only: str | None = None, *, after: str = "", limit: int | None = None
) -> list[VesselRow]:
    """All vessels, or the one named, by id; those after an id, at most `limit` of them."""
    query = select(VesselRow).where(VesselRow.id > after).order_by(VesselRow.id).limit(limit)
    return list(session.exec(query if only is None else query.where(VesselRow.id == only)))


def vessel_ids(session: Session) -> list[str]:
    """The ids of all vessels, in order."""
    return list(session.exec(select(VesselRow.id).order_by(VesselRow.id)))


def vessel_count(session: Session) -> int:
    """How many vessels there are."""
    return session.exec(select(func.count()).select_from(VesselRow)).one()


def vessel_names(session: Session) -> dict[str, str]:
    """The name of each vessel, by her id."""
    return dict(session.exec(select(VesselRow.id, VesselRow.name).order_by(VesselRow.id)).all())


def asset_row(session: Session, asset_id: str) -> AssetRow | None:
    """What that id names and whose it is, or none."""
    return session.get(AssetRow, asset_id)


def ids_taken_elsewhere(session: Session, vessel_id: str, ids: Iterable[str]) -> list[str]:
    """Those of `ids` that another vessel's document uses already, sorted."""
    wanted = list(ids)
    query = select(AssetRow.id).where(col(AssetRow.id).in_(wanted), AssetRow.vessel_id != vessel_id)
    return sorted(session.exec(query))


def asset_rows(session: Session, vessel_id: str) -> dict[str, AssetRow]:
    """The ids of a vessel's document."""
    return {row.id: row for row in session.exec(select(AssetRow).where(AssetRow.vessel_id == vessel_id))}


def revision_of(session: Session, vessel_id: str) -> int:
    """Number of writes that have touched the vessel; 0 when none has."""
    row = session.get(RevisionRow, vessel_id)
    return row.number if row else 0


def ship_offsets(session: Session) -> dict[str, list[ShipOffsetRow]]:
    """The clock changes of every ship, oldest first."""
    found: dict[str, list[ShipOffsetRow]] = {}
    for row in session.exec(select(ShipOffsetRow).order_by(col(ShipOffsetRow.vessel_id), col(ShipOffsetRow.from_at))):
        found.setdefault(row.vessel_id, []).append(row)
    return found


def ship_offset_rows(session: Session, vessel_id: str) -> list[ShipOffsetRow]:
    """The ship's clock changes, oldest first; never empty once a vessel was put."""
    query = select(ShipOffsetRow).where(ShipOffsetRow.vessel_id == vessel_id).order_by(col(ShipOffsetRow.from_at))
    return list(read_once(session, (ShipOffsetRow, vessel_id), lambda: session.exec(query).all()))
