"""What was open on a vessel at an instant gone by, as records and rows up to then have it; for a month's report made later."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from scheduler.actions.base.context import utc_text
from scheduler.actions.plant_state.work import state_of, steps_of
from scheduler.domain.vessel.document import Plant, Vessel
from scheduler.storage.capacity import OutageStatus, concession_rows, outage_rows
from scheduler.storage.database import Session
from scheduler.storage.due import postponement_rows
from scheduler.storage.work import jobs_begun_between

LONGEST_WORK = timedelta(days=366)
"""Work whose first tag was hung longer ago is not looked for."""


def open_then(session: Session, vessel: Vessel, at: datetime) -> Mapping[str, list[Any]]:
    """What stood open at an instant, as members of `carried` name it. How many parts were aboard and what was asked about counters is
    kept as it is now alone, so of these nothing is said."""
    found: dict[str, list[Any]] = {name: [] for name in ("permits_open", "tags_hanging", "lower_minima", "parts_short")}
    found |= {"readings_held": [], "pumps_out": [], "pumps_not_proved": []}
    for plant in vessel.plants:
        _outages(session, vessel.id, plant, at, found)
        for row in concession_rows(session, vessel.id, plant.id):
            signed = row.chief_at is not None and row.hotel_at is not None and max(row.chief_at, row.hotel_at) < at
            if signed and at < row.to_at and (row.withdrawn_at is None or row.withdrawn_at >= at):
                least = row.minimum_litres_per_h / 1000
                found["lower_minima"].append({"minimum_swept_m3_per_h": least, "to_at": utc_text(row.to_at)})
        pumps = {pump.id for pump in plant.pumps}
        for job, pump in jobs_begun_between(session, vessel.id, at - LONGEST_WORK, at):
            if pump in pumps:
                work = state_of([one for one in steps_of(session, vessel.id, job) if one.recorded_at < at])
                found["permits_open"] += [{"permit": one.number} for one in work.permits if one.closed_at is None]
                position = _position_name(plant, pump, at)
                found["tags_hanging"] += [{"position": position, "point": tag.point} for tag in work.hanging]
    found["postponements_asked"] = [
        {"postponement": row.number, "job": row.job_key}
        for row in postponement_rows(session, vessel.id)
        if row.asked_at < at and (row.decided_at is None or row.decided_at >= at)
    ]
    return found


def _outages(session: Session, vessel_id: str, plant: Plant, at: datetime, found: dict[str, list[Any]]) -> None:
    for row in outage_rows(session, vessel_id, plant.id, since_at=at):
        if row.from_at < at:
            name = "pumps_out" if row.status is OutageStatus.DOWN else "pumps_not_proved"
            position = _position_name(plant, row.pump_id, at)
            found[name].append({"position": position, "since": utc_text(row.from_at), "expected": None})


def _position_name(plant: Plant, pump: str | None, at: datetime) -> str:
    position = None if pump is None else plant.position_of(pump, at)
    return next((one.name for one in plant.positions if one.id == position), "")
