"""The vessel document as text and as values."""

from functools import lru_cache
from typing import Any

from pydantic import TypeAdapter

from scheduler.domain.vessel.document import Plant, Vessel
from scheduler.errors import NotFound
from scheduler.language import gettext as _
from scheduler.storage.database import Session
from scheduler.storage.vessel import VesselRow, vessel_row

VESSEL: TypeAdapter[Vessel] = TypeAdapter(Vessel)
"""Reads and writes the document; shape only, `fleet_check.faults_of` checks the sense."""


def as_text(vessel: Vessel) -> str:
    """The document as JSON text; equal vessels give equal text."""
    return VESSEL.dump_json(vessel).decode()


def as_plain(vessel: Vessel) -> dict[str, Any]:
    """The document as JSON values."""
    plain: dict[str, Any] = VESSEL.dump_python(vessel, mode="json")
    return plain


@lru_cache(maxsize=256)
def _parsed(vessel_id: str, version: int, text: str) -> Vessel:  # noqa: ARG001 - the first two make the key readable
    return VESSEL.validate_json(text)


def document_of(session: Session, vessel_id: str) -> tuple[Vessel, int]:
    """The vessel as set up, and its version. Raises NotFound when there is none."""
    return document_in(vessel_row(session, vessel_id), vessel_id)


def document_in(row: VesselRow | None, vessel_id: str) -> tuple[Vessel, int]:
    """The same from its row."""
    if row is None:
        raise NotFound(_("There is no vessel {vessel_id} here.", vessel_id=vessel_id))
    return _parsed(row.id, row.version, row.document), row.version


def plant_of(vessel: Vessel, plant_id: str) -> Plant:
    """That plant of the vessel. Raises NotFound when it has none such."""
    for plant in vessel.plants:
        if plant.id == plant_id:
            return plant
    raise NotFound(_("There is no plant {plant_id} here.", plant_id=plant_id))


def position_names(vessel: Vessel) -> dict[str, str]:
    """What people call each position of a vessel's plants, by its id."""
    return {position.id: position.name for plant in vessel.plants for position in plant.positions}
