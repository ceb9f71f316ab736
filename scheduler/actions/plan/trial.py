"""The plan aboard as it stands now, and one slot of it tried at another start."""

from dataclasses import dataclass, replace
from datetime import datetime

from scheduler.actions.base.context import Context
from scheduler.actions.plan.framing import problem_of
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.plant_state.stored import StoredPlan
from scheduler.actions.plant_state.work import state_of, steps_of
from scheduler.domain.work.state import WorkState
from scheduler.errors import Clash, NotFound, Refused
from scheduler.language import gettext as _
from scheduler.planning.move.trial import Trial, moves_with, try_start
from scheduler.planning.problem.shiphours import HOUR
from scheduler.planning.problem.values import Plan, Problem, ShortCode, Shortfall
from scheduler.planning.search.passes import starts_moved
from scheduler.shiptime import ship_time
from scheduler.storage.database import Session
from scheduler.wording.names import job_words


@dataclass(frozen=True, slots=True)
class TakenPlan:
    """The plan aboard as it stands now: its slots on today's problem, in which the jobs `keys`, to be moved, are free."""

    problem: Problem
    plan: Plan
    keys: tuple[str, ...]


def taken_plan(now: PlantState) -> StoredPlan:
    """The plan that is taken.

    Raises:
        Clash: none is.
    """
    if now.taken is None:
        raise Clash(
            _(
                "No plan is taken for {name}, so there is no slot to move. Look at the proposed plan and take it.",
                name=now.plant.name,
            )
        )
    return now.taken


def planned_start(now: PlantState, key: str) -> datetime | None:
    """Where the job's slot starts in the plan aboard; with another on its isolation, where the first of them starts.

    None without a plan or a slot. One that has begun does not go along any more.
    """
    times = now.taken.times() if now.taken else {}
    keys = moves_with(now.taken.plan, key) if now.taken else ()
    return min(
        (times[one][0] for one in keys if one in times and (one == key or times[one][0] >= now.at)), default=None
    )


def taken_now(now: PlantState, context: Context, key: str) -> TakenPlan:
    """The plan aboard on the plant as it is now, for moving the job and what shares its isolation.

    What the plan aboard knows nothing of is left out: the next plan brings it in.

    Raises:
        Clash: no plan is taken. NotFound: no such open job, or none that is planned.
    """
    held = taken_plan(now)
    times = held.times()
    keys = moves_with(held.plan, key)
    # what has begun stays as it is framed: pinned, with the work left to it
    free = {one for one in keys if one not in times or not times[one][0] < now.at < times[one][1]}
    whole = starts_moved(problem_of(now, context, free=free), dict(held.plan.moved_by))
    known = {*times, *(short.key for short in held.plan.shortfalls), key}
    problem = replace(whole, jobs=tuple(job for job in whole.jobs if job.key in known))
    there = {job.key for job in problem.jobs}
    if key not in there:
        if now.job(key) is None:
            raise NotFound(
                _(
                    "There is no open job {key} in {id}. `leadline due {id}` shows those that are.",
                    key=key[:200],
                    id=now.plant.id,
                )
            )
        name = job_words(now.plant, now.at, key)
        raise NotFound(
            _(
                "The plan of {name} has no job {name_2}: it is not due in the planned days, another "
                "job renews it, or it is a breakdown, which is not planned.",
                name=now.plant.name,
                name_2=name,
            )
        )
    shift = (problem.starts_at - held.problem.starts_at) // HOUR
    slots = tuple(
        replace(slot, start=slot.start - shift, end=slot.end - shift)
        for slot in held.plan.slots
        if slot.key in there and times[slot.key][1] > now.at
    )
    passed = tuple(
        Shortfall(
            key=slot.key,
            pump=slot.pump,
            steps=(),
            lacking_litres_per_h=0,
            code=ShortCode.SLOT_PASSED,
            start=slot.start - shift,
        )
        for slot in held.plan.slots
        if slot.key in there and slot.key not in keys and times[slot.key][1] <= now.at
    )
    left = tuple(short.shifted(shift) for short in held.plan.shortfalls)
    return TakenPlan(
        problem=problem,
        plan=replace(held.plan, slots=slots, shortfalls=(*left, *passed)),
        keys=tuple(one for one in keys if one in there),
    )


def try_slot(
    session: Session, context: Context, now: PlantState, key: str, start_at: datetime, *, going_back: bool = False
) -> Trial:
    """The trial of the job's slot at an instant.

    Raises:
        As `standing_now`; Refused: not a whole hour of the plan.
    """
    stands = taken_now(now, context, key)
    begun = any(_begun(state_of(steps_of(session, now.vessel.id, one))) for one in stands.keys)
    step = _step(now, stands, start_at)
    return try_start(stands.problem, stands.plan, key, step, begun=begun, going_back=going_back)


def _begun(work: WorkState) -> bool:
    """A permit is open, a tag hangs, or the pump was opened: not a note, nor a permit given back unused."""
    permit = any(one.closed_at is None for one in work.permits)
    return permit or bool(work.hanging) or any((work.out_at, work.opened_at, work.returned_at, work.reported_at))


def _step(now: PlantState, stands: TakenPlan, start_at: datetime) -> int:
    step, rest = divmod(start_at - stands.problem.starts_at, HOUR)
    if rest:
        earlier = start_at - rest
        near = [f"{ship_time(at, now.offset_minutes):%Y-%m-%d %H:%M}" for at in (earlier, earlier + HOUR)]
        says = _(
            "slots start at whole hours of the plan; the nearest are {near} and {near_2} ship time",
            near=near[0],
            near_2=near[1],
        )
        raise Refused(f"start_at: {says}.", faults=[("/start_at", says)])
    return step
