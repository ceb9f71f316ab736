"""An invented vessel that makes sense, for tests to bend: three pumps, knife sets, overhaul, knives, valve, alarm test."""

from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

from scheduler.domain.base.enums import Subject
from scheduler.domain.due.jobs import DueJob, jobs_due
from scheduler.domain.due.last_done import Done
from scheduler.domain.due.meters import Meters
from scheduler.domain.due.subjects import Key
from scheduler.domain.hours.running import RunningHours
from scheduler.domain.vessel.crew import Crew, MinimumBlock, NoWork
from scheduler.domain.vessel.document import Counter, Fitting, Part, Plant, Position, Pump, Stay, Vessel
from scheduler.domain.vessel.job_kinds import JobKind, LastDone

AT = datetime(2027, 3, 1, 8, tzinfo=UTC)
SET_UP_AT = datetime(2026, 1, 1, tzinfo=UTC)

OVERHAUL = JobKind(
    code="overhaul",
    name="Overhaul",
    subject=Subject.PUMP,
    takes_hours=10,
    hands=2,
    interval_running_hours=8000,
    interval_months=30,
    window_running_hours=400,
    window_days=30,
    tolerance_running_hours=200,
    tolerance_days=14,
    renews=("knives",),
)
KNIVES = JobKind(
    code="knives",
    name="Knife inspection",
    subject=Subject.PART,
    part_kind="knife set",
    takes_hours=3,
    interval_running_hours=1500,
    interval_months=6,
    window_running_hours=100,
)
VALVE = JobKind(
    code="valve", name="Non-return valve", subject=Subject.POSITION, takes_hours=2, interval_running_hours=1500
)
ALARM = JobKind(
    code="alarm",
    name="Alarm test",
    subject=Subject.PLANT,
    takes_hours=1,
    interval_months=1,
    window_days=7,
    takes_pump_out=False,
)
KINDS = (OVERHAUL, KNIVES, VALVE, ALARM)


def plant(*kinds: JobKind, **changes: Any) -> Plant:
    """A plant with these job kinds (none: all four)."""
    numbers = (1, 2, 3)
    members: dict[str, Any] = {
        "id": "aft",
        "name": "Aft vacuum plant",
        "receiver_m3": 2.0,
        "start_vacuum_kpa": 35.0,
        "stop_vacuum_kpa": 50.0,
        "minimum_swept_m3_per_h": 100.0,
        "positions": tuple(Position(id=f"vp{n}", name=f"VP{n}") for n in numbers),
        "pumps": tuple(Pump(id=f"u{n}", serial=f"A-10{n}", rated_swept_m3_per_h=60.0) for n in numbers),
        "parts": tuple(Part(id=f"k{n}", kind="knife set", name=f"Knife set {n}") for n in numbers),
        "stays": tuple(Stay(pump=f"u{n}", position=f"vp{n}", from_at=SET_UP_AT) for n in numbers),
        "fittings": tuple(Fitting(part=f"k{n}", pump=f"u{n}", from_at=SET_UP_AT) for n in numbers),
        "counters": tuple(Counter(id=f"c{n}", position=f"vp{n}") for n in numbers),
        "job_kinds": kinds or KINDS,
        "minimum_blocks": (
            MinimumBlock(minimum_swept_m3_per_h=120.0, label="busy hours", from_hour=6, to_hour=9),
            MinimumBlock(minimum_swept_m3_per_h=40.0, label="night", from_hour=23, to_hour=5),
        ),
        "crew": Crew(no_work=(NoWork(from_at=AT, to_at=AT + timedelta(hours=4), label="port arrival"),)),
        "last_done": () if kinds else (LastDone(kind="overhaul", subject="u1", done_at=SET_UP_AT, running_hours=20.0),),
    }
    return Plant(**(members | changes))


def vessel(*plants: Plant, **changes: Any) -> Vessel:
    """Demo Plover with these plants (none: the one above)."""
    return Vessel(
        **({"id": "demo-plover", "name": "Demo Plover", "imo": "0123450", "plants": plants or (plant(),)} | changes)
    )


def steady_hours(seconds: int, as_of: datetime | None = AT) -> Callable[[Subject, str], RunningHours]:
    """Every subject has run that long."""
    return lambda subject, subject_id: RunningHours(seconds=seconds, as_of=as_of)


def steady_days(hours_a_day: float = 10.0, days: int = 200, pumps: int = 3) -> dict[str, list[int]]:
    """Every pump ran that much on each day."""
    return {f"u{n}": [round(hours_a_day * 3600)] * days for n in range(1, pumps + 1)}


def due_jobs(*, done: Mapping[Key, Done], horizon_days: int = 180, **known: Any) -> tuple[DueJob, ...]:
    """As `jobs_due`. known: of the meters, postponed and first_dates."""
    set_by_hand = {name: known.pop(name) for name in ("postponed", "first_dates") if name in known}
    return jobs_due(Meters(**known), done, horizon_days=horizon_days, **set_by_hand)
