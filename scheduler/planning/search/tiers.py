"""The tiers of the search, best first: what each counts, for one start of one job and for a whole placement.

A tier is a sum over jobs, plus for lateness what a chain adds; only the peak of the crew's week is the largest of
several sums. A new tier slots in as one more entry of TIERS, at its place in the order.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from hashlib import sha256

from scheduler.planning.problem.values import PlanJob, Problem
from scheduler.planning.search.by_step import whole_m3
from scheduler.planning.search.ground import STEPS_A_DAY, WEEK_DAYS, Ground, Start, work_of

FREE_DAYS = 3
"""Days around the ideal date within which a start counts as on its date. Common practice, no source."""

GROUP_DAYS_WORTH = 10
"""Days off the ideal date that one isolation for two jobs is worth: even, half of it for each. Judgement, no source."""

GROUP_WITHIN_DAYS = GROUP_DAYS_WORTH + 2 * FREE_DAYS
"""Ideal dates further apart than this are not brought together: the way would cost more than the isolation."""

GROUP_PAST_DAYS = 14
"""No place further past either job's limit is looked at for two jobs together; alone they may be as late as need be."""

TIE_BITS = 14

Placement = Mapping[str, Start]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tier:
    """One thing to keep small. cost: of a job at a start. unplaced: of a job without a place. chained: the days that a
    late previous occurrence adds count here too. crossed: so does what `crossings` adds for pumps out together. peak: not
    a sum but the most man-days in any WEEK_DAYS days. least_of_a_job: what a job's cost is never below. flat: no start costs
    anything, only having no place does."""

    tier: int
    name: str
    cost: Callable[[Ground, PlanJob, Start], int]
    unplaced: Callable[[PlanJob], int]
    chained: bool = False
    crossed: bool = False
    peak: bool = False
    least_of_a_job: int = 0
    flat: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptTier:
    """A tier already settled: no later answer may be worth more than `value` in it."""

    tier: Tier
    value: int


def days_past(limit: int, end: int) -> int:
    """Whole days, rounded up, by which a job that ends at step `end` is past step `limit`."""
    return max(0, -((limit - end) // STEPS_A_DAY))


def days_off(ideal: int, start: int) -> int:
    """Whole days, rounded up, by which a start lies more than FREE_DAYS from the ideal step."""
    return max(0, -((FREE_DAYS * STEPS_A_DAY - abs(start - ideal)) // STEPS_A_DAY))


def chain_limit(job: PlanJob, previous_end: int) -> int | None:
    """The last step by which the job must end when the one before it ends at `previous_end`; none if unchained."""
    if job.interval_steps is None:
        return None
    return previous_end + job.interval_steps + max(0, job.limit - job.due)


def limit_after(job: PlanJob, previous_end: int | None) -> int:
    """The step by which the job must end: its own limit, or an earlier one that the end of the one before it sets."""
    chained = None if previous_end is None else chain_limit(job, previous_end)
    return job.limit if chained is None else min(job.limit, chained)


def may_share(one: PlanJob, other: PlanJob) -> bool:
    """Whether one isolation may serve both jobs: same pump, neither pinned, no chain between them, dates near enough."""
    return (
        one.key != other.key
        and one.pump is not None
        and one.pump == other.pump
        and one.fixed_start is None
        and other.fixed_start is None
        and one.key != other.after
        and other.key != one.after
        and abs(one.ideal - other.ideal) <= GROUP_WITHIN_DAYS * STEPS_A_DAY
    )


def set_up_saved(first: PlanJob, second: PlanJob) -> int:
    """Steps of work that the second job is spared on the first one's isolation; it keeps one at least."""
    return max(0, min(first.setup_steps, second.setup_steps, work_of(second) - 1))


def tie_weight(job: PlanJob, start: int) -> int:
    """Distance from the ideal step, finely split by a hash, so that one optimum is left and no accident chooses it."""
    off = start - job.ideal
    text = f"{job.key}|{off}"
    split = int.from_bytes(sha256(text.encode()).digest()[:4], "big") >> (32 - TIE_BITS)
    return (abs(off) << TIE_BITS) + split


def _none(_ground: Ground, _job: PlanJob, _candidate: Start) -> int:
    return 0


def _moved(_ground: Ground, job: PlanJob, candidate: Start) -> int:
    return int(job.fixed_start is None and job.published_start not in (None, candidate.start))


def _uncovered(ground: Ground, job: PlanJob, candidate: Start) -> int:
    """Hours of the slot in which the largest other pump could not be lost as well."""
    before = ground.uncovered.get(job.pump or "")
    return 0 if before is None else before[candidate.end] - before[max(0, candidate.start)]


def _frozen_moved(_ground: Ground, job: PlanJob, candidate: Start) -> int:
    return int(job.fixed_start is None and job.kept_start not in (None, candidate.start))


def _nights(ground: Ground, job: PlanJob, candidate: Start) -> int:
    """Midnights aboard that pass while the pump stands open."""
    if job.pump is None or not ground.problem.avoid_nights:
        return 0
    return ground.day_of(candidate.end - 1) - ground.day_of(max(0, candidate.start))


def _off(_ground: Ground, job: PlanJob, candidate: Start) -> int:
    return days_off(job.ideal, candidate.start) - (GROUP_DAYS_WORTH // 2 if candidate.pair else 0)


def _lacking(ground: Ground, job: PlanJob, candidate: Start) -> int:
    """What the job alone adds to the squares of what the margin lacks hour by hour."""
    before = ground.uneven.get(job.pump or "")
    return 0 if before is None else before[candidate.end] - before[max(0, candidate.start)]


TIERS: tuple[Tier, ...] = (
    Tier(
        tier=0,
        name="pinned jobs not kept",
        cost=_none,
        unplaced=lambda job: int(job.fixed_start is not None),
        flat=True,
    ),
    Tier(
        tier=0,
        name="frozen dates moved",
        cost=_frozen_moved,
        unplaced=lambda job: int(job.fixed_start is None and job.kept_start is not None),
    ),
    Tier(tier=1, name="jobs without a place", cost=_none, unplaced=lambda _: 1, flat=True),
    Tier(
        tier=1,
        name="days past the limit",
        cost=lambda _, job, candidate: days_past(job.limit, candidate.end),
        unplaced=lambda _: 0,
        chained=True,
    ),
    Tier(
        tier=2,
        name="published dates moved",
        cost=_moved,
        unplaced=lambda job: int(job.fixed_start is None and job.published_start is not None),
    ),
    Tier(tier=3, name="job hours without cover for one more failure", cost=_uncovered, unplaced=lambda _: 0),
    Tier(tier=3, name="nights a pump stands open", cost=_nights, unplaced=lambda _: 0),
    Tier(
        tier=4,
        name=f"days from the ideal date beyond {FREE_DAYS}, less {GROUP_DAYS_WORTH} a shared isolation",
        cost=_off,
        unplaced=lambda _: 0,
        least_of_a_job=-(GROUP_DAYS_WORTH // 2),
    ),
    Tier(tier=5, name=f"most man-days in {WEEK_DAYS} days", cost=_none, unplaced=lambda _: 0, peak=True),
    Tier(
        tier=6,
        name="canonical order",
        cost=lambda _, job, candidate: tie_weight(job, candidate.start),
        unplaced=lambda job: tie_weight(job, job.ideal),
    ),
)


EVEN_MARGIN = Tier(
    tier=6,
    name="evenest margin: squares of what it lacks each hour, m³/h",
    cost=_lacking,
    unplaced=lambda _: 0,
    crossed=True,
)
"""Where a plant asks for it, before the canonical order. Published sets of generating units are scored by the sum of squares of
their reserves: where what is out in all is given, the least sum of either is the evenest reserve. Common practice, from memory."""


def tiers_of(problem: Problem) -> tuple[Tier, ...]:
    """The tiers that count for this problem."""
    return (*TIERS[:-1], EVEN_MARGIN, TIERS[-1]) if problem.even_margin else TIERS


def tier_value(ground: Ground, tier: Tier, placement: Placement) -> int:
    """What the placement is worth in that tier, counted from its starts alone; smaller is better."""
    if tier.peak:
        return most_in_a_week(placement)
    total = 0
    for job in ground.jobs:
        candidate = placement.get(job.key)
        if candidate is None:
            total += tier.unplaced(job)
            continue
        total += tier.cost(ground, job, candidate)
        if tier.chained:
            total += chain_days(ground, job, placement)
    return total + (crossings(ground, placement) if tier.crossed else 0)


def crossings(ground: Ground, placement: Placement) -> int:
    """What pumps out together add to the squares of what the margin lacks, beyond what each adds alone: (m3/h)2, hour by hour."""
    out: dict[int, tuple[int, int]] = {}
    for key, candidate in placement.items():
        row = ground.capacity_of(ground.by_key[key].pump)
        if row is None:
            continue
        for step in range(max(0, candidate.start), candidate.end):
            (of_all, of_each), own = out.get(step, (0, 0)), whole_m3(row[step])
            out[step] = of_all + own, of_each + own * own
    return sum(of_all * of_all - of_each for of_all, of_each in out.values())


def chain_days(ground: Ground, job: PlanJob, placement: Placement) -> int:
    """Days late that the chain adds to a placed job beyond those it has by its own limit."""
    before = placement.get(ground.previous.get(job.key, ""))
    if before is None:
        return 0
    limit, end = chain_limit(job, before.end), placement[job.key].end
    return 0 if limit is None else max(0, days_past(limit, end) - days_past(job.limit, end))


def most_in_a_week(placement: Placement) -> int:
    """The most man-days in any WEEK_DAYS days that follow each other, 0 when nothing is placed."""
    by_day: dict[int, int] = {}
    for candidate in placement.values():
        for day, hands in candidate.work.man_days.items():
            by_day[day] = by_day.get(day, 0) + hands
    return max((sum(by_day.get(day + n, 0) for n in range(WEEK_DAYS)) for day in by_day), default=0)


def values_of(ground: Ground, placement: Placement) -> tuple[int, ...]:
    """The value of every tier that counts, in their order: the smaller tuple is the better placement."""
    return tuple(tier_value(ground, tier, placement) for tier in tiers_of(ground.problem))
