"""Why a job stands where it stands, or has no place: reasons in words and the table of what forbids its other starts. No solver."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from scheduler.planning.problem.values import Plan, PlanJob, Problem, Slot
from scheduler.planning.search.blockers import Blocker, blockers
from scheduler.planning.search.ground import STEPS_A_DAY, Ground, Start, candidate_at, survey, window_starts
from scheduler.planning.search.tiers import days_past, limit_after, set_up_saved
from scheduler.shiptime import ship_time

MOST_REASONS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Forbidden:
    """Starts from an instant to an instant (the last one included) that one thing forbids, and what lacks (litres/h)."""

    from_at: datetime
    to_at: datetime
    starts: int
    reason: str
    lacking_litres_per_h: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Explained:
    """reasons: sentences, the weightiest first. days_late: past its limit, 0 in time, none without a place."""

    key: str
    reasons: tuple[str, ...]
    forbidden: tuple[Forbidden, ...]
    days_late: int | None


def explain_place(problem: Problem, plan: Plan, key: str, *, offset: int = 0) -> Explained:
    """Why `key` has the start it has in the plan of `problem`, or none.

    Args:
        offset: minutes the ship's clock is ahead of UTC, for the words.

    Raises:
        KeyError: the problem has no such job.
    """
    return explain_each(problem, plan, (key,), offset=offset)[0]


def explain_each(problem: Problem, plan: Plan, keys: Sequence[str], *, offset: int = 0) -> tuple[Explained, ...]:
    """As `explain`, for several jobs in the order given, with one look at the problem."""
    ground = survey(problem)
    slots = {slot.key: slot for slot in plan.slots}
    placement = {slot.key: placed for slot in plan.slots if (placed := _placed(ground, slot)) is not None}
    told = []
    for key in keys:
        job, slot = ground.by_key[key], slots.get(key)
        table = blockers(ground, job, placement)
        before = slots.get(ground.previous.get(key, ""))
        limit = limit_after(job, None if before is None else before.end)
        said = _without(table) if slot is None else list(_reasons(ground, job, slot, limit, plan, table, offset))
        told.append(
            Explained(
                key=key,
                reasons=tuple(said),
                forbidden=tuple(_instants(problem, one) for one in table),
                days_late=None if slot is None else days_past(limit, slot.end),
            )
        )
    return tuple(told)


def _placed(ground: Ground, slot: Slot) -> Start | None:
    job = ground.by_key[slot.key]
    first = ground.by_key.get(slot.isolation_of or "")
    return candidate_at(ground, job, slot.start, set_up_saved(first, job) if first is not None else 0)


def _without(table: tuple[Blocker, ...]) -> list[str]:
    by_reason: dict[str, int] = {}
    for one in table:
        by_reason[one.reason] = by_reason.get(one.reason, 0) + one.starts
    worst = sorted(by_reason, key=lambda reason: (-by_reason[reason], reason))[:MOST_REASONS]
    if not worst:
        return ["It has no place: no start is left in the days that are planned."]
    return [f"It has no place: {worst[0]}.", *(f"Other starts: {reason}." for reason in worst[1:])]


def _reasons(
    ground: Ground, job: PlanJob, slot: Slot, limit: int, plan: Plan, table: tuple[Blocker, ...], offset: int
) -> Iterator[str]:
    def day(step: int) -> str:
        when = ship_time(ground.problem.starts_at + timedelta(hours=step), offset)
        return f"{when:%a} {when.day} {when:%b %Y}"

    def is_free(start: int) -> bool:
        return not any(one.from_step <= start < one.to_step for one in table)

    late = days_past(limit, slot.end)
    set_by = ", which the turn before it sets" if limit < job.limit else ""
    if late:
        earlier = any(is_free(start) for start in window_starts(ground, job) if start < slot.start)
        why = (
            ": every earlier place is taken or forbidden"
            if not earlier
            else "; an earlier start is free by itself, but no plan has fewer days late in all"
            if _proven_in_time(plan)
            else "; an earlier start is free by itself, and the plan is not proved best"
        )
        yield f"It ends {late} day{'' if late == 1 else 's'} past its limit on {day(limit)}{set_by}{why}."
    else:
        yield f"It ends on {day(slot.end - 1)}, before its limit on {day(limit)}{set_by}."
    if job.fixed_start is not None:
        yield "It is pinned: it begins within the days that are not moved any more, or work on it has begun."
        return
    if slot.isolation_of is not None:
        yield f"It goes on with the isolation of {slot.isolation_of}, which saves setting up twice."
    for other in plan.slots:
        if other.isolation_of == job.key:
            yield f"{other.key} goes on with its isolation, which saves setting up twice."
    away = (slot.start - job.ideal) / STEPS_A_DAY
    if abs(away) < 1:
        yield f"It stands on its ideal date, {day(max(job.ideal, 0))}."
        return
    days = f"{abs(away):.0f} day{'' if abs(away) < 1.5 else 's'}"
    yield (
        f"Its ideal date, {day(job.ideal)}, was past when this was planned."
        if job.ideal < 0
        else f"Its ideal date is {day(job.ideal)}, {days} {'earlier' if away > 0 else 'later'}."
    )
    first, last = sorted((job.ideal, slot.start))
    nearer = [one for one in table if one.from_step < last and one.to_step > first]
    for one in sorted(nearer, key=lambda one: -one.starts)[:MOST_REASONS]:
        lacking = f" ({one.lacking_litres_per_h / 1000:g} m³/h lacking)" if one.lacking_litres_per_h else ""
        until = f" to {day(one.to_step - 1)}" if day(one.to_step - 1) != day(one.from_step) else ""
        yield f"Nearer starts, {day(one.from_step)}{until}: {one.reason}{lacking}."
    if any(is_free(start) for start in window_starts(ground, job) if first < start < last):
        if job.published_start == slot.start:
            yield f"It is kept where it was published, {day(job.published_start)}."
        elif plan.proven:
            yield (
                "A nearer start is free by itself: the turn after it, cover for one more failure, a shared isolation or "
                "evener work weigh more."
            )
        else:
            yield "A nearer start is free by itself; the plan is not proved best."


def _proven_in_time(plan: Plan) -> bool:
    """Whether it is proven that no plan has fewer days past limits."""
    return bool(plan.tiers) and all(tier.proven for tier in plan.tiers if tier.tier <= 1)


def _instants(problem: Problem, one: Blocker) -> Forbidden:
    def at(step: int) -> datetime:
        return problem.starts_at + timedelta(hours=step)

    return Forbidden(
        from_at=at(one.from_step),
        to_at=at(max(one.from_step, one.to_step - 1)),
        starts=one.starts,
        reason=one.reason,
        lacking_litres_per_h=one.lacking_litres_per_h,
    )
