"""From due jobs and the plant to a stagger problem, and from a slot back to instants."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from math import isfinite
from types import MappingProxyType

from scheduler.domain.capacity import Outage, Swept, litres_down
from scheduler.domain.due import DueJob
from scheduler.domain.fleet import Plant
from scheduler.domain.words import State, Trigger
from scheduler.errors import Refused
from scheduler.planning.problem import CrewStretch, Derated, PlanJob, Problem, PumpCapacity, Slot
from scheduler.planning.shiphours import (
    HOUR,
    crew_stretches,
    minimum_stretches,
    start_steps,
    step_ceil,
    step_floor,
)

AIM = 0.94
"""Share of an interval at which a job is aimed, so that a forecast that is a little off does not make it late."""

RUN_OUT_DAYS = 14
"""Days the grid goes on beyond the horizon, so that a job due on its last days has somewhere to go."""

Taken = Mapping[str, tuple[datetime, datetime]]


def frame(
    *,
    plant: Plant,
    jobs: Sequence[DueJob],
    capacities: Mapping[str, Swept],
    outages: Sequence[Outage],
    offset_minutes: int,
    at: datetime,
    horizon_days: int = 180,
    frozen_days: int = 7,
    taken: Taken = MappingProxyType({}),
) -> Problem:
    """The stagger problem of a plant from `at` on.

    Args:
        plant: as set up, with its stays up to `at`; pumps in no position are left out.
        jobs: due jobs; those due, or at their limit, by the end of the horizon are planned, past due ones too. A turn
            that another job renews is left out: it is done with that job.
        capacities: pump id to what it counts for when nothing is wrong; a pump without an entry counts for nothing.
        outages: stretches in which a pump counts for less.
        offset_minutes: ship time minus UTC.
        at: now, aware; the grid starts at the next whole UTC hour.
        horizon_days: days ahead from which jobs are taken; the grid goes RUN_OUT_DAYS further.
        frozen_days: slots taken that start within so many days are pinned, later ones are worth keeping.
        taken: start and end of the slots taken already, by occurrence key. One that has begun is pinned with the work
            left to it; one whose end has passed is planned anew.

    Raises:
        Refused: a capacity is not a finite figure.
    """
    starts_at = _next_whole_hour(at)
    steps = max(0, horizon_days + RUN_OUT_DAYS) * 24
    crew = crew_stretches(plant.crew, starts_at, steps, offset_minutes)
    grid = _Grid(
        at=at,
        starts_at=starts_at,
        until=starts_at + timedelta(days=horizon_days),
        frozen_until=at + timedelta(days=frozen_days),
        crew=crew,
        positioned=frozenset(p.id for p in plant.pumps if plant.position_of(p.id, at) is not None),
    )
    by_key = {job.occurrence.key: job for job in jobs}
    planned = {key: job for key, job in by_key.items() if grid.takes(job)}
    return Problem(
        starts_at=starts_at,
        steps=steps,
        pumps=tuple(
            _pump(pump.id, capacities, outages, starts_at, steps) for pump in plant.pumps if pump.id in grid.positioned
        ),
        minimum=minimum_stretches(plant, starts_at, steps, offset_minutes),
        crew=crew,
        start_steps=start_steps(plant.crew, starts_at, steps, offset_minutes),
        jobs=tuple(grid.plan_job(job, _before(job, by_key), planned, taken) for job in planned.values()),
    )


def slot_times(problem: Problem, slot: Slot) -> tuple[datetime, datetime]:
    """When the slot starts and ends, aware, in UTC."""
    return problem.starts_at + slot.start * HOUR, problem.starts_at + slot.end * HOUR


@dataclass(frozen=True, slots=True, kw_only=True)
class _Grid:
    """What the jobs of one frame share."""

    at: datetime
    starts_at: datetime
    until: datetime
    frozen_until: datetime
    crew: tuple[CrewStretch, ...]
    positioned: frozenset[str]

    def takes(self, job: DueJob) -> bool:
        """True for a job that belongs in the problem."""
        if job.renewed_by is not None or job.state in (State.DONE, State.WITHDRAWN):
            return False
        return min(job.due_at, job.limit_at) <= self.until

    def plan_job(self, job: DueJob, before: DueJob | None, planned: Mapping[str, DueJob], taken: Taken) -> PlanJob:
        """The job on the grid."""
        due = step_floor(self.starts_at, job.due_at)
        began_at = max(before.due_at, self.at) if before is not None else None
        chained = before is not None and before.occurrence.key in planned
        fixed, published, left = self._taken(job, taken.get(job.occurrence.key))
        return PlanJob(
            key=job.occurrence.key,
            pump=job.pump if job.takes_pump_out and job.pump in self.positioned else None,
            work_steps=max(1, job.takes_hours) if left is None else left,
            hands=job.hands,
            earliest=max(0, step_ceil(self.starts_at, job.window_opens_at)),
            ideal=step_floor(self.starts_at, _aim(job, began_at)),
            due=due,
            limit=step_floor(self.starts_at, job.limit_at),
            after=before.occurrence.key if chained and before is not None else None,
            interval_steps=max(0, (job.due_at - began_at) // HOUR) if chained and began_at is not None else None,
            fixed_start=fixed,
            published_start=published,
        )

    def _taken(self, job: DueJob, slot: tuple[datetime, datetime] | None) -> tuple[int | None, int | None, int | None]:
        """(pinned start, published start, work left when begun) of a slot taken already."""
        if slot is None or slot[1] <= self.at:
            return None, None, None
        start = step_floor(self.starts_at, slot[0])
        if start < 0:
            end = step_ceil(self.starts_at, slot[1])
            left = sum(max(0, min(s.to_step, end) - max(s.from_step, 0)) for s in self.crew if s.hands >= job.hands)
            return start, None, max(1, left)
        return (start, None, None) if slot[0] < self.frozen_until else (None, start, None)


def _next_whole_hour(at: datetime) -> datetime:
    whole = at.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    return whole if whole == at else whole + HOUR


def _before(job: DueJob, by_key: Mapping[str, DueJob]) -> DueJob | None:
    """The due job whose end starts this one's interval: the turn before it, or the job that renews that turn."""
    turn = job.occurrence
    before = by_key.get(f"{turn.kind}:{turn.subject}:{turn.sequence - 1}")
    while before is not None and before.renewed_by is not None:
        renewing = by_key.get(before.renewed_by)
        if renewing is before:
            return None
        before = renewing
    return before


def _aim(job: DueJob, began_at: datetime | None) -> datetime:
    """AIM of the interval, never before the window opens; the due point when the interval is not known."""
    if began_at is not None:
        interval = job.due_at - began_at
    elif job.trigger is Trigger.CALENDAR and job.calendar_start_at is not None:
        interval = job.due_at - job.calendar_start_at
    elif job.interval_seconds is not None and job.forecast is not None and job.forecast.h_per_day > 0:
        interval = timedelta(days=min(job.interval_seconds / 3600 / job.forecast.h_per_day, 36_525.0))
    else:
        interval = timedelta(0)
    return max(job.window_opens_at, job.due_at - (1 - AIM) * interval)


def _pump(
    pump: str, capacities: Mapping[str, Swept], outages: Sequence[Outage], starts_at: datetime, steps: int
) -> PumpCapacity:
    full = _litres(pump, capacities.get(pump, Swept(0.0)))
    derated = []
    for outage in outages:
        if outage.pump != pump:
            continue
        first = max(0, step_floor(starts_at, outage.from_at))
        last = steps if outage.to_at is None else min(steps, step_ceil(starts_at, outage.to_at))
        counts = _litres(pump, outage.counts_for)
        if first < last and counts < full:
            derated.append(Derated(from_step=first, to_step=last, litres_per_h=counts))
    return PumpCapacity(pump=pump, litres_per_h=full, derated=tuple(sorted(derated)))


def _litres(pump: str, swept: Swept) -> int:
    if not isfinite(swept.m3_per_h):
        raise Refused(
            f"Pump {pump} has a capacity of {swept.m3_per_h} m3/h; a finite figure of 0 or more was expected. "
            "Correct its capacity or its latest pull-down test."
        )
    return max(0, litres_down(swept))
