"""What would help a job that is late or without a place: choices that someone aboard can make, each tried by planning again.

For each start that would be in time the board says what alone stands in its way; the smallest change that clears it is a
proposal. A proposal becomes a relief only when the plan made with it has the job in time and no other job worse off.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import timedelta
from enum import StrEnum

from scheduler.planning.problem.changes import (
    postponed,
    pump_returned,
    with_block_ended,
    with_hands,
    with_minimum,
    with_work,
)
from scheduler.planning.problem.values import Plan, PlanJob, Problem
from scheduler.planning.search.board import Because, Board
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
from scheduler.planning.search.tiers import days_past, limit_after, set_up_saved
from scheduler.shiptime import ship_time

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Relief:
    """A choice that was tried. price: what it costs, in words; days: by how many days the job was late before (none: it
    had no place). problem and plan: with the choice made."""

    kind: ReliefKind
    key: str
    says: str
    price: str
    days: int | None
    problem: Problem
    plan: Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class _Proposal:
    kind: ReliefKind
    cost: int
    says: str
    price: str
    problem: Problem


def reliefs(
    problem: Problem, plan: Plan, key: str, *, solve: Callable[[Problem], Plan], offset: int = 0
) -> tuple[Relief, ...]:
    """At most one relief of each kind for a late or unplaced job, the cheapest that holds; empty for a job in time.

    Args:
        plan: the plan of `problem`. key: the job's. solve: makes a plan. offset: ship time minus UTC in minutes, for the words.
    """
    late = lateness(problem, plan)
    if key not in late:
        return ()
    ground = survey(problem)
    proposals = {p.says: p for p in _proposals(ground, plan, ground.by_key[key], late[key], offset)}
    found = []
    for kind in ReliefKind:
        ranked = sorted((p for p in proposals.values() if p.kind is kind), key=lambda p: (p.cost, p.says))
        for proposal in ranked[:TRIES]:
            tried = solve(proposal.problem)
            if _helps(late, lateness(proposal.problem, tried), key):
                found.append(
                    Relief(
                        kind=kind,
                        key=key,
                        says=proposal.says,
                        price=proposal.price,
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


def _proposals(ground: Ground, plan: Plan, job: PlanJob, days: int | None, offset: int) -> Iterator[_Proposal]:
    board, limit = _others(ground, plan, job), job.limit
    if job.after in board.placed:
        limit = limit_after(job, board.placed[job.after].end)
    words = _GridTimes(ground.problem, offset)
    if days is not None:
        later = job.limit + STEPS_A_DAY * days
        yield _Proposal(
            kind=ReliefKind.POSTPONE,
            cost=days,
            says=f"ask for a postponement of {job.key} to {words.at(later)}",
            price=f"{days} day{'s' if days != 1 else ''} past the limit",
            problem=postponed(ground.problem, job.key, later),
        )
    yield from _for_work(ground, plan, job, limit, words)
    for start in window_starts(ground, job):
        yield from _few_hands(ground, job, start, limit, words)
        candidate = candidate_at(ground, job, start)
        if candidate is None or candidate.end > limit or fact_against(ground, job, candidate) is not None:
            continue
        kinds = {bar.because for bar in board.bars(job, candidate)}
        if kinds == {Because.CAPACITY}:
            yield from _for_capacity(ground, board, job, candidate, words)
        elif kinds == {Because.HANDS} and (short := board.hands_short(candidate)):
            yield from _for_hands(ground, short, words)


def _others(ground: Ground, plan: Plan, job: PlanJob) -> Board:
    """The plan's other slots on a board."""
    board = Board(ground)
    for slot in plan.slots:
        other = ground.by_key[slot.key]
        placed = _placed(ground, plan, other, slot.start)
        if placed is not None and other.key != job.key:
            board.place(other, placed)
    return board


def _placed(ground: Ground, plan: Plan, job: PlanJob, start: int) -> Start | None:
    first = next((slot.isolation_of for slot in plan.slots if slot.key == job.key), None)
    saved = set_up_saved(ground.by_key[first], job) if first is not None else 0
    return candidate_at(ground, job, start, saved)


def _for_work(ground: Ground, plan: Plan, job: PlanJob, limit: int, words: "_GridTimes") -> Iterator[_Proposal]:
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
            kind=ReliefKind.WORK,
            cost=last - first,
            says=f"work on {words.span(first, last)} although {labels.pop()}",
            price=f"{last - first} h of work in it",
            problem=with_work(problem, first, last),
        )


def _few_hands(ground: Ground, job: PlanJob, start: int, limit: int, words: "_GridTimes") -> Iterator[_Proposal]:
    """One more hand where the crew of that day is too small for the job, whoever else works."""
    needed = max(job.hands_by_step or (job.hands,))
    if not 0 <= start < ground.steps or start >= limit or not 0 < ground.hands[start] < needed:
        return
    day = ground.day_of(start)
    yield _more_hands(ground, day, day, needed - ground.hands[start], words)


def _for_hands(ground: Ground, short: Mapping[int, int], words: "_GridTimes") -> Iterator[_Proposal]:
    days = sorted({ground.day_of(step) for step in short})
    if days[-1] - days[0] <= 1:
        yield _more_hands(ground, days[0], days[-1], max(short.values()), words)


def _more_hands(ground: Ground, first: int, last: int, more: int, words: "_GridTimes") -> _Proposal:
    begins = STEPS_A_DAY * first + ground.problem.first_midnight
    ends = STEPS_A_DAY * (last + 1) + ground.problem.first_midnight
    hours = sum(1 for hands in ground.hands[max(0, begins) : ends] if hands) * more
    until = f" and {words.day(STEPS_A_DAY * last + ground.problem.first_midnight)}" if last > first else ""
    return _Proposal(
        kind=ReliefKind.HANDS,
        cost=hours,
        says=f"{more} more hand{'s' if more > 1 else ''} on {words.day(begins)}{until}",
        price=f"up to {hours} man-hours",
        problem=with_hands(ground.problem, begins, ends, more),
    )


def _for_capacity(
    ground: Ground, board: Board, job: PlanJob, candidate: Start, words: "_GridTimes"
) -> Iterator[_Proposal]:
    problem, short = ground.problem, board.lacking(job, candidate)
    first, last = min(short), max(short) + 1
    rated = {pump.pump: pump.litres_per_h for pump in problem.pumps}
    for pump, row in ground.capacity.items():
        if pump != job.pump and all(rated[pump] - row[t] >= litres for t, litres in short.items()):
            back = next((t for t in range(first, ground.steps) if row[t] >= rated[pump]), ground.steps)
            hours = back - first
            yield _Proposal(
                kind=ReliefKind.RETURN,
                cost=hours,
                says=f"return {pump} by {words.at(first)}",
                price=f"{hours} h earlier than it is expected back",
                problem=pump_returned(problem, pump, first),
            )
    lowered = min(ground.minimum[t] - litres for t, litres in short.items())
    worst = max(ground.minimum[t] - lowered for t in range(first, last))
    if lowered >= 0:
        yield _Proposal(
            kind=ReliefKind.MINIMUM,
            cost=worst * (last - first),
            says=f"agree on a minimum of {lowered / 1000:g} m3/h from {words.at(first)} to {words.at(last)}",
            price=f"up to {worst / 1000:g} m3/h less for {last - first} h",
            problem=with_minimum(problem, first, last, lowered),
        )
    ended = with_block_ended(problem, first, last)
    if ended is not None:
        changed, label, hours = ended
        yield _Proposal(
            kind=ReliefKind.BLOCK,
            cost=hours,
            says=f'end "{label}" at {words.at(first)}',
            price=f"{hours} h less of it",
            problem=changed,
        )


@dataclass(frozen=True, slots=True)
class _GridTimes:
    """Instants of the grid in ship time."""

    problem: Problem
    offset: int

    def at(self, step: int) -> str:
        when = ship_time(self.problem.starts_at + timedelta(hours=step), self.offset)
        return f"{when:%a} {when.day} {when:%b %Y %H:%M}"

    def span(self, first: int, last: int) -> str:
        """From a step to another, the date once where it is the same."""
        ends = ship_time(self.problem.starts_at + timedelta(hours=last), self.offset)
        return (
            f"{self.at(first)} to {ends:%H:%M}"
            if self.day(first) == self.day(last)
            else f"{self.at(first)} to {self.at(last)}"
        )

    def day(self, step: int) -> str:
        when = ship_time(self.problem.starts_at + timedelta(hours=step), self.offset)
        return f"{when:%a} {when.day} {when:%b %Y}"
