"""What holds before any slot is placed: capacity, minimum and hands hour by hour, and the legal starts of each job."""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from operator import attrgetter, sub

from scheduler.planning.problem.facts import Bar, BarCode
from scheduler.planning.problem.values import EARLY_KEPT, PlanJob, Problem
from scheduler.planning.search.by_step import (
    capacity_by_step,
    crew_by_step,
    lack_by_step,
    lacking_by_step,
    minimum_by_step,
    out_by_step,
    quiet_by_step,
    spare_by_step,
    turns_of,
)

STEPS_A_DAY = 24


WEEK_DAYS = 7


@dataclass(frozen=True, kw_only=True)  # no slots: what is reckoned from it is kept with it, since many starts share it
class WorkHours:
    """When a job is worked on: hands by step, none of them a step without the job. day_of: number of a step's ship's day."""

    hands: Mapping[int, int]
    day_of: Callable[[int], int] = field(compare=False, repr=False)

    @cached_property
    def begins(self) -> tuple[int, ...]:
        """The steps from which it takes more hands than just before."""
        return tuple(step for step, n in self.hands.items() if n > self.hands.get(step - 1, 0))

    @cached_property
    def man_days(self) -> Mapping[int, int]:
        """By ship's day the hands it takes on it, however many hours."""
        found: dict[int, int] = {}
        for step, n in self.hands.items():
            day = self.day_of(step)
            found[day] = max(n, found.get(day, 0))
        return found

    @cached_property
    def man_hours(self) -> Mapping[int, int]:
        """By ship's day the man-hours it takes."""
        found: dict[int, int] = {}
        for step, n in self.hands.items():
            day = self.day_of(step)
            found[day] = found.get(day, 0) + n
        return found

    @cached_property
    def man_weeks(self) -> Mapping[int, int]:
        """By the first of WEEK_DAYS days the man-days it takes in them."""
        found: dict[int, int] = {}
        for day, n in self.man_days.items():
            for first in range(day - WEEK_DAYS + 1, day + 1):
                found[first] = found.get(first, 0) + n
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """A start a job could take, the step at which it would end, and when it is worked on.

    pair: the job it shares an isolation with, none when it has its own; second: it goes on with the other's.
    """

    start: int
    end: int
    work: WorkHours
    pair: str | None = None
    second: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """Facts by step. slack: capacity of all pumps minus the minimum; spare: pumps that give something, less those that must be
    there (many where no number is asked for). jobs are sorted by key, start_steps rising.

    Counts say how many of the steps before a step have something, so that a stretch is asked in one go: barred: a pump
    may not be taken out there whatever else is planned; uncovered: with the pump out, losing the largest other one would
    break the minimum; lacking: a need is not there; uneven: `lack_by_step`, where the evenest margin is asked
    for. quiet: minutes for which pumps may be stopped. days: number of each step's ship's day; most_hands, hours_at_work: by
    that. turns: steps from which slack, hands or a capacity differ from just before.
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
    spare: tuple[int, ...]
    barred: Mapping[str, tuple[int, ...]]
    uncovered: Mapping[str, tuple[int, ...]]
    lacking: Mapping[str, tuple[int, ...]]
    uneven: Mapping[str, tuple[int, ...]]
    quiet: tuple[int, ...]
    days: tuple[int, ...]
    most_hands: Mapping[int, int]
    hours_at_work: Mapping[int, int]
    turns: tuple[int, ...]
    previous: Mapping[str, str]
    following: Mapping[str, tuple[str, ...]]
    known_work: dict[tuple[tuple[int, ...], int], WorkHours | None] = field(
        default_factory=dict, compare=False, repr=False
    )
    """Work found before, by the hands each step takes and the start."""
    known_staffed: dict[int, tuple[int, ...]] = field(default_factory=dict, compare=False, repr=False)
    """Steps found before at which so many hands are at work."""
    known_starts: dict[tuple[tuple[int, ...], str | None], dict[int, Start | None]] = field(
        default_factory=dict, compare=False, repr=False
    )
    """What was found before of an allowed start, by the hands each step takes and the pump, then by step."""
    known_set: list[frozenset[int]] = field(default_factory=list, compare=False, repr=False)

    @property
    def steps(self) -> int:
        """Length of the grid in hours, 0 or more."""
        return len(self.slack)

    @property
    def start_set(self) -> frozenset[int]:
        """The allowed starts, to be asked for one of them."""
        if not self.known_set:
            self.known_set.append(frozenset(self.start_steps))
        return self.known_set[0]

    def capacity_of(self, pump: str | None) -> tuple[int, ...] | None:
        """Capacity by step of the pump, none when it counts for nothing here."""
        return None if pump is None else self.capacity.get(pump)

    def day_of(self, step: int) -> int:
        """Number of the ship's day in which a step lies."""
        return self.days[step] if 0 <= step < len(self.days) else day_number(self.problem, step)


def day_number(problem: Problem, step: int) -> int:
    """Number of the ship's day in which a step lies; days follow each other by one."""
    if problem.day_starts:
        return bisect_right(problem.day_starts, step)
    return (step - problem.first_midnight) // STEPS_A_DAY


def days_of(problem: Problem, steps: int) -> tuple[int, ...]:
    """For each step the number of its ship's day."""
    if not problem.day_starts:
        return tuple([(step - problem.first_midnight) // STEPS_A_DAY for step in range(steps)])
    return tuple([day_number(problem, step) for step in range(steps)])


def work_of(job: PlanJob) -> int:
    """Steps of work, at least 1."""
    return max(1, job.work_steps)


def hands_needed(job: PlanJob, saved: int = 0) -> tuple[int, ...]:
    """Hands in each step of work, the first `saved` steps left out."""
    return (job.hands_by_step or (job.hands,) * work_of(job))[saved:]


def survey(problem: Problem) -> Ground:
    """The problem's facts, hour by hour, with its parts in canonical order."""
    steps = max(0, problem.steps)
    hands = crew_by_step(problem, steps)
    minimum, label = minimum_by_step(problem, steps)
    capacity = {p.pump: capacity_by_step(p.litres_per_h, [(d.from_step, d.to_step, d.litres_per_h) for d in p.derated], steps)
                for p in sorted(problem.pumps, key=lambda p: p.pump)}  # fmt: skip
    total = list(map(sum, zip(*capacity.values(), strict=True))) if capacity else [0] * steps
    slack = tuple(map(sub, total, minimum))
    jobs = tuple(sorted(problem.jobs, key=lambda j: j.key))
    by_key = {j.key: j for j in jobs}
    previous = {j.key: j.after for j in jobs if j.after is not None and j.after != j.key and j.after in by_key}
    following: dict[str, tuple[str, ...]] = {}
    for key, before in previous.items():
        following[before] = (*following.get(before, ()), key)
    days = days_of(problem, steps)
    at_work: dict[int, list[int]] = {}
    for day, there in zip(days, hands, strict=True):
        at_work.setdefault(day, []).append(there)
    spare = spare_by_step(problem, capacity, steps)
    barred, uncovered = out_by_step(capacity, slack, spare)
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
        spare=spare,
        barred=barred,
        uncovered=uncovered,
        lacking={need: lacking_by_step(problem, need, steps) for need in sorted({n for j in jobs for n in j.needs})},
        uneven=lack_by_step(capacity, slack) if problem.even_margin else {},
        quiet=quiet_by_step(problem, steps),
        days=days,
        most_hands={day: max(there) for day, there in at_work.items()},
        hours_at_work={day: sum(map(bool, there)) for day, there in at_work.items()},
        turns=turns_of(slack, hands, spare, *capacity.values()),
        previous=previous,
        following=following,
    )


def candidate_at(ground: Ground, job: PlanJob, start: int, saved: int = 0) -> Start | None:
    """The job starting at that step with its end, or none when it cannot be finished on the grid.

    saved: steps of set-up that another job's isolation spares it.
    """
    return _candidate(ground, hands_needed(job, saved), start)


def _candidate(ground: Ground, needed: tuple[int, ...], start: int) -> Start | None:
    if start >= ground.steps:
        return None
    work = _work(ground, needed, start)
    return Start(start=start, end=next(reversed(work.hands)) + 1, work=work) if work is not None else None


def window_starts(ground: Ground, job: PlanJob) -> tuple[int, ...]:
    """The allowed starts from the job's earliest step on, and its own dates; only its pinned start when it has one."""
    if job.fixed_start is not None:
        return (job.fixed_start,)
    window = ground.start_steps[bisect_left(ground.start_steps, job.earliest) :]
    own = {step for step in own_dates(ground, job) if step not in window}
    return tuple(sorted((*own, *window))) if own else window


def own_dates(ground: Ground, job: PlanJob) -> tuple[int, ...]:
    """Starts that the job has by right of a date it was given before: one in the frozen zone, whatever hour it is; one that was
    shown and lies a little before its window as reckoned now."""
    found = [] if job.kept_start is None else [job.kept_start]
    shown = job.published_start
    if shown is not None and job.earliest - EARLY_KEPT <= shown < job.earliest and shown in ground.start_set:
        needed = hands_needed(job)
        if not needed or ground.hands[shown] >= needed[0]:
            found.append(shown)
    return tuple(dict.fromkeys(found))


def legal_candidates(ground: Ground, job: PlanJob, *, days_late: int | None = None) -> tuple[Start, ...]:
    """The starts that hands, grid and the facts allow the job if it were the only one, rising; those alone that end
    no more than `days_late` days past its own limit, where that is given."""
    return tuple(legal_starts(ground, job, days_late))


def legal_starts(ground: Ground, job: PlanJob, days_late: int | None = None) -> Iterator[Start]:
    """The same one by one, each found when it is asked for. A later start never ends earlier."""
    found: Iterable[Start]
    if job.fixed_start is None:
        found = _with_own_dates(ground, job, _open_starts(ground, job, days_late))
    else:
        pinned = candidate_at(ground, job, job.fixed_start)
        found = () if pinned is None or not may_be_open(ground, job.pump, pinned) else (pinned,)
    free = job.parts_from is None and not job.needs and job.stop_minutes <= 0
    last = None if days_late is None else job.limit + days_late * STEPS_A_DAY
    for one in found:
        if (last is None or one.end <= last) and (free or fact_against(ground, job, one) is None):
            yield one


def _with_own_dates(ground: Ground, job: PlanJob, found: Iterable[Start]) -> Iterable[Start]:
    """The starts with those the job has by right of a date of its own, where they can be finished with the pump out."""
    dates = own_dates(ground, job)
    if not dates:
        return found
    own = [candidate_at(ground, job, step) for step in dates]
    more = {one.start: one for one in own if one is not None and may_be_open(ground, job.pump, one)}
    return sorted((more | {one.start: one for one in found}).values(), key=attrgetter("start"))


def _open_starts(ground: Ground, job: PlanJob, days_late: int | None) -> Iterator[Start]:
    """The allowed starts from the job's earliest step on at which its work can begin and end with the pump out; none
    from which it would surely end more than so many days past its limit."""
    needed = hands_needed(job)
    known = ground.known_starts.setdefault((needed, job.pump), {})
    last = len(ground.start_steps)
    if days_late is not None:
        last = bisect_right(ground.start_steps, job.limit + days_late * STEPS_A_DAY - len(needed))
    for number in range(bisect_left(ground.start_steps, job.earliest), last):
        step = ground.start_steps[number]
        if step not in known:
            one = _candidate(ground, needed, step) if ground.hands[step] >= needed[0] else None
            known[step] = one if one is not None and may_be_open(ground, job.pump, one) else None
        found = known[step]
        if found is not None:
            yield found


def may_be_open(ground: Ground, pump: str | None, candidate: Start) -> bool:
    """Whether the minimum allows the pump to be out there when it is the only one."""
    barred = None if pump is None else ground.barred.get(pump)
    return barred is None or barred[candidate.end] == barred[max(0, candidate.start)]


def fact_against(ground: Ground, job: PlanJob, candidate: Start) -> Bar | None:
    """What of the facts forbids the job there (parts, what it needs, quiet hours); none when they do not.

    Work that has begun is beyond forbidding.
    """
    if candidate.start < 0:
        return None
    if job.parts_from is not None and candidate.start < job.parts_from:
        return Bar(code=BarCode.PARTS)
    for need in sorted(job.needs):
        if ground.lacking[need][candidate.end] != ground.lacking[need][candidate.start]:
            return Bar(code=BarCode.NEED, label=need)
    if job.stop_minutes > 0 and min(ground.quiet[candidate.start : candidate.end]) < job.stop_minutes:
        return Bar(code=BarCode.NO_QUIET, needed=job.stop_minutes)
    return None


def _work(ground: Ground, needed: tuple[int, ...], start: int) -> WorkHours | None:
    """The work from a start on, no more steps of it in a day than a person works; none when it does not fit."""
    if (needed, start) in ground.known_work:
        return ground.known_work[needed, start]
    found: dict[int, int] = {}
    most, today, in_day = ground.problem.person_hours, None, 0
    staffed = _staffed(ground, min(needed))
    first, last = bisect_left(staffed, start), len(staffed)
    ahead = staffed[first : first + len(needed)]
    at_once = len(ahead) == len(needed) <= most and min(needed) == max(needed)
    if at_once and ground.days[ahead[0]] == ground.days[ahead[-1]]:  # all of it in what is left of a day
        found, last = dict.fromkeys(ahead, needed[0]), first
    left = iter(needed)
    takes = next(left)
    for n in range(first, last):
        step = staffed[n]
        if ground.hands[step] < takes:
            continue
        day = ground.days[step]
        in_day = in_day if day == today else 0
        today = day
        if in_day < most:
            found[step] = takes
            in_day += 1
            takes = next(left, -1)
            if takes < 0:
                break
    work = WorkHours(hands=found, day_of=ground.day_of) if len(found) == len(needed) else None
    ground.known_work[needed, start] = work
    return work


def _staffed(ground: Ground, hands: int) -> tuple[int, ...]:
    """The steps at which at least so many hands are at work."""
    known = ground.known_staffed.get(hands)
    if known is None:
        known = tuple(step for step, there in enumerate(ground.hands) if there >= hands)
        ground.known_staffed[hands] = known
    return known
