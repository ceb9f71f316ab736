"""Why a job stands where it stands in the plan, and what would help one that is late or has no place; in words for people."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

from scheduler.actions.base.context import Context, utc_text
from scheduler.actions.plant_state.load import PlantState, plant_state
from scheduler.errors import Clash, NotFound
from scheduler.language import gettext as _
from scheduler.planning.explain.reasons import Explained, PlaceReason, ReasonCode, explain_place
from scheduler.planning.explain.reliefs import Relief, reliefs
from scheduler.planning.problem.facts import Blocker, merged
from scheduler.planning.problem.values import Problem
from scheduler.wording.names import job_words
from scheduler.wording.plan import PlanWords, bar_words, blocker_words, plan_words
from scheduler.wording.reasons import reason_words, relief_words


def words_of(now: PlantState, problem: Problem) -> PlanWords:
    """How things of a plan of this problem are called aboard."""
    return plan_words(now.plant, now.at, now.offset_minutes, problem)


def set_by_hand(now: PlantState, key: str) -> PlaceReason | None:
    """That somebody set the job where it stands, none where nobody did."""
    pin = now.pins.get(key)
    return None if pin is None else PlaceReason(code=ReasonCode.SET_BY_HAND, by=pin.by, move=pin.move)


def why(context: Context, vessel_id: str, plant_id: str, key: str) -> dict[str, Any]:
    """Reasons, what forbids the other starts, and for a late or unplaced job the reliefs, each tried by planning again.

    Of the proposed plan, else of the one taken. Sentences speak of positions and jobs as people do ("name" is the job's own);
    "job" is its key; "blocked" has what forbids other starts, each thing once, and nothing of a job on its best day. Runs outside
    any transaction.

    Raises:
        Clash: there is no plan yet. NotFound: the plan has no such job.
    """
    now = plant_state(context, vessel_id, plant_id)
    held = now.proposed or now.taken
    if held is None:
        raise Clash(_("There is no plan for {name} yet: plan it first.", name=now.plant.name))
    try:
        found = explain_place(held.problem, held.plan, key)
    except KeyError as error:
        raise NotFound(
            _(
                "The plan of {name} has no job {known}: it is not due in the planned days, or another job renews it.",
                name=now.plant.name,
                known=_known(now, key),
            )
        ) from error
    words, first = words_of(now, held.problem), held.problem.starts_at
    reasons, by_hand = list(found.reasons), set_by_hand(now, key)
    if by_hand is not None:
        reasons = [*(reasons if found.days_late is None else reasons[:1]), by_hand]
    helps: tuple[Relief, ...] = ()
    if found.days_late is None or found.days_late:
        with context.workers() as workers:
            helps = reliefs(held.problem, held.plan, key, solve=workers.plan)
    return {
        "plant": plant_id,
        "plan": held.digest,
        "job": key,
        "name": job_words(now.plant, now.at, key),
        "days_late": found.days_late,
        "placed": found.days_late is not None,
        "reasons": [reason_words(reason, words) for reason in reasons],
        "forbidden": [
            {
                "from": utc_text(first + timedelta(hours=one.from_step)),
                "to": utc_text(first + timedelta(hours=max(one.from_step, one.to_step - 1))),
                "starts": one.starts,
                "code": one.bar.code.value,
                "reason": bar_words(one.bar, words),
                "lacking_swept_m3_per_h": one.lacking_litres_per_h / 1000,
            }
            for one in found.forbidden
        ],
        "blocked": list(_blocked(found, words)),
        "reliefs": [_relief(one, words) for one in helps],
    }


def _known(now: PlantState, key: str) -> str:
    """What people call an open job; of any other what was asked for."""
    return key if now.job(key) is None else job_words(now.plant, now.at, key)


def _blocked(found: Explained, words: PlanWords) -> Iterator[str]:
    def line(one: Blocker) -> str:
        days = words.days(one.from_step, max(one.from_step, one.to_step - 1))
        return f"{days}: {blocker_words(one, words)}"

    return (line(one) for one in (() if found.best else merged(found.forbidden)))


def _relief(one: Relief, words: PlanWords) -> dict[str, str]:
    says, price = relief_words(one.choice, words)
    return {"kind": one.kind.value, "says": says, "price": price}
