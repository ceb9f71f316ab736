"""The door of the plan in figures."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.pages.figures.page import figures_page
from api.pages.plant.build import plant_view
from api.pages.shared.answers import page_answer
from api.server.deps import AskingDep, ContextDep
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.vessel import fleet
from scheduler.storage.vessel import AssetKind

router = APIRouter(include_in_schema=False)


@router.get("/plants/{plant_id}/figures")
def figures(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The plan in figures."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    now = plant_state(context, place.vessel_id, place.id)
    return page_answer(request, who, figures_page, plant_view(now, context, who, request.url.path, "figures"))
