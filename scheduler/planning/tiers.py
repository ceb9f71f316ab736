"""The tiers of the search, best first: what each counts, for one start of one job and for a whole placement.

A tier is a sum over jobs, plus for lateness what a chain adds. A new tier slots in as one more entry of TIERS, at its
place in the order; tiers 3 (jobs whose outage leaves no cover) and 5 (crew peaks) have no entry yet, and the price of
grouped pairs belongs to tier 4.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from hashlib import sha256

from scheduler.planning.ground import STEPS_A_DAY, Candidate, Ground
from scheduler.planning.problem import PlanJob

FREE_DAYS = 3
"""Days around the ideal date within which a start counts as on its date. Common practice, no source."""

TIE_BITS = 14

Placement = Mapping[str, Candidate]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tier:
    """One thing to keep small. cost: of a job at a start. unplaced: of a job without a place. chained: the days that a
    late previous occurrence adds count here too."""

    tier: int
    name: str
    cost: Callable[[PlanJob, Candidate], int]
    unplaced: Callable[[PlanJob], int]
    chained: bool = False


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


def tie_weight(job: PlanJob, start: int) -> int:
    """Distance from the ideal step, finely split by a hash, so that one optimum is left and no accident chooses it."""
    off = start - job.ideal
    text = f"{job.key}|{off}"
    split = int.from_bytes(sha256(text.encode()).digest()[:4], "big") >> (32 - TIE_BITS)
    return (abs(off) << TIE_BITS) + split


def _none(_job: PlanJob, _candidate: Candidate) -> int:
    return 0


def _moved(job: PlanJob, candidate: Candidate) -> int:
    return int(job.fixed_start is None and job.published_start not in (None, candidate.start))


TIERS: tuple[Tier, ...] = (
    Tier(tier=0, name="pinned jobs not kept", cost=_none, unplaced=lambda job: int(job.fixed_start is not None)),
    Tier(tier=1, name="jobs without a place", cost=_none, unplaced=lambda _: 1),
    Tier(
        tier=1,
        name="days past the limit",
        cost=lambda job, candidate: days_past(job.limit, candidate.end),
        unplaced=lambda _: 0,
        chained=True,
    ),
    Tier(
        tier=2,
        name="published dates moved",
        cost=_moved,
        unplaced=lambda job: int(job.fixed_start is None and job.published_start is not None),
    ),
    Tier(
        tier=4,
        name=f"days from the ideal date beyond {FREE_DAYS}",
        cost=lambda job, candidate: days_off(job.ideal, candidate.start),
        unplaced=lambda _: 0,
    ),
    Tier(
        tier=6,
        name="canonical order",
        cost=lambda job, candidate: tie_weight(job, candidate.start),
        unplaced=lambda job: tie_weight(job, job.ideal),
    ),
)


def tier_value(ground: Ground, tier: Tier, placement: Placement) -> int:
    """What the placement is worth in that tier, counted from its starts alone; smaller is better."""
    total = 0
    for job in ground.jobs:
        candidate = placement.get(job.key)
        if candidate is None:
            total += tier.unplaced(job)
            continue
        total += tier.cost(job, candidate)
        if tier.chained:
            total += chain_days(ground, job, placement)
    return total


def chain_days(ground: Ground, job: PlanJob, placement: Placement) -> int:
    """Days late that the chain adds to a placed job beyond those it has by its own limit."""
    before = placement.get(ground.previous.get(job.key, ""))
    if before is None:
        return 0
    limit, end = chain_limit(job, before.end), placement[job.key].end
    return 0 if limit is None else max(0, days_past(limit, end) - days_past(job.limit, end))


def values_of(ground: Ground, placement: Placement) -> tuple[int, ...]:
    """The value of every tier, in the order of TIERS: the smaller tuple is the better placement."""
    return tuple(tier_value(ground, tier, placement) for tier in TIERS)
