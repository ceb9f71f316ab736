"""Why a job stands where it stands, or has no place: reasons as facts, and what forbids its other starts. No solver."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from scheduler.planning.problem.facts import Blocker, merged
from scheduler.planning.problem.values import Plan, PlanJob, Problem, Slot
from scheduler.planning.search.blockers import blockers, companions, placement_of
from scheduler.planning.search.ground import STEPS_A_DAY, Ground, survey, window_starts
from scheduler.planning.search.tiers import days_past, limit_after, set_up_saved

MOST_REASONS = 3


class ReasonCode(StrEnum):
    """Kinds of reasons."""

    NO_PLACE = "no place"
    NO_START_LEFT = "no start left"
    OTHER_STARTS = "other starts"
    LATE_NO_ROOM = "late, no earlier place"
    LATE_BEST = "late, best in all"
    LATE_NOT_PROVED = "late, not proved best"
    IN_TIME = "in time"
    PINNED = "pinned"
    SET_BY_HAND = "set by hand"
    GOES_ON = "goes on with an isolation"
    GONE_ON_WITH = "its isolation is gone on with"
    BEST_DAY = "best day"
    BEST_DAY_PAST = "best day past"
    BEST_DAY_AWAY = "best day another"
    NEARER_STARTS = "nearer starts"
    AS_PUBLISHED = "as published"
    OUTWEIGHED = "nearer start outweighed"
    EVENER = "nearer start, evener margin here"
    NOT_PROVED = "nearer start free, not proved best"


IN_TABLE = frozenset(
    {ReasonCode.NEARER_STARTS, ReasonCode.OTHER_STARTS, ReasonCode.BEST_DAY_PAST, ReasonCode.BEST_DAY_AWAY}
)
"""Reasons that a table of what forbids other starts says better."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceReason:
    """One reason. step: its best day, its last hour, or the published start. limit: where it matters; chained: which the turn
    before it sets. days: past its limit, or from its best day to its slot (earlier: negative). key: the job it shares an isolation
    with; saves_setup: that saves setting up twice. blocker: what forbids starts. by, move: who set it by hand."""

    code: ReasonCode
    step: int | None = None
    limit: int | None = None
    chained: bool = False
    days: int = 0
    key: str | None = None
    saves_setup: bool = False
    blocker: Blocker | None = None
    by: str = ""
    move: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Explained:
    """reasons: the weightiest first. forbidden: in time order. days_late: past its limit, 0 in time, none without a place."""

    key: str
    reasons: tuple[PlaceReason, ...]
    forbidden: tuple[Blocker, ...]
    days_late: int | None

    @property
    def best(self) -> bool:
        """True where it is in time on its best day: then nothing else needs saying."""
        return self.reasons[0].code is ReasonCode.BEST_DAY


def explain_place(problem: Problem, plan: Plan, key: str) -> Explained:
    """Why `key` has the start it has in the plan of `problem`, or none.

    Raises:
        KeyError: the problem has no such job.
    """
    return explain_each(problem, plan, (key,))[0]


def explain_each(problem: Problem, plan: Plan, keys: Sequence[str]) -> tuple[Explained, ...]:
    """As `explain_place`, for several jobs in the order given, with one look at the problem."""
    ground = survey(problem)
    slots = {slot.key: slot for slot in plan.slots}
    placement = placement_of(ground, plan)
    found = []
    for key in keys:
        job, slot = ground.by_key[key], slots.get(key)
        on_one = companions(plan, key)
        table = blockers(ground, job, {other: at for other, at in placement.items() if other not in on_one})
        before = slots.get(ground.previous.get(key, ""))
        limit = limit_after(job, None if before is None else before.end)
        reasons = _without(table) if slot is None else _reasons(ground, job, slot, limit, plan, table)
        found.append(
            Explained(
                key=key,
                reasons=tuple(reasons),
                forbidden=table,
                days_late=None if slot is None else days_past(limit, slot.end),
            )
        )
    return tuple(found)


def _without(table: tuple[Blocker, ...]) -> Iterator[PlaceReason]:
    worst = merged(table)[:MOST_REASONS]
    if not worst:
        yield PlaceReason(code=ReasonCode.NO_START_LEFT)
    for number, one in enumerate(worst):
        yield PlaceReason(code=ReasonCode.OTHER_STARTS if number else ReasonCode.NO_PLACE, blocker=one)


def _reasons(
    ground: Ground, job: PlanJob, slot: Slot, limit: int, plan: Plan, table: tuple[Blocker, ...]
) -> Iterator[PlaceReason]:
    def is_free(start: int) -> bool:
        return not any(one.from_step <= start < one.to_step for one in table)

    late, chained = days_past(limit, slot.end), limit < job.limit
    away = (slot.start - job.ideal) / STEPS_A_DAY
    if late:
        code = ReasonCode.LATE_NO_ROOM
        if any(is_free(start) for start in window_starts(ground, job) if start < slot.start):
            code = ReasonCode.LATE_BEST if _proven_in_time(plan) else ReasonCode.LATE_NOT_PROVED
        yield PlaceReason(code=code, days=late, limit=limit, chained=chained)
    elif job.fixed_start is not None or abs(away) >= 1:
        yield PlaceReason(code=ReasonCode.IN_TIME, step=slot.end - 1, limit=limit, chained=chained)
    if job.fixed_start is not None:
        yield PlaceReason(code=ReasonCode.PINNED)
        return
    if abs(away) < 1:
        yield PlaceReason(
            code=ReasonCode.BEST_DAY,
            step=max(job.ideal, 0),
            limit=None if late else limit,
            chained=chained and not late,
        )
        return
    if slot.isolation_of is not None:
        saves = set_up_saved(ground.by_key[slot.isolation_of], job) > 0
        yield PlaceReason(code=ReasonCode.GOES_ON, key=slot.isolation_of, saves_setup=saves)
    for other in plan.slots:
        if other.isolation_of == job.key:
            saves = set_up_saved(job, ground.by_key[other.key]) > 0
            yield PlaceReason(code=ReasonCode.GONE_ON_WITH, key=other.key, saves_setup=saves)
    code = ReasonCode.BEST_DAY_PAST if job.ideal < 0 else ReasonCode.BEST_DAY_AWAY
    yield PlaceReason(code=code, step=job.ideal, days=round(away))
    first, last = sorted((job.ideal, slot.start))
    nearer = merged(one for one in table if one.from_step < last and one.to_step > first)
    yield from (PlaceReason(code=ReasonCode.NEARER_STARTS, blocker=one) for one in nearer[:MOST_REASONS])
    if any(is_free(start) for start in window_starts(ground, job) if first < start < last):
        if job.published_start == slot.start:
            yield PlaceReason(code=ReasonCode.AS_PUBLISHED, step=slot.start)
        else:
            outweighed = ReasonCode.EVENER if ground.problem.even_margin else ReasonCode.OUTWEIGHED
            yield PlaceReason(code=outweighed if plan.proven else ReasonCode.NOT_PROVED)


def _proven_in_time(plan: Plan) -> bool:
    """Whether it is proven that no plan has fewer days past limits."""
    return bool(plan.tiers) and all(tier.proven for tier in plan.tiers if tier.tier <= 1)
