"""The doors of the plant page: look at it, put a pump out, say when it is back, say that it runs after all."""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.pages.plant.build import plant_view
from api.pages.plant.page import plant_page
from api.pages.shared.answers import page_answer
from api.pages.shared.forms import FormRefusal, PageForm, form_of
from api.server.deps import Asking, AskingDep, ContextDep
from scheduler.actions.base.context import Context
from scheduler.actions.capacity import outages
from scheduler.actions.care import doctor
from scheduler.actions.hours.signs import folded_plant
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.vessel import fleet
from scheduler.actions.vessel.fleet import Place
from scheduler.actions.work import breakdown
from scheduler.parsing import Fields
from scheduler.storage.vessel import AssetKind
from scheduler.wording.signs import plant_line

router = APIRouter(include_in_schema=False)
FAILED = "failed, put out on the plant page"


@router.get("/plants/{plant_id}")
def plant(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The plant page."""
    return _answer(request, context, who, plant_id)


def _answer(
    request: Request,
    context: Context,
    who: Asking,
    plant_id: str,
    pump_id: str = "",
    refused: FormRefusal | None = None,
) -> Response:
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    now = plant_state(context, place.vessel_id, place.id)
    signs = folded_plant(context, place.vessel_id, place.id).facts()
    view = plant_view(now, context, who, f"/plants/{place.id}", place.id)
    view = replace(
        view,
        diagnosed=sum(not one.note for one in doctor.vessel_diagnosis(context, place.vessel_id)),
        diagnosis_href=f"/vessels/{place.vessel_id}/counters#looks",
        hours_say=plant_line(signs, {position.id: position.name for position in now.plant.positions}),
        signs_href=f"/plants/{place.id}/signs",
        notice=breakdown.out_words(context, now, request.query_params.get("out", "")),
    )
    if refused is not None:
        pumps = (replace(one, form=refused.state) if one.pump_id == pump_id else one for one in view.pumps)
        view = replace(view, pumps=tuple(pumps))
    return page_answer(request, who, plant_page, view, refused.status if refused else 200)


@router.post("/pumps/{pump_id}/out")
async def out(pump_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Out now, what failed and when it is back where that is known; repair opened, planned again."""

    def do(place: Place, form: PageForm) -> None:
        back_at, reason = _expected(context, place, form), form["reason"][:200] or FAILED
        breakdown.open_breakdown(context, form.hand(), place, at=context.now(), reason=reason, expected_at=back_at)

    return await _pump_form(pump_id, request, context, who, do)


@router.post("/pumps/{pump_id}/return")
async def back(pump_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """When a pump that is out is expected back; empty: not known."""

    def do(place: Place, form: PageForm) -> None:
        outages.say_expected(context, form.hand(), place, _expected(context, place, form))

    return await _pump_form(pump_id, request, context, who, do)


@router.post("/pumps/{pump_id}/runs")
async def pump_in_use(pump_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """It runs after all."""

    def do(place: Place, form: PageForm) -> None:
        breakdown.runs_after_all(context, form.hand(), place, at=context.now())

    return await _pump_form(pump_id, request, context, who, do)


async def _pump_form(
    pump_id: str, request: Request, context: Context, who: Asking, do: Callable[[Place, PageForm], None]
) -> Response:
    """A form about one pump: done, planned again; back to the plant, which says what is left."""
    form = await form_of(request, who)

    def located() -> Place:
        return fleet.locate(context, who.actor, pump_id, AssetKind.PUMP)

    def act() -> str:
        place = located()
        do(place, form)
        breakdown.plan_again(context, place, soon=True)
        return f"/plants/{quote(place.plant_id)}?out={quote(pump_id)}"

    return await form.act(act, lambda refused: _answer(request, context, who, located().plant_id, pump_id, refused))


def _expected(context: Context, place: Place, form: PageForm) -> datetime | None:
    fields = Fields(form.values, fleet.offset_now(context, place.vessel_id))
    at = fields.instant("expected_at", needed=False)
    fields.check()
    return at
