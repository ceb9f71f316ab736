"""The record as read back: whole or for a period."""

from dataclasses import dataclass
from datetime import datetime

from scheduler.actions.documents import held
from scheduler.actions.house import House
from scheduler.domain.history import Record
from scheduler.storage import history_rows


@dataclass(frozen=True, slots=True)
class Told:
    """A vessel's records by number."""

    vessel_name: str
    records: tuple[Record, ...]


def records_of(house: House, vessel_id: str, *, from_at: datetime | None = None, to_at: datetime | None = None) -> Told:
    """The vessel's records recorded in a period (end excluded; none: open). Raises NotFound."""
    with house.db.read() as session:
        vessel, _ = held(session, vessel_id)
        found = tuple(
            record
            for record in history_rows.records(session, vessel_id)
            if (from_at is None or record.recorded_at >= from_at) and (to_at is None or record.recorded_at < to_at)
        )
        return Told(vessel.name, found)


def head_of(house: House, vessel_id: str) -> tuple[int, str]:
    """Number and record stamp of the vessel's newest record. Raises NotFound."""
    with house.db.read() as session:
        held(session, vessel_id)
        return history_rows.head(session, vessel_id)


def stamp_of(house: House, vessel_id: str, number: int) -> str:
    """The record stamp of a record, empty when there is none."""
    with house.db.read() as session:
        return next((record.hash for record in history_rows.records(session, vessel_id, number, number)), "")
