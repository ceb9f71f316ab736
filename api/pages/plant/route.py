"""The door of the plant page."""

from dataclasses import replace

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.pages.plant.build import plant_view
from api.pages.plant.page import plant_page
from api.pages.shared.answers import page_answer
from api.server.deps import AskingDep, ContextDep
from scheduler.actions.care import doctor
from scheduler.actions.hours.signs import folded_plant
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.vessel import fleet
from scheduler.actions.work import breakdown
from scheduler.storage.vessel import AssetKind
from scheduler.wording.signs import plant_line

router = APIRouter(include_in_schema=False)


@router.get("/plants/{plant_id}")
def plant(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The plant page; what is asked in its address: days to draw, and may I open."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    now, query = plant_state(context, place.vessel_id, place.id), request.query_params
    signs = folded_plant(context, place.vessel_id, place.id).facts()
    view = plant_view(now, context, who, f"/plants/{place.id}", place.id, days=query.get("days", ""), asked=query)
    view = replace(
        view,
        diagnosed=sum(not one.note for one in doctor.vessel_diagnosis(context, place.vessel_id, (now, signs))),
        diagnosis_href=f"/vessels/{place.vessel_id}/counters#looks",
        hours_say=plant_line(signs, {position.id: position.name for position in now.plant.positions}),
        signs_href=f"/plants/{place.id}/signs",
        notice=breakdown.ran_words(context, now, query.get("ran", "")),
    )
    return page_answer(request, who, plant_page, view)
