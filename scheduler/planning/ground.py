"""What holds before any slot is placed: capacity, minimum and hands hour by hour, and the legal starts of each job."""

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import accumulate

from scheduler.planning.problem import PlanJob, Problem

STEPS_A_DAY = 24


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Candidate:
    """A start a job could take, the step at which it would end, and the steps in which it is worked on.

    pair: the job it shares an isolation with, none when it has its own; second: it goes on with the other's.
    """

    start: int
    end: int
    worked: tuple[int, ...]
    pair: str | None = None
    second: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """Facts by step. slack: capacity of all pumps minus the minimum. jobs are sorted by key, start_steps rising.

    Counts say how many of the steps before a step have something, so that a stretch is asked in one go: barred: a pump
    may not be taken out there whatever else is planned; uncovered: with the pump out, losing the largest other one would
    break the minimum; lacking: a need is not there. quiet: minutes for which pumps may be stopped. most_hands: by ship's day.
    """

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
    uncovered: Mapping[str, tuple[int, ...]]
    lacking: Mapping[str, tuple[int, ...]]
    quiet: tuple[int, ...]
    most_hands: Mapping[int, int]
    previous: Mapping[str, str]
    following: Mapping[str, tuple[str, ...]]
    known_work: dict[tuple[tuple[int, ...], int], tuple[int, ...]] = field(default_factory=dict)
    """Working steps found before, by the hands each takes and the start."""

    @property
    def steps(self) -> int:
        """Length of the grid in hours, 0 or more."""
        return len(self.slack)

    def capacity_of(self, pump: str | None) -> tuple[int, ...] | None:
        """Capacity by step of the pump, none when it counts for nothing here."""
        return None if pump is None else self.capacity.get(pump)

    def day_of(self, step: int) -> int:
        """Number of the ship's day in which a step lies."""
        return (step - self.problem.first_midnight) // STEPS_A_DAY


def work_of(job: PlanJob) -> int:
    """Steps of work, at least 1."""
    return max(1, job.work_steps)


def hands_needed(job: PlanJob, saved: int = 0) -> tuple[int, ...]:
    """Hands in each step of work, the first `saved` steps left out."""
    return (job.hands_by_step or (job.hands,) * work_of(job))[saved:]


def hands_at_work(job: PlanJob, candidate: Candidate) -> dict[int, int]:
    """Hands the job takes in each step it is worked on."""
    if not job.hands_by_step:
        return dict.fromkeys(candidate.worked, job.hands)
    needed = job.hands_by_step
    return dict(zip(candidate.worked, needed[len(needed) - len(candidate.worked) :], strict=True))


def survey(problem: Problem) -> Ground:
    """The problem's facts, hour by hour, with its parts in canonical order."""
    steps = max(0, problem.steps)
    hands = _crew(problem, steps)
    minimum, label = _minimum(problem, steps)
    capacity = {p.pump: _capacity(p.litres_per_h, [(d.from_step, d.to_step, d.litres_per_h) for d in p.derated], steps)
                for p in sorted(problem.pumps, key=lambda p: p.pump)}  # fmt: skip
    total = [sum(column) for column in zip(*capacity.values(), strict=True)] if capacity else [0] * steps
    slack = tuple(have - need for have, need in zip(total, minimum, strict=True))
    jobs = tuple(sorted(problem.jobs, key=lambda j: j.key))
    by_key = {j.key: j for j in jobs}
    previous = {j.key: j.after for j in jobs if j.after is not None and j.after != j.key and j.after in by_key}
    following: dict[str, tuple[str, ...]] = {}
    for key, before in previous.items():
        following[before] = (*following.get(before, ()), key)
    most_hands: dict[int, int] = {}
    for step, there in enumerate(hands):
        day = (step - problem.first_midnight) // STEPS_A_DAY
        most_hands[day] = max(there, most_hands.get(day, 0))
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
        barred={
            pump: _count(c > 0 and c > s for c, s in zip(row, slack, strict=True)) for pump, row in capacity.items()
        },
        uncovered={pump: _count(_no_cover(capacity, pump, slack)) for pump in capacity},
        lacking={need: _lacking(problem, need, steps) for need in sorted({n for j in jobs for n in j.needs})},
        quiet=_quiet(problem, steps),
        most_hands=most_hands,
        previous=previous,
        following=following,
    )


def candidate_at(ground: Ground, job: PlanJob, start: int, saved: int = 0) -> Candidate | None:
    """The job starting at that step with its end, or none when it cannot be finished on the grid.

    saved: steps of set-up that another job's isolation spares it.
    """
    return _candidate(ground, hands_needed(job, saved), start)


def _candidate(ground: Ground, needed: tuple[int, ...], start: int) -> Candidate | None:
    if start >= ground.steps:
        return None
    worked = _worked(ground, needed, start)
    return Candidate(start=start, end=worked[-1] + 1, worked=worked) if worked else None


def window_starts(ground: Ground, job: PlanJob) -> tuple[int, ...]:
    """The allowed starts from the job's earliest step on; only its pinned start when it has one."""
    if job.fixed_start is not None:
        return (job.fixed_start,)
    return ground.start_steps[bisect_left(ground.start_steps, job.earliest) :]


def legal_candidates(ground: Ground, job: PlanJob) -> tuple[Candidate, ...]:
    """The starts that hands, grid and the facts allow the job if it were the only one."""
    pinned = job.fixed_start is not None
    needed = hands_needed(job)
    free = job.parts_from is None and not job.needs and job.stop_minutes <= 0
    found = []
    for start in window_starts(ground, job):
        if not pinned and ground.hands[start] < needed[0]:
            continue
        candidate = _candidate(ground, needed, start)
        if candidate is None:
            if not pinned:
                break
            continue
        if (free or fact_against(ground, job, candidate) is None) and may_be_open(ground, job, candidate):
            found.append(candidate)
    return tuple(found)


def may_be_open(ground: Ground, job: PlanJob, candidate: Candidate) -> bool:
    """Whether the minimum allows the job's pump to be out there when it is the only one."""
    barred = None if job.pump is None else ground.barred.get(job.pump)
    return barred is None or barred[candidate.end] == barred[max(0, candidate.start)]


def fact_against(ground: Ground, job: PlanJob, candidate: Candidate) -> str | None:
    """Why the facts forbid the job there (parts, what it needs, quiet hours), in words; none when they do not.

    Work that has begun is beyond forbidding.
    """
    if candidate.start < 0:
        return None
    if job.parts_from is not None and candidate.start < job.parts_from:
        return "its parts are not aboard"
    for need in sorted(job.needs):
        if ground.lacking[need][candidate.end] != ground.lacking[need][candidate.start]:
            return f"it needs {need}"
    if job.stop_minutes > 0 and min(ground.quiet[candidate.start : candidate.end]) < job.stop_minutes:
        return f"no quiet hour is agreed for stopping pumps {job.stop_minutes} min"
    return None


def _worked(ground: Ground, needed: tuple[int, ...], start: int) -> tuple[int, ...]:
    """The steps of work from a start on, no more of them in a day than a person works; empty when they do not fit."""
    known = ground.known_work.get((needed, start))
    if known is not None:
        return known
    found: list[int] = []
    most, today, in_day = ground.problem.person_hours, None, 0
    for step in range(max(0, start), ground.steps):
        if len(found) == len(needed):
            break
        if ground.hands[step] < needed[len(found)]:
            continue
        day = ground.day_of(step)
        in_day = in_day if day == today else 0
        today = day
        if in_day < most:
            found.append(step)
            in_day += 1
    worked = tuple(found) if len(found) == len(needed) else ()
    ground.known_work[needed, start] = worked
    return worked


def _count(marks: Iterable[bool]) -> tuple[int, ...]:
    return (0, *accumulate(int(mark) for mark in marks))


def _no_cover(capacity: Mapping[str, tuple[int, ...]], pump: str, slack: tuple[int, ...]) -> Iterator[bool]:
    others = [row for name, row in capacity.items() if name != pump]
    for step, own in enumerate(capacity[pump]):
        largest = max((row[step] for row in others), default=0)
        yield own > 0 and slack[step] - own - largest < 0


def _lacking(problem: Problem, need: str, steps: int) -> tuple[int, ...]:
    there = [False] * steps
    for occasion in problem.occasions:
        if occasion.need == need:
            for t in range(max(0, occasion.from_step), min(steps, occasion.to_step)):
                there[t] = True
    return _count(not t for t in there)


def _quiet(problem: Problem, steps: int) -> tuple[int, ...]:
    """Minutes for which pumps may be stopped, by step: where stretches overlap the fewest, without consent none."""
    minutes: list[int | None] = [None] * steps
    for stretch in problem.quiet:
        allowed = stretch.most_minutes if stretch.consent.strip() else 0
        for t in range(max(0, stretch.from_step), min(steps, stretch.to_step)):
            known = minutes[t]
            minutes[t] = allowed if known is None else min(known, allowed)
    return tuple(m or 0 for m in minutes)


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
