"""What a handover carries by itself: permits, locks, lower minima, postponements asked, held readings, parts short, pumps out."""

import json
from typing import Any

from scheduler.actions.base.context import Context, instant, utc_text
from scheduler.actions.plan.lead_order_set import LEAD_CHANGED
from scheduler.actions.plant_state.load import PlantState, load_plant
from scheduler.actions.plant_state.work import state_of, steps_of
from scheduler.actions.vessel.document import document_of
from scheduler.domain.people.persons import Person, same_name
from scheduler.storage.capacity import OutageStatus, outage_rows
from scheduler.storage.database import Session
from scheduler.storage.due import postponement_rows
from scheduler.storage.record import record_rows
from scheduler.storage.work import jobs_worked_on, part_count_rows


def carried(session: Session, context: Context, vessel_id: str) -> dict[str, Any]:
    """All that is open on a vessel, as members of a record; a list is empty where nothing is."""
    vessel, _ = document_of(session, vessel_id)
    told: dict[str, list[Any]] = {
        name: []
        for name in (
            "permits_open",
            "tags_hanging",
            "personal_locks",
            "lower_minima",
            "postponements_asked",
            "readings_held",
            "parts_short",
            "pumps_out",
            "pumps_not_proved",
        )
    }
    for plant in vessel.plants:
        now = load_plant(session, context, vessel_id, plant.id)
        _work(session, now, told)
        _plant(session, now, told)
    told["postponements_asked"] = [
        {"postponement": row.number, "job": row.job_key, "to_at": utc_text(row.to_at), "asked_by": row.asked_by}
        for row in postponement_rows(session, vessel_id)
        if row.granted is None
    ]
    lead = [json.loads(one.text) for one in record_rows(session, vessel_id, kind=LEAD_CHANGED)]
    newest = {one["plant"]: one for one in lead}
    return {
        **told,
        "lead_order": [{name: one[name] for name in ("plant", "order", "at", "by")} for one in newest.values()],
    }


def _work(session: Session, now: PlantState, told: dict[str, list[Any]]) -> None:
    for pump in now.plant.pumps:
        position = now.position_name(now.plant.position_of(pump.id, now.at))
        for key in jobs_worked_on(session, now.vessel.id, pump.id):
            work = state_of(steps_of(session, now.vessel.id, key))
            here = {"job": key, "position": position}
            told["permits_open"] += [{**here, "permit": p.number} for p in work.permits if p.closed_at is None]
            told["tags_hanging"] += [
                {**here, "point": tag.point, "tag_no": tag.tag_no, "placed_by": tag.placed_by} for tag in work.hanging
            ]
            told["personal_locks"] += [{**here, "person": lock.person} for lock in work.personal_hanging]


def _plant(session: Session, now: PlantState, told: dict[str, list[Any]]) -> None:
    told["lower_minima"] += [
        {
            "plant": now.plant.id,
            "to_at": utc_text(c.to_at),
            "minimum_swept_m3_per_h": c.minimum.m3_per_h,
        }
        for c in now.concessions
        if c.signed and c.to_at > now.at
    ]
    told["readings_held"] += [{"what": flag.code, "at": utc_text(instant(flag.at_s))} for _, flag in now.flags]
    counts = {row.name: row.aboard for row in part_count_rows(session, now.vessel.id, now.plant.id)}
    needed = {
        part.name: part.quantity for job in now.jobs if job.first for part in now.plant.kind(job.job_id.kind).parts
    }
    told["parts_short"] += [
        {"part": name, "need": need, "aboard": counts[name]}
        for name, need in needed.items()
        if counts.get(name, need) < need
    ]
    for row in outage_rows(session, now.vessel.id, now.plant.id, since_at=now.at):
        name = "pumps_out" if row.status is OutageStatus.DOWN else "pumps_not_proved"
        position = now.position_name(now.plant.position_of(row.pump_id, now.at))
        told[name].append({"position": position, "since": utc_text(row.from_at), "expected": utc_text(row.expected_at)})


def hung_by(session: Session, vessel_id: str, leaver: Person) -> list[str]:
    """The points at which a lock of that person hangs, and nobody else's beside it; and the boxes with a personal lock."""
    vessel, _ = document_of(session, vessel_id)
    found = []
    for pump in (pump for plant in vessel.plants for pump in plant.pumps):
        for key in jobs_worked_on(session, vessel_id, pump.id):
            work = state_of(steps_of(session, vessel_id, key))
            found += [tag.point for tag in work.hanging if same_name(tag.placed_by, leaver.name)]
            found += ["the lock box" for lock in work.personal_hanging if same_name(lock.person, leaver.name)]
    return found
