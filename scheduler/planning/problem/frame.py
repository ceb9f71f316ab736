"""From due jobs and the plant to a stagger problem, and from a slot back to instants."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from math import isfinite
from types import MappingProxyType

from scheduler.domain.base.enums import JobState, Trigger
from scheduler.domain.capacity.minimum import Concession, Outage, Swept, litres_down
from scheduler.domain.capacity.returning import planned_back
from scheduler.domain.due.docking import Dock, dock_of
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.vessel.document import Plant
from scheduler.domain.vessel.job_kinds import BREAKDOWN
from scheduler.domain.voyage.days import Stretch
from scheduler.errors import Refused
from scheduler.planning.problem.shiphours import (
    HOUR,
    closed_stretches,
    crew_stretches,
    day_starts,
    equal_stretches,
    first_midnight,
    minimum_stretches,
    quiet_stretches,
    start_steps,
    step_ceil,
    step_floor,
    wall_hours,
)
from scheduler.planning.problem.values import (
    CrewStretch,
    Derated,
    NotTogether,
    Occasion,
    PlanJob,
    Problem,
    PumpCapacity,
    Slot,
)
from scheduler.shiptime import ShipOffset

AIM = 0.94
"""Share of an interval at which a job is aimed, so that a forecast that is a little off does not make it late."""

RUN_OUT_DAYS = 14
"""Days the grid goes on beyond the horizon, so that a job due on its last days has somewhere to go."""

SERVICE_ENGINEER = "service engineer"
"""What a job needs that waits for a visit; every other need is a kind of day (port, sea)."""

Taken = Mapping[str, tuple[datetime, datetime]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Circumstances:
    """What else binds a plan, as far as it is known; nothing of it has to be.

    days: the ship's days by kind (port, sea, ...), in ship dates. parts_from: by occurrence key, when its parts come.
    concessions: lower minima agreed. clock_changes: (instant, minutes ahead of UTC from then on), in order. shared: by key
    of a slot taken, the job whose isolation it goes on with. pins: by occurrence key, where a person set its start by hand.
    docks: stays in dock with the jobs chosen for them.
    """

    days: Sequence[Stretch] = ()
    parts_from: Mapping[str, datetime] = field(default_factory=dict)
    concessions: Sequence[Concession] = ()
    clock_changes: Sequence[tuple[datetime, int]] = ()
    shared: Mapping[str, str] = field(default_factory=dict)
    pins: Mapping[str, datetime] = field(default_factory=dict)
    docks: Sequence[Dock] = ()


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
    published_days: int | None = None,
    taken: Taken = MappingProxyType({}),
    circumstances: Circumstances = Circumstances(),
    grid_from: datetime | None = None,
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
        frozen_days: slots taken that start within so many days are kept unless they have become impossible; later ones are
            worth keeping. What was set by hand (`circumstances.pins`) is pinned wherever it is, until its time has passed, and so
            is what has begun.
        published_days: slots taken that start within so many days are worth keeping; all of them when not given.
        taken: start and end of the slots taken already, by occurrence key. One that has begun is pinned with the work
            left to it; one whose end has passed is planned anew.
        circumstances: what else binds.
        grid_from: where the grid starts instead, before `at`: such a problem is only compared, and stays the same while no
            more than time passes.

    Raises:
        Refused: a capacity is not a finite figure.
    """
    begins = at if grid_from is None else grid_from
    starts_at = _next_whole_hour(begins)
    steps = max(0, horizon_days + RUN_OUT_DAYS) * 24
    clock = ShipOffset(int(offset_minutes), circumstances.clock_changes)
    crew = crew_stretches(plant.crew, starts_at, steps, clock)
    grid = _Grid(
        plant=plant,
        circumstances=circumstances,
        shown_until=None if published_days is None else begins + timedelta(days=published_days),
        at=at,
        begins=begins,
        starts_at=starts_at,
        steps=steps,
        until=starts_at + timedelta(days=horizon_days),
        frozen_until=begins + timedelta(days=frozen_days),
        crew=crew,
        positioned=frozenset(p.id for p in plant.pumps if plant.position_of(p.id, at) is not None),
        back={
            outage.pump: step_floor(starts_at, back.at)
            for outage in outages
            if (back := planned_back(outage, at)) is not None
        },
    )
    by_key = {job.job_id.key: job for job in jobs}
    planned = {key: job for key, job in by_key.items() if grid.takes(job)}
    return Problem(
        starts_at=starts_at,
        steps=steps,
        pumps=tuple(
            _pump(pump.id, capacities, outages, at, starts_at, steps)
            for pump in plant.pumps
            if pump.id in grid.positioned
        ),
        minimum=minimum_stretches(plant, starts_at, steps, clock, circumstances.concessions),
        crew=crew,
        start_steps=start_steps(plant.crew, starts_at, steps, clock),
        jobs=tuple(grid.plan_job(job, _before(job, by_key), planned, taken) for job in planned.values()),
        person_hours=plant.crew.hours_a_person,
        first_midnight=first_midnight(starts_at, clock),
        day_starts=day_starts(starts_at, steps, clock),
        avoid_nights=plant.crew.close_overnight,
        even_margin=plant.even_margin,
        occasions=tuple(_occasions(plant, circumstances.days, starts_at, steps, clock)),
        quiet=quiet_stretches(plant, starts_at, steps, clock),
        not_together=tuple(
            NotTogether(pumps=pumps, most_out=branch.most_open)
            for branch in plant.branches
            if len(pumps := tuple(sorted(p for b in branch.positions if (p := plant.pump_in(b, at)))))
            > branch.most_open
        ),
        closed=closed_stretches(plant.crew, starts_at, steps, clock),
    )


def slot_times(starts_at: datetime, slot: Slot) -> tuple[datetime, datetime]:
    """When the slot starts and ends, aware, in UTC, on a grid that begins then."""
    return starts_at + slot.start * HOUR, starts_at + slot.end * HOUR


@dataclass(frozen=True, slots=True, kw_only=True)
class _Grid:
    """What the jobs of one frame share."""

    plant: Plant
    circumstances: Circumstances
    shown_until: datetime | None
    at: datetime
    begins: datetime
    starts_at: datetime
    steps: int
    until: datetime
    frozen_until: datetime
    crew: tuple[CrewStretch, ...]
    positioned: frozenset[str]
    back: Mapping[str, int]
    """By pump that is out, the step at which plans have it back."""

    def takes(self, job: DueJob) -> bool:
        """True for a job that belongs in the problem."""
        if job.renewed_by is not None or job.state in (JobState.DONE, JobState.WITHDRAWN):
            return False
        dock = self._dock(job)
        first = job.due_at if job.limit_at is None else min(job.due_at, job.limit_at)
        return (first if dock is None else dock.from_at) <= self.until

    def _dock(self, job: DueJob) -> Dock | None:
        """The dock it is chosen for, while that is to come and its limit reaches it; else it is planned as any other."""
        dock = dock_of(self.circumstances.docks, job.job_id.key)
        if dock is None or dock.to_at <= self.at:
            return None
        return dock if job.limit_at is not None and dock.from_at <= job.limit_at else None

    def plan_job(self, job: DueJob, before: DueJob | None, planned: Mapping[str, DueJob], taken: Taken) -> PlanJob:
        """The job on the grid."""
        due = step_floor(self.starts_at, job.due_at)
        began_at = max(before.due_at, self.begins) if before is not None else None
        chained = before is not None and before.job_id.key in planned
        fixed, kept, published, left = self._taken(job, taken)
        kind = next((k for k in (*self.plant.job_kinds, BREAKDOWN) if k.code == job.job_id.kind), None)
        repair = job.job_id.kind == BREAKDOWN.code
        short = kind is not None and kind.stop_minutes > 0
        parts_at = self.circumstances.parts_from.get(job.job_id.key)
        parts_from = None if parts_at is None else max(0, step_ceil(self.starts_at, parts_at))
        # Without a limit nothing is late: it is as soon as the rest allows, for it is due now.
        limit = self.steps if job.limit_at is None else step_floor(self.starts_at, job.limit_at)
        opens_at = job.window_opens_at
        if (
            chained and before is not None
        ):  # it goes with the turn that renews it, which may be done a whole window early
            opens_at = min(opens_at, job.due_at - (before.due_at - before.window_opens_at))
        earliest = max(0, step_ceil(self.starts_at, opens_at))
        ideal = step_floor(self.starts_at, _aim(job, began_at))
        dock = self._dock(job)
        if dock is not None:  # in its days, as near their beginning as may be; its limit does not wait for it
            earliest = ideal = max(0, step_ceil(self.starts_at, dock.from_at))
            kept, published = None, None
        if repair:
            limit = max(
                limit, self.back.get(job.pump or "", limit)
            )  # as soon as may be, and by the time it is to be back
        return PlanJob(
            key=job.job_id.key,
            pump=job.pump if job.takes_pump_out and job.pump in self.positioned and not short else None,
            work_steps=max(1, job.takes_hours) if left is None else left,
            hands=job.hands,
            earliest=earliest,
            ideal=ideal,
            due=due,
            limit=limit,
            after=before.job_id.key if chained and before is not None else None,
            interval_steps=max(0, (job.due_at - began_at) // HOUR) if chained and began_at is not None else None,
            fixed_start=fixed,
            kept_start=kept,
            published_start=published,
            setup_steps=kind.setup_hours if kind is not None and left is None else 0,
            needs=tuple(sorted(set(kind.needs))) if kind is not None else (),
            parts_from=parts_from,
            stop_minutes=kind.stop_minutes if kind is not None else 0,
            tested=job.pump if short and job.pump in self.positioned else None,
            all_closed=kind is not None and kind.pumps_closed,
        )

    def _taken(self, job: DueJob, taken: Taken) -> tuple[int | None, int | None, int | None, int | None]:
        """(pinned, kept, published start, work left when begun or without the set-up spared) of a slot taken already."""
        key = job.job_id.key
        slot, first = taken.get(key), self.circumstances.shared.get(key)
        pin = self.circumstances.pins.get(key)
        if pin is not None and pin >= self.starts_at:
            # Set-up is spared only on an isolation that is as sure: its partner pinned too, and ending just there.
            circumstances = (
                first is not None and first in self.circumstances.pins and first in taken and taken[first][1] == pin
            )
            return (
                step_floor(self.starts_at, pin),
                None,
                None,
                self._work_beside(job, str(first)) if circumstances else None,
            )
        if slot is None or slot[1] <= self.at:
            return None, None, None, None
        start, end = step_floor(self.starts_at, slot[0]), step_ceil(self.starts_at, slot[1])
        if start < 0:
            left = sum(max(0, min(s.to_step, end) - max(s.from_step, 0)) for s in self.crew if s.hands >= job.hands)
            return start, None, None, max(1, left)
        began = taken[first][0] if first is not None and first in taken else slot[0]
        if first is not None and began < self.starts_at:
            return start, None, None, self._work_beside(job, first)  # the pump is open for the first of them already
        if min(began, slot[0]) < self.frozen_until:
            return None, start, None, None
        shown = self.shown_until is None or slot[0] < self.shown_until
        return None, None, start if shown else None, None

    def _work_beside(self, job: DueJob, first: str) -> int:
        """Hours of work of a pinned job that goes on with the isolation of another."""
        kinds = {kind.code: kind.setup_hours for kind in self.plant.job_kinds}
        spared = min(kinds.get(first.partition(":")[0], 0), kinds.get(job.job_id.kind, 0))
        return max(1, job.takes_hours - spared)


def _occasions(
    plant: Plant, days: Sequence[Stretch], starts_at: datetime, steps: int, clock: ShipOffset
) -> Iterator[Occasion]:
    """When there is what a job may need: whole steps of the ship's days by kind, and of the visits."""
    wanted = {need for kind in plant.job_kinds for need in kind.needs}
    walls = wall_hours(starts_at, steps, clock)
    by_hours = {"port"} if plant.port_stays else set()
    for stay in plant.port_stays if "port" in wanted else ():
        first, last = max(0, step_ceil(starts_at, stay.from_at)), min(steps, step_floor(starts_at, stay.to_at))
        if first < last:
            yield Occasion(need="port", from_step=first, to_step=last)
    for need in sorted(wanted - {SERVICE_ENGINEER} - by_hours):
        on = {day for s in days if s.kind == need for day in range(s.from_on.toordinal(), s.to_on.toordinal() + 1)}

        def holds(step: int, on: frozenset[int] = frozenset(on)) -> bool:
            return all(wall // 24 in on for wall in walls[step])

        for first, last, there in equal_stretches(steps, holds):
            if there:
                yield Occasion(need=need, from_step=first, to_step=last)
    for visit in plant.engineer_visits if SERVICE_ENGINEER in wanted else ():
        first, last = max(0, step_ceil(starts_at, visit.from_at)), min(steps, step_floor(starts_at, visit.to_at))
        if first < last:
            yield Occasion(need=SERVICE_ENGINEER, from_step=first, to_step=last)


def _next_whole_hour(at: datetime) -> datetime:
    whole = at.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    return whole if whole == at else whole + HOUR


def _before(job: DueJob, by_key: Mapping[str, DueJob]) -> DueJob | None:
    """The due job whose end starts this one's interval: the turn before it, or the job that renews that turn."""
    turn = job.job_id
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
    pump: str, capacities: Mapping[str, Swept], outages: Sequence[Outage], at: datetime, starts_at: datetime, steps: int
) -> PumpCapacity:
    full = _litres(pump, capacities.get(pump, Swept(0.0)))
    derated = []
    for outage in outages:
        if outage.pump != pump:
            continue
        first = max(0, step_floor(starts_at, outage.from_at))
        back = planned_back(outage, at)
        until = back.at if back is not None else outage.to_at
        last = steps if until is None else min(steps, step_ceil(starts_at, until))
        counts = _litres(pump, outage.counts_for)
        rests_on = "" if back is None else "assumed" if back.assumed else "expected"
        if first < last and counts < full:
            derated.append(Derated(from_step=first, to_step=last, litres_per_h=counts, back=rests_on))
    return PumpCapacity(pump=pump, litres_per_h=full, derated=tuple(sorted(derated)))


def _litres(pump: str, swept: Swept) -> int:
    if not isfinite(swept.m3_per_h):
        raise Refused(
            f"Pump {pump} has a capacity of {swept.m3_per_h} m3/h; a finite figure of 0 or more was expected. "
            "Correct its capacity or its latest pull-down test."
        )
    return max(0, litres_down(swept))
