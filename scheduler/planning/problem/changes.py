"""A problem with one thing of it changed: what a relief, or somebody who asks "what if", puts in."""

from dataclasses import replace
from itertools import pairwise

from scheduler.planning.problem.values import ClosedStretch, CrewStretch, MinimumStretch, Problem


def with_hands(problem: Problem, first: int, last: int, more: int) -> Problem:
    """So many more hands at work in steps [first, last), where any are at work."""
    crew: list[CrewStretch] = []
    for stretch in problem.crew:
        for begins, ends in _cut(stretch.from_step, stretch.to_step, first, last):
            inside = first <= begins and ends <= last and stretch.hands > 0
            crew.append(CrewStretch(from_step=begins, to_step=ends, hands=stretch.hands + (more if inside else 0)))
    return replace(problem, crew=tuple(crew))


def with_work(problem: Problem, first: int, last: int) -> Problem:
    """The hands that there would be in steps [first, last) at work after all, though the steps are closed."""
    crew: list[CrewStretch] = []
    for stretch in problem.crew:
        for begins, ends in _cut(stretch.from_step, stretch.to_step, first, last):
            if stretch.hands > 0 or not (first <= begins and ends <= last):
                crew.append(replace(stretch, from_step=begins, to_step=ends))
    closed: list[ClosedStretch] = []
    for block in problem.closed:
        for begins, ends in _cut(block.from_step, block.to_step, first, last):
            if first <= begins and ends <= last:
                crew.append(CrewStretch(from_step=begins, to_step=ends, hands=block.hands))
            else:
                closed.append(replace(block, from_step=begins, to_step=ends))
    return replace(problem, crew=tuple(crew), closed=tuple(closed))


def with_minimum(problem: Problem, first: int, last: int, litres_per_h: int) -> Problem:
    """A minimum of no more than `litres_per_h` in steps [first, last)."""
    minimum: list[MinimumStretch] = []
    for stretch in problem.minimum:
        for begins, ends in _cut(stretch.from_step, stretch.to_step, first, last):
            lower = first <= begins and ends <= last and stretch.litres_per_h > litres_per_h
            minimum.append(
                MinimumStretch(
                    from_step=begins,
                    to_step=ends,
                    litres_per_h=litres_per_h if lower else stretch.litres_per_h,
                    label=f"{stretch.label}, lower as agreed" if lower else stretch.label,
                )
            )
    return replace(problem, minimum=tuple(minimum))


def with_block_ended(problem: Problem, first: int, last: int) -> tuple[Problem, str, int] | None:
    """The stretch of minimum over steps [first, last) ended at `first`, what follows it begins there.

    Returns the problem, the stretch's label and the hours it is shorter; none when the steps are not all in one stretch,
    it begins there, or nothing with a lower minimum follows.
    """
    over = [m for m in problem.minimum if m.from_step < first and last <= m.to_step]
    if len(over) != 1:
        return None
    (block,) = over
    following = [m for m in problem.minimum if m.from_step == block.to_step and m.litres_per_h < block.litres_per_h]
    if len(following) != 1:
        return None
    (after,) = following
    kept = (m for m in problem.minimum if m not in (block, after))
    minimum = (*kept, replace(block, to_step=first), replace(after, from_step=first))
    return replace(problem, minimum=minimum), block.label, block.to_step - first


def pump_returned(problem: Problem, pump: str, at: int) -> Problem:
    """The pump counts for all it has from step `at` on, as far as it is out then."""
    pumps = []
    for known in problem.pumps:
        if known.pump == pump:
            cut = (
                replace(d, to_step=min(d.to_step, at)) if d.to_step > at >= d.from_step else d for d in known.derated
            )
            known = replace(known, derated=tuple(d for d in cut if d.from_step < d.to_step))
        pumps.append(known)
    return replace(problem, pumps=tuple(pumps))


def postponed(problem: Problem, key: str, limit: int) -> Problem:
    """The job must be done by step `limit` only."""
    jobs = (replace(job, limit=limit) if job.key == key else job for job in problem.jobs)
    return replace(problem, jobs=tuple(jobs))


def _cut(begins: int, ends: int, first: int, last: int) -> list[tuple[int, int]]:
    """A stretch cut where [first, last) begins and ends."""
    at = sorted({begins, ends, *(cut for cut in (first, last) if begins < cut < ends)})
    return list(pairwise(at))
