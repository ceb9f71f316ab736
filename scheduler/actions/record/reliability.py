"""Reliability of a vessel's pumps, from what is on record: breakdowns as told, running hours as counted."""

import json
from datetime import datetime
from typing import Any

from scheduler.actions.base.context import Context
from scheduler.actions.hours.ledger import derive_vessel
from scheduler.actions.plant_state.load import hours_then, load_plant
from scheduler.actions.vessel.document import document_of
from scheduler.domain.base.enums import Subject
from scheduler.domain.record.reliability import mean_count, mtbf, trend, weibull
from scheduler.errors import Refused
from scheduler.storage.record import record_rows


def report(context: Context, vessel_id: str) -> dict[str, Any]:
    """Breakdowns, hours and the mean time between them for each pump; trend, mean count and life of all together.

    A breakdown is a pump told to be down. Hours are those its counters show since they were first read. What the data do
    not carry is said in words instead of a figure. Raises NotFound.
    """
    derive_vessel(context, vessel_id)
    with context.db.read() as session:
        vessel, _ = document_of(session, vessel_id)
        downs: dict[str, list[datetime]] = {}
        for record in record_rows(session, vessel_id, kind="pump down"):
            members = json.loads(record.text)
            downs.setdefault(str(members["pump"]), []).append(datetime.fromisoformat(members["at"]))
        rows: list[dict[str, Any]] = []
        units: list[tuple[list[float], float]] = []
        for plant in vessel.plants:
            now = load_plant(session, context, vessel_id, plant.id)
            for pump in plant.pumps:
                ran = now.hours[Subject.PUMP, pump.id].hours
                before = min((s.opening_running_hours for s in plant.stays if s.pump == pump.id), default=0.0)
                at = [
                    hours_then(session, now, Subject.PUMP, pump.id, when).hours - before
                    for when in downs.get(pump.id, ())
                ]
                observed = ran - before
                rows.append(_pump(plant.id, pump.id, pump.serial, at, observed))
                if observed > 0:
                    units.append(([max(hours, 1e-6) for hours in sorted(at)], observed))
    return {"vessel": vessel_id, "pumps": rows, **_fleet(units)}


def _pump(plant: str, pump: str, serial: str, at: list[float], observed: float) -> dict[str, Any]:
    row: dict[str, Any] = {
        "plant": plant,
        "pump": pump,
        "serial": serial,
        "breakdowns": len(at),
        "observed_running_hours": round(observed, 1),
        "mtbf_running_hours": None,
        "mtbf_low_running_hours": None,
        "mtbf_high_running_hours": None,
    }
    if observed > 0:
        found = mtbf(len(at), observed)
        row["mtbf_running_hours"] = _rounded(found.best)
        row["mtbf_low_running_hours"] = _rounded(found.low)
        row["mtbf_high_running_hours"] = _rounded(found.high)
    return row


def _fleet(units: list[tuple[list[float], float]]) -> dict[str, Any]:
    lives = [b - a for failures, _ in units for a, b in zip([0.0, *failures], failures, strict=False) if b > a]
    left = [end - (failures[-1] if failures else 0.0) for failures, end in units]
    told: dict[str, Any] = {"confidence_percent": 90}
    try:
        found = trend([(failures, end) for failures, end in units if failures])
        told["trend"] = found.says
    except Refused as error:
        told["trend"] = error.says
    told["mean_breakdowns"] = [
        {"running_hours": round(one.hours, 1), "a_pump": round(one.mean, 3), "error": round(one.error, 3)}
        for one in mean_count(units)
    ]
    try:
        life = weibull(lives, [hours for hours in left if hours > 0])
        told["life"] = {
            "scale_running_hours": _rounded(life.scale_hours),
            "shape": round(life.shape, 2),
            "shape_low": round(life.shape_low, 2),
            "says": "wear is shown" if life.shape_low > 1 else "wear is not shown: replacing by age would not help",
        }
    except Refused as error:
        told["life"] = {"says": error.says}
    return told


def _rounded(hours: float | None) -> float | None:
    return None if hours is None else round(hours, 1)
