"""A plan far ahead: worked out when somebody asks, and not kept."""

from datetime import timedelta
from typing import Any

from scheduler.actions.base.context import Context
from scheduler.actions.plan.framing import problem_of, running_of
from scheduler.actions.plan.planning import plan_as_json
from scheduler.actions.plant_state.load import PlantState, plant_state
from scheduler.actions.plant_state.stored import StoredPlan
from scheduler.errors import Busy, Refused
from scheduler.language import gettext as _
from scheduler.planning.judge.check import judge
from scheduler.planning.problem.codec import plan_to_text, problem_to_text
from scheduler.planning.problem.digest import text_digest
from scheduler.planning.search.passes import settle

OUTLOOK_DAYS = 730
"""Days that an outlook covers at most: two years."""


def outlook(context: Context, vessel_id: str, plant_id: str, days: int = OUTLOOK_DAYS) -> tuple[PlantState, StoredPlan]:
    """The plan over the next `days` days, not kept: what is beyond the published horizon is no more than an outlook.

    Raises:
        NotFound: no such plant. Refused: days outside 2 to OUTLOOK_DAYS. Busy: another is being worked out; one at a time.
    """
    if not 2 <= days <= OUTLOOK_DAYS:
        raise Refused(
            _(
                "An outlook covers 2 to {outlook_days} days; {days} were asked for.",
                outlook_days=OUTLOOK_DAYS,
                days=days,
            )
        )
    if not context.looking_far.acquire(blocking=False):
        raise Busy(_("An outlook is being worked out already; ask again in a while."), more={"retry_after": 10})
    try:
        now = plant_state(context, vessel_id, plant_id, horizon_days=days)
        with context.workers() as workers:
            problem, plan = settle(problem_of(now, context, horizon_days=days), running_of(now), workers.plan)
    finally:
        context.looking_far.release()
    verdict = judge(problem, plan)
    least_at = None if verdict.least_at_step is None else problem.starts_at + timedelta(hours=verdict.least_at_step)
    plan_text = plan_to_text(plan)
    return now, StoredPlan(
        id="",
        digest=text_digest(plan_text),
        made_at=now.at,
        taken_at=None,
        lawful=verdict.lawful,
        least_margin_litres_per_h=verdict.least_margin_litres_per_h,
        least_at=least_at,
        version=0,
        starts_at=problem.starts_at,
        problem_text=problem_to_text(problem),
        plan_text=plan_text,
    )


def outlook_words(context: Context, now: PlantState) -> str:
    """What an outlook is, in a sentence."""
    ship = now.at + timedelta(days=context.settings.horizon_days, minutes=now.offset_minutes)
    return (
        f"An outlook, worked out just now and not kept. Dates after {ship:%d %b %Y} rest on a forecast of the hours run and "
        "will move; the plan that counts is the one taken."
    )


def outlook_as_json(now: PlantState, stored: StoredPlan, days: int, says: str) -> dict[str, Any]:
    """An outlook for the API: what it is, and the plan."""
    return {
        "plant": now.plant.id,
        "days": days,
        "outlook": True,
        "says": says,
        "plan": plan_as_json(now, stored),
    }
