"""The door of the week on paper."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.pages.plan.week_page import DAYS, week_page, week_view
from api.pages.plant.build import job_lines
from api.pages.shared.answers import page_answer
from api.pages.shared.frame import frame_of
from api.pages.shared.margin import margin_stretches, positions_of
from api.server.deps import AskingDep, ContextDep
from scheduler.actions.hours.ledger import derive_vessel
from scheduler.actions.plan import planning
from scheduler.actions.vessel import fleet
from scheduler.actions.work.handover_facts import handover_facts
from scheduler.language import gettext as _
from scheduler.storage.vessel import AssetKind

router = APIRouter(include_in_schema=False)


@router.get("/plants/{plant_id}/week")
def week(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Today and the next seven days."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    derive_vessel(context, place.vessel_id)
    facts = handover_facts(context, who.actor, place.vessel_id)
    now = next(one for one in facts.plants if one.plant.id == place.id)
    problem, plan = planning.as_now(now, context)
    view = week_view(
        now,
        frame_of(now, who, request.url.path, _("Week on paper, {days} days", days=DAYS), "week"),
        job_lines(now, context),
        margin_stretches(problem, plan.slots, positions_of(now)),
        facts,
    )
    return page_answer(request, who, week_page, view)
