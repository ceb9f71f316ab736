"""What would help a job that is late or without a place: choices that someone aboard can make, each tried by planning again.

For each start that would be in time the board says what alone stands in its way; the smallest change that clears it is a
proposal. A proposal becomes a relief only when the plan made with it has the job in time and no other job worse off.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum

from scheduler.planning.problem.changes import (
    postponed,
    pump_returned,
    with_block_ended,
    with_hands,
    with_minimum,
    with_work,
)
from scheduler.planning.problem.facts import Because
from scheduler.planning.problem.values import Plan, PlanJob, Problem
from scheduler.planning.search.blockers import placement_of
from scheduler.planning.search.board import Board
from scheduler.planning.search.ground import (
    STEPS_A_DAY,
    Ground,
    Start,
    candidate_at,
    fact_against,
    hands_needed,
    survey,
    window_starts,
)
from scheduler.planning.search.tiers import days_past, limit_after

TRIES = 4
"""Proposals of one kind that are tried by planning again, the cheapest first."""


class ReliefKind(StrEnum):
    """Who aboard can decide it, cheapest to ask first."""

    HANDS = "more hands"
    RETURN = "a pump back earlier"
    WORK = "work in a stretch without work"
    BLOCK = "a block that ends earlier"
    MINIMUM = "a lower minimum agreed"
    POSTPONE = "a postponement"


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class ReliefChoice:
    """What somebody aboard would decide. from_step, to_step: when (of more hands: the first and the last day; a return, a block's
    end and a postponement: until `from_step`). hands: more of them. pump: what comes back. label: of the block, or of the
    stretch without work. litres_per_h: the minimum to agree on. hours, less_litres_per_h: what it costs (man-hours, of hands;
    days past the limit: `days`)."""

    kind: ReliefKind
    from_step: int
    to_step: int = 0
    key: str = ""
    pump: str = ""
    label: str = ""
    hands: int = 0
    litres_per_h: int = 0
    hours: int = 0
    less_litres_per_h: int = 0
    days: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Relief:
    """A choice that was tried. days: by how many days the job was late before (none: it had no place). problem and plan: with
    the choice made."""

    choice: ReliefChoice
    key: str
    days: int | None
    problem: Problem
    plan: Plan

    @property
    def kind(self) -> ReliefKind:
        """Who can decide it."""
        return self.choice.kind


@dataclass(frozen=True, slots=True, kw_only=True)
class _Proposal:
    choice: ReliefChoice
    cost: int
    problem: Problem


def reliefs(problem: Problem, plan: Plan, key: str, *, solve: Callable[[Problem], Plan]) -> tuple[Relief, ...]:
    """At most one relief of each kind for a late or unplaced job, the cheapest that holds; empty for a job in time.

    Args:
        plan: the plan of `problem`. key: the job's. solve: makes a plan.
    """
    late = lateness(problem, plan)
    if key not in late:
        return ()
    ground = survey(problem)
    proposals = {p.choice: p for p in _proposals(ground, plan, ground.by_key[key], late[key])}
    found = []
    for kind in ReliefKind:
        ranked = sorted((p for c, p in proposals.items() if c.kind is kind), key=lambda p: (p.cost, p.choice))
        for proposal in ranked[:TRIES]:
            tried = solve(proposal.problem)
            if _helps(late, lateness(proposal.problem, tried), key):
                found.append(
                    Relief(
                        choice=proposal.choice,
                        key=key,
                        days=late[key],
                        problem=proposal.problem,
                        plan=tried,
                    )
                )
                break
    return tuple(found)


def lateness(problem: Problem, plan: Plan) -> dict[str, int | None]:
    """Days past the limit of each job that is late, none for one without a place; jobs in time are left out."""
    slots = {slot.key: slot for slot in plan.slots}
    late: dict[str, int | None] = {}
    for job in problem.jobs:
        slot = slots.get(job.key)
        if slot is None:
            late[job.key] = None
            continue
        before = slots.get(job.after or "")
        limit = limit_after(job, None if before is None else before.end)
        if days_past(limit, slot.end):
            late[job.key] = days_past(limit, slot.end)
    return late


def _helps(before: Mapping[str, int | None], after: Mapping[str, int | None], key: str) -> bool:
    """The job is in time, and no other job is later, or has lost its place."""
    if key in after:
        return False

    def no_worse(days: int | None, known: int | None) -> bool:
        return known is None or (days is not None and days <= known)

    return all(other in before and no_worse(days, before[other]) for other, days in after.items())


def _proposals(ground: Ground, plan: Plan, job: PlanJob, days: int | None) -> Iterator[_Proposal]:
    board, limit = _others(ground, plan, job), job.limit
    if job.after in board.placed:
        limit = limit_after(job, board.placed[job.after].end)
    if days is not None:
        later = job.limit + STEPS_A_DAY * days
        yield _Proposal(
            choice=ReliefChoice(kind=ReliefKind.POSTPONE, key=job.key, from_step=later, days=days),
            cost=days,
            problem=postponed(ground.problem, job.key, later),
        )
    yield from _for_work(ground, plan, job, limit)
    for start in window_starts(ground, job):
        yield from _few_hands(ground, job, start, limit)
        candidate = candidate_at(ground, job, start)
        if candidate is None or candidate.end > limit or fact_against(ground, job, candidate) is not None:
            continue
        kinds = {bar.because for bar in board.bars(job, candidate)}
        if kinds == {Because.CAPACITY}:
            yield from _for_capacity(ground, board, job, candidate)
        elif kinds == {Because.HANDS} and (short := board.hands_short(candidate)):
            yield from _for_hands(ground, short)


def _others(ground: Ground, plan: Plan, job: PlanJob) -> Board:
    """The plan's other slots on a board."""
    return Board(ground, {key: at for key, at in placement_of(ground, plan).items() if key != job.key})


def _for_work(ground: Ground, plan: Plan, job: PlanJob, limit: int) -> Iterator[_Proposal]:
    """Work in a part of one stretch without work, where that alone gives the job a place in time."""
    problem = ground.problem
    if not problem.closed or job.fixed_start is not None:
        return
    opened = survey(with_work(problem, 0, ground.steps))
    board = _others(ground, plan, job).on(opened)
    for start in window_starts(opened, job):
        candidate = candidate_at(opened, job, start) if opened.hands[start] >= hands_needed(job)[0] else None
        if candidate is None or candidate.end > limit or fact_against(opened, job, candidate) is not None:
            continue
        needed = [step for step, hands in candidate.work.hands.items() if ground.hands[step] < hands]
        if not needed or board.bar(job, candidate) is not None:
            continue
        first, last = needed[0], needed[-1] + 1
        labels = {c.label for c in problem.closed if c.from_step < last and first < c.to_step}
        if len(labels) != 1 or last - first > STEPS_A_DAY:
            continue
        yield _Proposal(
            choice=ReliefChoice(
                kind=ReliefKind.WORK, from_step=first, to_step=last, label=labels.pop(), hours=last - first
            ),
            cost=last - first,
            problem=with_work(problem, first, last),
        )


def _few_hands(ground: Ground, job: PlanJob, start: int, limit: int) -> Iterator[_Proposal]:
    """One more hand where the crew of that day is too small for the job, whoever else works."""
    needed = max(job.hands_by_step or (job.hands,))
    if not 0 <= start < ground.steps or start >= limit or not 0 < ground.hands[start] < needed:
        return
    day = ground.day_of(start)
    yield _more_hands(ground, day, day, needed - ground.hands[start])


def _for_hands(ground: Ground, short: Mapping[int, int]) -> Iterator[_Proposal]:
    days = sorted({ground.day_of(step) for step in short})
    if days[-1] - days[0] <= 1:
        yield _more_hands(ground, days[0], days[-1], max(short.values()))


def _more_hands(ground: Ground, first: int, last: int, more: int) -> _Proposal:
    begins = STEPS_A_DAY * first + ground.problem.first_midnight
    ends = STEPS_A_DAY * (last + 1) + ground.problem.first_midnight
    hours = sum(1 for hands in ground.hands[max(0, begins) : ends] if hands) * more
    last_day = STEPS_A_DAY * last + ground.problem.first_midnight
    return _Proposal(
        choice=ReliefChoice(kind=ReliefKind.HANDS, from_step=begins, to_step=last_day, hands=more, hours=hours),
        cost=hours,
        problem=with_hands(ground.problem, begins, ends, more),
    )


def _for_capacity(ground: Ground, board: Board, job: PlanJob, candidate: Start) -> Iterator[_Proposal]:
    problem, short = ground.problem, board.lacking(job, candidate)
    first, last = min(short), max(short) + 1
    rated = {pump.pump: pump.litres_per_h for pump in problem.pumps}
    for pump, row in ground.capacity.items():
        if pump != job.pump and all(rated[pump] - row[t] >= litres for t, litres in short.items()):
            back = next((t for t in range(first, ground.steps) if row[t] >= rated[pump]), ground.steps)
            hours = back - first
            yield _Proposal(
                choice=ReliefChoice(kind=ReliefKind.RETURN, pump=pump, from_step=first, hours=hours),
                cost=hours,
                problem=pump_returned(problem, pump, first),
            )
    lowered = min(ground.minimum[t] - litres for t, litres in short.items())
    worst = max(ground.minimum[t] - lowered for t in range(first, last))
    if lowered >= 0:
        yield _Proposal(
            choice=ReliefChoice(
                kind=ReliefKind.MINIMUM,
                from_step=first,
                to_step=last,
                litres_per_h=lowered,
                less_litres_per_h=worst,
                hours=last - first,
            ),
            cost=worst * (last - first),
            problem=with_minimum(problem, first, last, lowered),
        )
    ended = with_block_ended(problem, first, last)
    if ended is not None:
        changed, label, hours = ended
        yield _Proposal(
            choice=ReliefChoice(kind=ReliefKind.BLOCK, label=label, from_step=first, hours=hours),
            cost=hours,
            problem=changed,
        )
