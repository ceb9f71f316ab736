"""What holds before any slot is placed: capacity, minimum and hands hour by hour, and the legal starts of each job."""

from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import accumulate

from scheduler.planning.problem import PlanJob, Problem

STEPS_A_DAY = 24


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Candidate:
    """A start a job could take and the step at which it would end. first_work: index of its first working step."""

    start: int
    end: int
    first_work: int


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkSteps:
    """The steps with enough hands for a job: their numbers, and for each step how many lie before it."""

    numbers: tuple[int, ...]
    before: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """Facts by step. slack: capacity of all pumps minus the minimum. barred: for a pump, how many of the steps before
    a step forbid taking it out whatever else is planned. jobs are sorted by key, start_steps rising."""

    problem: Problem
    jobs: tuple[PlanJob, ...]
    by_key: Mapping[str, PlanJob]
    start_steps: tuple[int, ...]
    hands: tuple[int, ...]
    minimum: tuple[int, ...]
    label: tuple[str, ...]
    capacity: Mapping[str, tuple[int, ...]]
    slack: tuple[int, ...]
    barred: Mapping[str, tuple[int, ...]]
    work: Mapping[int, WorkSteps]
    previous: Mapping[str, str]
    following: Mapping[str, tuple[str, ...]]

    @property
    def steps(self) -> int:
        """Length of the grid in hours, 0 or more."""
        return len(self.slack)

    def working(self, job: PlanJob, candidate: Candidate) -> tuple[int, ...]:
        """The steps in which the job is worked on."""
        first = candidate.first_work
        return self.work[job.hands].numbers[first : first + work_of(job)]

    def capacity_of(self, pump: str | None) -> tuple[int, ...] | None:
        """Capacity by step of the pump, none when it counts for nothing here."""
        return None if pump is None else self.capacity.get(pump)


def work_of(job: PlanJob) -> int:
    """Steps of work, at least 1."""
    return max(1, job.work_steps)


def survey(problem: Problem) -> Ground:
    """The problem's facts, hour by hour, with its parts in canonical order."""
    steps = max(0, problem.steps)
    hands = _crew(problem, steps)
    minimum, label = _minimum(problem, steps)
    capacity = {p.pump: _capacity(p.litres_per_h, [(d.from_step, d.to_step, d.litres_per_h) for d in p.derated], steps)
                for p in sorted(problem.pumps, key=lambda p: p.pump)}  # fmt: skip
    total = [sum(column) for column in zip(*capacity.values(), strict=True)] if capacity else [0] * steps
    slack = tuple(have - need for have, need in zip(total, minimum, strict=True))
    barred = {
        pump: (0, *accumulate(int(c > 0 and c > s) for c, s in zip(row, slack, strict=True)))
        for pump, row in capacity.items()
    }
    jobs = tuple(sorted(problem.jobs, key=lambda j: j.key))
    by_key = {j.key: j for j in jobs}
    previous = {j.key: j.after for j in jobs if j.after is not None and j.after != j.key and j.after in by_key}
    following: dict[str, tuple[str, ...]] = {}
    for key, before in previous.items():
        following[before] = (*following.get(before, ()), key)
    return Ground(
        problem=problem,
        jobs=jobs,
        by_key=by_key,
        start_steps=tuple(sorted({s for s in problem.start_steps if 0 <= s < steps})),
        hands=hands,
        minimum=minimum,
        label=label,
        capacity=capacity,
        slack=slack,
        barred=barred,
        work={n: _work(hands, n) for n in {j.hands for j in jobs}},
        previous=previous,
        following=following,
    )


def candidate_at(ground: Ground, job: PlanJob, start: int) -> Candidate | None:
    """The job starting at that step with its end, or none when it cannot be finished on the grid."""
    work = ground.work[job.hands]
    if start >= ground.steps:
        return None
    first = work.before[max(0, start)]
    last = first + work_of(job) - 1
    if last >= len(work.numbers):
        return None
    return Candidate(start=start, end=work.numbers[last] + 1, first_work=first)


def window_starts(ground: Ground, job: PlanJob) -> tuple[int, ...]:
    """The allowed starts from the job's earliest step on; only its pinned start when it has one."""
    if job.fixed_start is not None:
        return (job.fixed_start,)
    return ground.start_steps[bisect_left(ground.start_steps, job.earliest) :]


def legal_candidates(ground: Ground, job: PlanJob) -> tuple[Candidate, ...]:
    """The starts that hands, grid and the minimum allow the job if it were the only one."""
    pinned = job.fixed_start is not None
    barred = None if job.pump is None else ground.barred.get(job.pump)
    found = []
    for start in window_starts(ground, job):
        if not pinned and ground.hands[start] < job.hands:
            continue
        candidate = candidate_at(ground, job, start)
        if candidate is None:
            if not pinned:
                break
            continue
        if barred is None or barred[candidate.end] == barred[max(0, start)]:
            found.append(candidate)
    return tuple(found)


def _crew(problem: Problem, steps: int) -> tuple[int, ...]:
    hands: list[int | None] = [None] * steps
    for stretch in problem.crew:
        for t in range(max(0, stretch.from_step), min(steps, stretch.to_step)):
            known = hands[t]
            hands[t] = stretch.hands if known is None else min(known, stretch.hands)
    return tuple(h or 0 for h in hands)


def _minimum(problem: Problem, steps: int) -> tuple[tuple[int, ...], tuple[str, ...]]:
    need: list[int | None] = [None] * steps
    label = [""] * steps
    for stretch in sorted(problem.minimum, key=lambda m: (m.from_step, m.to_step, m.litres_per_h, m.label)):
        for t in range(max(0, stretch.from_step), min(steps, stretch.to_step)):
            known = need[t]
            if known is None or stretch.litres_per_h > known:
                need[t], label[t] = stretch.litres_per_h, stretch.label
    return tuple(n or 0 for n in need), tuple(label)


def _capacity(litres_per_h: int, derated: list[tuple[int, int, int]], steps: int) -> tuple[int, ...]:
    row = [litres_per_h] * steps
    for start, end, counts in derated:
        for t in range(max(0, start), min(steps, end)):
            row[t] = min(row[t], counts)
    return tuple(row)


def _work(hands: tuple[int, ...], needed: int) -> WorkSteps:
    enough = [h >= needed for h in hands]
    return WorkSteps(
        numbers=tuple(t for t, ok in enumerate(enough) if ok),
        before=(0, *accumulate(int(ok) for ok in enough)),
    )
