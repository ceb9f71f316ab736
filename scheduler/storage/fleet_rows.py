"""Vessels and their documents, the ids they use, their counters, and the ship's clock."""

from collections.abc import Iterable, Mapping

from sqlalchemy.orm import defer
from sqlmodel import Session, col, select

from scheduler.storage.tables import (
    AssetRow,
    CounterRow,
    DocumentVersionRow,
    KindSinceRow,
    RevisionRow,
    ShipOffsetRow,
    VesselRow,
)


def vessel_row(session: Session, vessel_id: str) -> VesselRow | None:
    """That vessel, or none."""
    return session.get(VesselRow, vessel_id)


def document_version(session: Session, vessel_id: str, number: int) -> DocumentVersionRow | None:
    """A version of a vessel's document, or none."""
    return session.get(DocumentVersionRow, (vessel_id, number))


def document_versions(session: Session, vessel_id: str) -> list[DocumentVersionRow]:
    """A vessel's versions, newest first, without their documents read."""
    kept = select(DocumentVersionRow).where(DocumentVersionRow.vessel_id == vessel_id)
    newest = kept.order_by(col(DocumentVersionRow.version).desc())
    return list(session.exec(newest.options(defer(col(DocumentVersionRow.document)))))  # type: ignore[arg-type]


def kinds_since(session: Session, vessel_id: str, plant_id: str) -> dict[str, int]:
    """By job kind of a plant, the epoch second at which it was first set up here."""
    kept = select(KindSinceRow).where(KindSinceRow.vessel_id == vessel_id, KindSinceRow.plant_id == plant_id)
    return {row.kind: row.since_s for row in session.exec(kept)}


def vessel_rows(session: Session, only: str | None = None) -> list[VesselRow]:
    """All vessels, or the one named, by id."""
    query = select(VesselRow).order_by(VesselRow.id)
    return list(session.exec(query if only is None else query.where(VesselRow.id == only)))


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


def counter_rows(session: Session, vessel_id: str) -> list[CounterRow]:
    """A vessel's counters by id."""
    return list(session.exec(select(CounterRow).where(CounterRow.vessel_id == vessel_id).order_by(CounterRow.id)))


def find_counter(session: Session, counter_id: str) -> CounterRow | None:
    """The counter with that id, or none."""
    return session.exec(select(CounterRow).where(CounterRow.id == counter_id)).first()


def dirty_vessels(session: Session) -> list[str]:
    """Vessels with counters whose ledger must be derived anew."""
    query = select(CounterRow.vessel_id).where(col(CounterRow.dirty_from_s).is_not(None)).distinct()
    return sorted(session.exec(query))


def ship_offset_rows(session: Session, vessel_id: str) -> list[ShipOffsetRow]:
    """The ship's clock changes, oldest first; never empty once a vessel was put."""
    query = select(ShipOffsetRow).where(ShipOffsetRow.vessel_id == vessel_id).order_by(col(ShipOffsetRow.from_s))
    return list(session.exec(query))


def counter_numbers(rows: Iterable[CounterRow]) -> Mapping[str, int]:
    """Short number of each counter by its id."""
    return {row.id: row.no for row in rows if row.no is not None}
