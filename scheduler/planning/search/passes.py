"""Hours and dates depend on each other: an open pump does not run, the others run its hours, and a turn done early or late
moves the turns that count from it. The plan is made, its dates are put where it puts them, and it is made again.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from scheduler.planning.problem.digest import problem_digest
from scheduler.planning.problem.values import Plan, PlanJob, Problem, Slot
from scheduler.planning.search.ground import STEPS_A_DAY

MOST_PASSES = 3
SETTLED_STEPS = STEPS_A_DAY
"""Dates that move less than this from one pass to the next have settled."""

USUAL_STEPS, USUAL_SHARE = 4 * STEPS_A_DAY, 0.1
"""A turn done no further from its due point than this many steps and this share of the interval leaves the next one where
it is: jobs are aimed a little early, and the crew's week moves them by some days. Judgement, no source."""

Shifts = Mapping[str, int]
"""Steps by which the dates of a job lie later than first thought, by key."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Running:
    """h_per_day: what each pump runs a day, by pump. pump_of: by job key the pump whose hours set its dates; jobs by the
    calendar, and those with a postponement, are not in it."""

    h_per_day: Mapping[str, float] = field(default_factory=dict)
    pump_of: Mapping[str, str] = field(default_factory=dict)


def settle(
    problem: Problem, running: Running, solve: Callable[[Problem], Plan], begin: Shifts = MappingProxyType({})
) -> tuple[Problem, Plan]:
    """The plan whose own outages are taken in, and the problem it answers: `problem` with its dates moved.

    At most MOST_PASSES plans are made. Where the dates have not settled by then the earliest seen is used, and the plan
    names the job with the days it may still move.

    Args:
        begin: what the dates were moved by in the plan aboard, so that planning again moves nothing by itself.
    """
    known = {job.key for job in problem.jobs}
    shifts: Shifts = {key: shift for key, shift in begin.items() if key in known}
    seen: list[Shifts] = []
    for number in range(1, MOST_PASSES + 1):
        asked = starts_moved(problem, shifts)
        plan = solve(asked)
        found = drift(problem, plan, shifts, running)
        open_still = _unsettled(found, shifts)
        if not open_still or number == MOST_PASSES:
            break
        seen.append(found)
        last = number == MOST_PASSES - 1
        shifts = {
            key: min(s.get(key, 0) for s in seen) if last and key in open_still else shift
            for key, shift in found.items()
        }
    made = replace(
        plan,
        moved_by=tuple(sorted((key, shift) for key, shift in shifts.items() if shift)),
        unsettled=tuple(sorted(open_still.items())),
        asked=problem_digest(problem) if asked != problem else "",
    )
    return asked, made


def starts_moved(problem: Problem, shifts: Shifts) -> Problem:
    """The problem with the dates of its jobs shifted; what is pinned or published stays."""
    return replace(problem, jobs=tuple(_shifted(job, shifts.get(job.key, 0)) for job in problem.jobs))


def drift(problem: Problem, plan: Plan, used: Shifts, running: Running) -> Shifts:
    """By how many steps each job's dates lie later than in `problem`, if the plan (made with shifts `used`) is followed."""
    slots = {slot.key: slot for slot in plan.slots}
    by_key = {job.key: job for job in problem.jobs}
    found: dict[str, int] = {}
    for key in by_key:
        for job in reversed(_back(by_key, key)):
            if job.key not in found:
                found[job.key] = _shift_of(job, slots, used, found, plan, running)
    return found


def _back(by_key: Mapping[str, PlanJob], key: str) -> list[PlanJob]:
    """The job and those it counts from, newest first; a ring is cut where it closes."""
    chain: list[PlanJob] = []
    step: str | None = key
    while step is not None and step in by_key and all(job.key != step for job in chain):
        chain.append(by_key[step])
        step = by_key[step].after
    return chain


def _shift_of(
    job: PlanJob, slots: Mapping[str, Slot], used: Shifts, found: Shifts, plan: Plan, running: Running
) -> int:
    began, base = 0, 0
    before = slots.get(job.after or "")
    if before is not None and job.interval_steps is not None:
        began = before.end + found.get(before.key, 0) - used.get(before.key, 0)
        base = began - (job.due - job.interval_steps)
        if abs(base) <= USUAL_STEPS + USUAL_SHARE * job.interval_steps:
            base = 0
    pump = running.pump_of.get(job.key)
    rate = running.h_per_day.get(pump or "", 0.0)
    if pump is None or rate <= 0:
        return base
    own, taken_over = 0, 0.0
    others = len(running.h_per_day) - 1
    for slot in plan.slots:
        steps = max(0, min(slot.end, job.due + base) - max(slot.start, began, 0))
        if slot.pump is None or slot.key == job.key or not steps:
            continue
        if slot.pump == pump:
            own += steps
        elif others > 0:
            taken_over += steps * running.h_per_day.get(slot.pump, 0.0) / others
    return base + round(own - taken_over / rate)


def _shifted(job: PlanJob, by: int) -> PlanJob:
    if not by:
        return job
    return replace(
        job, earliest=max(0, job.earliest + by), ideal=job.ideal + by, due=job.due + by, limit=job.limit + by
    )


def _unsettled(found: Shifts, used: Shifts) -> dict[str, int]:
    """By key the days by which dates still move, where they move more than SETTLED_STEPS."""
    gaps = {key: abs(shift - used.get(key, 0)) for key, shift in found.items()}
    return {key: -(-gap // STEPS_A_DAY) for key, gap in gaps.items() if gap > SETTLED_STEPS}
