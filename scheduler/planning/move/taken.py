"""The slots of a plan on the plant as it stands now: each allowed where it is, whatever a new plan would do."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from scheduler.planning.problem.values import Plan, Problem, ShortCode, Shortfall, Slot
from scheduler.planning.search.assemble import assemble
from scheduler.planning.search.ground import Ground, Start, candidate_at, hands_needed
from scheduler.planning.search.tiers import set_up_saved

BY_HAND = "hand"
"""What a plan says it was found by when a person moved a slot of it."""


def as_it_stands(problem: Problem, plan: Plan, moving: Sequence[str]) -> tuple[Problem, dict[str, str]]:
    """The problem with every other slot allowed where it stands, and by key the job whose isolation it goes on with.

    A slot put where no plan would start one today (earlier than its window, at another hour) is pinned there, and a pair
    of which one is pinned is pinned as a whole, the second with the work left to it.
    """
    jobs = {job.key: job for job in problem.jobs}
    slots = {slot.key: slot for slot in plan.slots if slot.key in jobs and slot.key not in moving}
    shared = {k: s.isolation_of for k, s in slots.items() if s.isolation_of is not None and s.isolation_of in slots}
    pinned = {
        k
        for k, s in slots.items()
        if k not in shared and (s.start not in problem.start_steps or s.start < jobs[k].earliest)
    }
    for second, first in shared.items():
        either = {second, first}
        early = slots[second].start < jobs[second].earliest
        if early or pinned & either or any(jobs[k].fixed_start is not None for k in either):
            pinned |= either
    for key in pinned:
        job, slot = jobs[key], slots[key]
        if job.fixed_start is not None:
            continue
        isolated = jobs.get(shared.get(key, ""))
        spared = 0 if isolated is None else set_up_saved(isolated, job)
        takes = hands_needed(job, spared)
        jobs[key] = replace(
            job,
            fixed_start=slot.start,
            work_steps=len(takes),
            hands_by_step=takes if job.hands_by_step else (),
            setup_steps=0 if isolated is not None else job.setup_steps,
        )
    return replace(problem, jobs=tuple(jobs[job.key] for job in problem.jobs)), shared


def placed(ground: Ground, slot: Slot, shares: str | None) -> Start | None:
    """Where a slot is, or none when its work is not finished on the grid. shares: the job whose isolation it goes on with."""
    job = ground.by_key[slot.key]
    start = slot.start if job.fixed_start is None else job.fixed_start
    first = ground.by_key.get(shares or "")
    if first is None:
        return candidate_at(ground, job, start)
    there = candidate_at(ground, job, start, set_up_saved(first, job))
    return None if there is None else replace(there, pair=first.key, second=True)


def without_place(
    ground: Ground, others: Mapping[str, Start], plan: Plan, moving: Sequence[str]
) -> tuple[Shortfall, ...]:
    """A shortfall for every job without a slot and every deficit; of a job that has one in the plan aboard, what that says: nobody
    has looked for a place anew."""
    before = {short.key: short for short in plan.shortfalls if short.key is not None}
    passed = {slot.key: slot.start for slot in plan.slots if slot.key not in moving}
    made = assemble(ground, others, tiers=(), by=BY_HAND, solver="", remarks=())
    return tuple(
        short
        if short.key is None
        else replace(before[short.key], steps=short.steps, lacking_litres_per_h=short.lacking_litres_per_h)
        if short.key in before
        else not_looked_for(short, passed.get(short.key))
        for short in made.shortfalls
    )


def not_looked_for(short: Shortfall, passed: int | None = None) -> Shortfall:
    """The shortfall of a job that nobody has looked for a place for yet. passed: where its slot began that is no more."""
    return Shortfall(
        key=short.key,
        pump=short.pump,
        steps=short.steps,
        lacking_litres_per_h=short.lacking_litres_per_h,
        code=ShortCode.NOT_PLANNED if passed is None else ShortCode.SLOT_PASSED,
        start=passed,
    )


def still_shared(problem: Problem, plan: Plan, shared: Mapping[str, str]) -> Plan:
    """The plan with its pinned pairs still named as such: the builder makes no pair of jobs that are pinned.

    shared: by key, the job whose isolation it went on with in the plan aboard.
    """
    pinned = {job.key for job in problem.jobs if job.fixed_start is not None}
    slots = {slot.key: slot for slot in plan.slots}
    used = {slot.isolation_of for slot in plan.slots}
    for key, first in shared.items():
        second, other = slots.get(key), slots.get(first)
        if second is None or other is None or not {key, first} <= pinned or first in used:
            continue
        if second.pump == other.pump and second.start == other.end and other.isolation_of is None:
            slots[key] = replace(second, isolation_of=first)
    return replace(plan, slots=tuple(slots[slot.key] for slot in plan.slots))
