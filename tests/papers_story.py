"""Two years of an invented ship as records and hours, made without a database: what paper and workbook are tried on."""

import json
import random
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

from pydantic import TypeAdapter

from api.exports.first_page import Papers
from api.exports.frame import ExportFrame, export_summary
from scheduler.actions.record.history import DocumentChange, ExportExtras
from scheduler.actions.record.period import PlantPeriod, PumpPeriod, VesselPeriod
from scheduler.domain.base.enums import Test, Trigger
from scheduler.domain.hours.daily import DayHours
from scheduler.domain.record.chain import GENESIS, Record, record_of
from scheduler.domain.record.choice import NotDone
from scheduler.domain.record.closed_job import NO_DUE_POINT, ClosedJob, HoursSource, due_point_of
from scheduler.domain.record.period import period_facts
from scheduler.domain.vessel.document import Plant, Vessel
from scheduler.shiptime import ShipOffset
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import SHIPS

END = datetime(2026, 11, 29, 18, tzinfo=UTC)
OFFSET = -180
FOUND = (
    "Cloth and two wipes round the rotor, cut out.",
    "Edges dull, set turned.",
    "Nothing found.",
    "Łódź Ж Ω שלום: seal face scored.",
)
PEOPLE = ("Demo second", "Demo relief", "Wilhelmina Demo-Featherstone-Okonkwoberg", "Łucja Demo-Żak")


def story(
    *,
    years: float = 2.0,
    jobs: int | None = None,
    name: str = "Demo Avocet",
    pump_name: str = "",
    filter_: str | None = None,
    quiet: bool = False,
    seed: int = 1,
) -> tuple[Papers, list[Record]]:
    """What paper and workbook are made from, and its records.

    Args:
        jobs: closed jobs to make, by shorter intervals; none: as the intervals of the invented ship give. quiet: nothing was done.
    """
    draw = random.Random(seed)
    vessel = TypeAdapter(Vessel).validate_python(
        vessel_document(Run(next(one for one in SHIPS if one.key == "avocet"), 1, END, 2.0))
    )
    plant = vessel.plants[0]
    if pump_name:
        plant = _renamed(plant, pump_name)
    begin = END - timedelta(days=round(365 * years))
    days = [(begin + timedelta(days=n)).date() for n in range((END.date() - begin.date()).days)]
    ran = {pump.id: [draw.randint(5, 14) * 3600 for _ in days] for pump in plant.pumps}
    acts: list[tuple[datetime, str, dict[str, Any]]] = []
    if not quiet:
        acts += list(_closed(draw, vessel.name, plant, begin, days, ran, jobs))
        acts += list(_others(draw, plant, begin))
    records = list(_chained(sorted(acts, key=lambda one: one[0])))
    facts = period_facts(records)
    missed = () if quiet else (_missed(plant),)
    extras = ExportExtras(missed, *(((), (), ()) if quiet else _extras(plant)))
    frame = ExportFrame(vessel=name, made_by="Demo superintendent, office", as_of=END, version="0.1.0", filter=filter_)
    pumps = tuple(
        PumpPeriod(
            pump=pump,
            days=tuple(
                DayHours(
                    on=on,
                    seconds=None if place == 4 and 200 < n < 212 else seconds,
                    interpolated=place == 3 and 100 < n < 110,
                )
                for n, (on, seconds) in enumerate(zip(days, ran[pump.id], strict=True))
            ),
            hours_at_end=20_000 + sum(ran[pump.id]) / 3600,
            since={"knife_inspection": 521.0, "seal_inspection": 466.0, "overhaul": 3100.0},
            measured=100.5,
        )
        for place, pump in enumerate(plant.pumps)
    )
    period = VesselPeriod(
        vessel_name=name,
        imo="0246800",
        offset=ShipOffset(OFFSET),
        first_on=begin.date(),
        last_on=END.date(),
        plants=(PlantPeriod(plant=plant, pumps=pumps),),
        reviews=tuple(
            {
                "month": f"{year}-{month:02d}",
                "by": "Demo chief",
                "at": f"{year + month // 12}-{month % 12 + 1:02d}-02T11:00:00Z",
            }
            for year in (2025, 2026)
            for month in range(1, 13)
            if (year, month) != (2025, 8)
        ),
    )
    return Papers(frame=frame, found=export_summary(records), facts=facts, extras=extras, period=period), records


def _renamed(plant: Plant, pump_name: str) -> Plant:
    from dataclasses import replace

    return replace(
        plant, positions=tuple(replace(one, name=f"{pump_name} {n}") for n, one in enumerate(plant.positions, 1))
    )


def _closed(
    draw: random.Random,
    vessel: str,
    plant: Plant,
    begin: datetime,
    days: list[Any],
    ran: dict[str, list[int]],
    jobs: int | None,
) -> Iterator[tuple[datetime, str, dict[str, Any]]]:
    """Jobs of three kinds on each pump by its hours, tests each quarter, the alarm test each month."""
    kinds = [kind for kind in plant.job_kinds if kind.interval_running_hours]
    whole = sum(sum(one) for one in ran.values()) / 3600
    scale = (
        1.0
        if jobs is None
        else max(0.001, whole * sum(1 / (kind.interval_running_hours or 1) for kind in kinds) / jobs)
    )
    position = {stay.pump: next(one.name for one in plant.positions if one.id == stay.position) for stay in plant.stays}
    for pump in plant.pumps:
        hours = 20_000.0
        since = {kind.code: draw.uniform(0, (kind.interval_running_hours or 1) * scale) for kind in kinds}
        turns = dict.fromkeys(since, 0)
        for n, seconds in enumerate(ran[pump.id]):
            hours += seconds / 3600
            since = {code: one + seconds / 3600 for code, one in since.items()}
            for kind in sorted(kinds, key=lambda one: -(one.interval_running_hours or 0)):
                interval = (kind.interval_running_hours or 1) * scale
                over = draw.choice((-40, -30, -20, -10, -4, 30)) * min(1.0, scale)
                if since[kind.code] < interval + over:
                    continue
                turns[kind.code] += 1
                subject = (
                    pump.id if kind.part_kind is None else f"{pump.id}-{'knives' if 'knife' in kind.code else 'seal'}"
                )
                done_at = begin + timedelta(days=n, hours=draw.randint(7, 20), seconds=turns[kind.code])
                point = due_point_of(
                    kind,
                    trigger=Trigger.RUNNING_HOURS,
                    due_running_seconds=round((hours - since[kind.code] + interval) * 3600),
                    calendar_due_at=None,
                    postponed_to_at=done_at + timedelta(days=4) if draw.random() < 0.03 else None,
                )
                made = ClosedJob(
                    vessel=vessel,
                    position=position[pump.id],
                    pump_serial=pump.serial,
                    job_kind=kind.name,
                    job_no=f"{kind.code}:{subject}:{turns[kind.code]}",
                    due=point,
                    done_at=done_at,
                    utc_offset_minutes=OFFSET,
                    running_seconds=round(hours * 3600),
                    hours_source=HoursSource.ESTIMATED if draw.random() < 0.04 else HoursSource.COUNTER,
                    done_by=draw.choice(PEOPLE),
                    checked_by=None,
                    recorded_by="Demo second",
                    findings=draw.choice(FOUND),
                    test=Test.PASSED,
                    measures=f"knife gap 0.{draw.randint(20, 45)} mm",
                    least_margin_swept_m3_per_h=draw.uniform(9, 80),
                )
                yield done_at, ClosedJob.KIND, made.payload()
                since |= {code: 0.0 for code in (kind.code, *kind.renews) if code in since}
    for month in range(1, 1 + len(days) // 31):
        kind = next(one for one in plant.job_kinds if one.code == "alarm_test")
        at = begin + timedelta(days=31 * month - 2, hours=10)
        point = due_point_of(
            kind, trigger=Trigger.CALENDAR, due_running_seconds=None, calendar_due_at=at + timedelta(days=2)
        )
        made = ClosedJob(
            vessel=vessel,
            position=plant.name,
            pump_serial=None,
            job_kind=kind.name,
            job_no=f"alarm_test:{plant.id}:{month}",
            due=point,
            done_at=at,
            utc_offset_minutes=OFFSET,
            running_seconds=None,
            hours_source=None,
            done_by="Demo second",
            checked_by=None,
            recorded_by="Demo second",
            test=Test.NONE,
            findings="Lamp changed." if month % 9 == 0 else "",
        )
        yield at, ClosedJob.KIND, made.payload()
    pump = plant.pumps[3]
    at = begin + timedelta(days=300, hours=22)
    yield (
        at - timedelta(hours=20),
        "breakdown opened",
        {
            "job_no": f"breakdown:{pump.id}:1",
            "pump": pump.id,
            "at": at - timedelta(hours=20),
            "reason": "Motor protection tripped, rotor held by a cloth",
            "by": "Demo second",
        },
    )
    made = ClosedJob(
        vessel=vessel,
        position=position[pump.id],
        pump_serial=pump.serial,
        job_kind="Breakdown repair",
        job_no=f"breakdown:{pump.id}:1",
        due=NO_DUE_POINT,
        done_at=at,
        utc_offset_minutes=OFFSET,
        running_seconds=None,
        hours_source=None,
        done_by="Demo second",
        checked_by=None,
        recorded_by="Demo second",
        test=Test.PASSED,
        findings="Cloth cut out, rotor turns free.",
    )
    yield at, ClosedJob.KIND, made.payload()


def _others(draw: random.Random, plant: Plant, begin: datetime) -> Iterator[tuple[datetime, str, dict[str, Any]]]:
    years = (END - begin).days / 365
    for number, pump in enumerate(plant.pumps):
        for turn in range(round(4 * years)):
            at = begin + timedelta(days=30 + 91 * turn + 7 * number)
            if at < END:
                swept = pump.rated_swept_m3_per_h * draw.uniform(0.87, 0.97)
                failed = swept < 0.88 * pump.rated_swept_m3_per_h
                yield (
                    at,
                    "pump tested",
                    {
                        "pump": pump.id,
                        "serial": pump.serial,
                        "at": at,
                        "test": "failed" if failed else "passed",
                        "swept_m3_per_h": round(swept, 2),
                        "rated_swept_m3_per_h": pump.rated_swept_m3_per_h,
                        "leak_free_m3_per_h": 0.21,
                        "done_by": "Demo second",
                        "by": "Demo second",
                    },
                )
    at = begin + timedelta(days=170)
    yield (
        at,
        "counter replacement",
        {
            "counter": plant.counters[2].id,
            "event": "replacement",
            "event_id": "e1",
            "at": at,
            "reason": "Counter stood still; renewed",
            "by": "Demo chief",
        },
    )


def _chained(acts: list[tuple[datetime, str, dict[str, Any]]]) -> Iterator[Record]:
    previous, number, sealed = GENESIS, 0, 0
    for at, kind, payload in acts:
        number += 1
        made = record_of(
            number=number, kind=kind, payload=payload, recorded_at=at + timedelta(minutes=20), previous_hash=previous
        )
        previous = made.hash
        yield made
        if kind == ClosedJob.KIND and payload["pump_serial"] and (sealed := sealed + 1) % 7:
            closed, number = number, number + 1
            checks = {
                "job_no": payload["job_no"],
                "checks_record": closed,
                "checked_by": "Demo chief",
                "by": "Demo chief",
            }
            made = record_of(
                number=number,
                kind="job checked",
                payload=checks,
                recorded_at=at + timedelta(minutes=30),
                previous_hash=previous,
            )
            previous = made.hash
            yield made


def _missed(plant: Plant) -> NotDone:
    position = plant.positions[-1].name
    return NotDone(
        job=f"overhaul:{plant.pumps[-1].id}:9",
        position=position,
        kind="Overhaul",
        due_at=END - timedelta(days=50),
        limit_at=END - timedelta(days=7),
        state="past limit",
        done_at=None,
    )


def _extras(plant: Plant) -> Any:
    seal = f"seal_inspection:{plant.pumps[1].id}-seal:2"
    postponement = {
        "postponement": 3,
        "job": seal,
        "limit_at": "2025-08-05T00:00:00Z",
        "to_at": "2025-08-25T00:00:00Z",
        "state": "granted",
        "reason": "Full ship until 24 Aug: short by 4 with VP2 open.",
        "risk": "Leak looked at daily, 3 drops a minute or less.",
        "mitigation": "",
        "asked_by": "Demo chief",
        "asked_at": "2025-08-04T10:00:00Z",
        "decided_by": "Demo superintendent",
        "decided_at": "2025-08-05T10:00:00Z",
        "note": "",
        "class_agreed": "",
    }
    late = {
        "non_conformity": 4,
        "job": f"overhaul:{plant.pumps[-1].id}:1",
        "about": "past limit",
        "what": "",
        "limit_at": "2026-11-22T00:00:00Z",
        "opened_at": "2026-11-22T06:00:00Z",
        "state": "answered",
        "cause": "Liner for the housing not aboard; ordered 2 Sep 2026.",
        "corrective_action": "Overhaul planned 6 Dec 2026.",
        "answered_by": "Demo chief",
        "closed_by": None,
        "closed_at": None,
    }
    other = {
        **late,
        "non_conformity": 3,
        "state": "closed",
        "about": "gas",
        "what": "The pump was opened without a reading of the gas meter.",
        "limit_at": None,
        "opened_at": "2025-09-02T09:00:00Z",
        "closed_by": "Demo superintendent",
        "closed_at": "2025-09-30T09:00:00Z",
    }
    changes = (
        DocumentChange(
            40,
            "2025-02-03T09:00:00Z",
            "Demo office",
            "minimum at night 230 m³/h, now 210 m³/h",
            "Two public rooms closed.",
            "",
            "Demo superintendent",
            2,
        ),
        DocumentChange(
            90,
            "2025-06-11T09:00:00Z",
            "Demo office",
            "knife inspection every 5 months, now every 6",
            "Three inspections with nothing found.",
            "",
            "not approved",
            3,
        ),
    )
    return (postponement,), (late, other), changes


def header_counts(lines: list[str]) -> dict[str, Any]:
    """What the header of a JSON Lines export counts."""
    return dict(json.loads(lines[0])["judged"])
