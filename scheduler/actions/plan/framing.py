"""The planner's problem of a plant as it stands, and whether a stored plan answers it."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from datetime import datetime

from scheduler.actions.base.context import Context
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.plant_state.stored import StoredPlan
from scheduler.domain.base.enums import JobState, Trigger
from scheduler.domain.due.jobs import DueJob
from scheduler.planning.move.taken import BY_HAND
from scheduler.planning.problem.digest import problem_digest
from scheduler.planning.problem.frame import Circumstances, frame
from scheduler.planning.problem.values import Problem
from scheduler.planning.search.passes import Running
from scheduler.shiptime import instant_of, ship_time


def problem_of(
    now: PlantState,
    context: Context,
    *,
    keep: bool = True,
    free: Collection[str] = (),
    horizon_days: int | None = None,
    of_day: bool = False,
) -> Problem:
    """The planner's problem of a situation; with `keep`, the taken plan's dates are worth keeping and pins stand.

    free: keys of jobs that are framed as if they had neither slot nor pin. horizon_days: how far it looks when that is beyond
    what is published. of_day: on a grid from the ship's midnight, to be compared alone: it stays as it is all day unless something
    changed.
    """
    midnight = _ships_midnight(now) if of_day else None
    jobs = now.jobs if midnight is None else tuple(_from_midnight(now.jobs, now.at, midnight))
    taken, shared = (now.taken.times(), now.taken.shared()) if keep and now.taken else ({}, {})
    return frame(
        plant=now.plant,
        jobs=(*jobs, *now.breakdowns),
        capacities=now.capacities,
        outages=now.outages,
        offset_minutes=now.offset_minutes,
        at=now.at,
        horizon_days=horizon_days or context.settings.horizon_days,
        frozen_days=context.settings.frozen_days,
        published_days=context.settings.horizon_days,
        taken={key: times for key, times in taken.items() if key not in free},
        circumstances=Circumstances(
            days=now.days,
            parts_from=now.parts_from(),
            concessions=now.concessions,
            clock_changes=now.clock_changes,
            shared={key: first for key, first in shared.items() if key not in free},
            pins={key: pin.start_at for key, pin in now.pins.items() if keep and key not in free},
            docks=now.docks,
        ),
        grid_from=midnight,
    )


def _ships_midnight(now: PlantState) -> datetime:
    wall = ship_time(now.at, now.offset_minutes)
    return instant_of(wall.replace(hour=0, minute=0, second=0, microsecond=0), now.offset_minutes)


def _from_midnight(jobs: Sequence[DueJob], at: datetime, midnight: datetime) -> Iterator[DueJob]:
    """The jobs, with dates that count from now (the last turn is not known, or one before is past due) counted from midnight."""
    due = {job.job_id.key: job.due_at for job in jobs}
    for job in jobs:
        turn = job.job_id
        before = (due.get(f"{turn.kind}:{turn.subject}:{number}") for number in range(1, turn.sequence))
        if job.state is not JobState.NOT_KNOWN and not any(one is not None and one <= at for one in before):
            yield job
            continue
        passed = at - midnight
        limit_at = None if job.limit_at is None else job.limit_at - passed
        yield replace(job, due_at=job.due_at - passed, window_opens_at=job.window_opens_at - passed, limit_at=limit_at)


def running_of(now: PlantState) -> Running:
    """What the pumps run a day, and the jobs whose dates rest on it."""
    by_hours = [
        job for job in now.jobs if job.pump is not None and job.forecast is not None and job.forecast.h_per_day > 0
    ]
    return Running(
        h_per_day={str(job.pump): job.forecast.h_per_day for job in reversed(by_hours) if job.forecast is not None},
        pump_of={
            job.job_id.key: str(job.pump)
            for job in by_hours
            if job.trigger is Trigger.RUNNING_HOURS and job.postponed_to is None
        },
    )


def answer_stored(now: PlantState, context: Context, of_day: str | None = None) -> StoredPlan | None:
    """The newest plan of the plant if it answers the problem as it is now, else none.

    One that was made on this ship's day does while nothing but time passed and none of its slots that have not begun lies in the
    past. One with a slot moved by hand answers none; nor does one by the plain rule, since the planner may succeed this time.

    Args:
        of_day: digest of the day's problem, where the caller has it.
    """
    newest = now.proposed or now.taken
    if newest is None or newest.plan.by in (BY_HAND, "greedy"):
        return None
    today = of_day or problem_digest(problem_of(now, context, of_day=True))
    if newest.of_day == today and _lies_ahead(now, newest):
        return newest
    asked = problem_digest(problem_of(now, context))
    return newest if asked in (newest.plan.asked, newest.plan.problem_digest) else None


def _lies_ahead(now: PlantState, stored: StoredPlan) -> bool:
    """Whether every slot of an open job is still to come, or is one of the plan aboard that has begun and not ended."""
    aboard = now.taken.times() if now.taken is not None else {}
    return all(
        start >= now.at or (aboard.get(key) == (start, end) and now.at < end)
        for key, (start, end) in stored.times().items()
        if key in now.open_keys
    )
