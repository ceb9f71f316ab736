"""The doors of a pump's record and of the search."""

import secrets
from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from api.exports.month_report import month_data
from api.pages.plant.build import job_lines
from api.pages.record.build import pump_view
from api.pages.record.find import find_view
from api.pages.record.page import MonthView, find_page, month_page, pump_page
from api.pages.shared import frame
from api.pages.shared.answers import page_answer
from api.pages.shared.forms import FormRefusal, FormState, form_of
from api.server.deps import Asking, AskingDep, ContextDep
from scheduler.actions.base.context import Context
from scheduler.actions.hours.daily import daily_book
from scheduler.actions.hours.signs import folded_plant
from scheduler.actions.people.managing import people_shown
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.record.month import month_facts, months_on
from scheduler.actions.record.search import pump_hits, search
from scheduler.actions.vessel import fleet
from scheduler.actions.work import handover
from scheduler.domain.base.enums import Subject
from scheduler.language import gettext as _
from scheduler.storage.vessel import AssetKind
from scheduler.wording.signs import pump_line

router = APIRouter(include_in_schema=False)
YEARS = 2


@router.get("/pumps/{pump_id}/record")
def pump(pump_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """What is on record of a pump, its hours over two years, what is due on it."""
    place = fleet.locate(context, who.actor, pump_id, AssetKind.PUMP)
    now = plant_state(context, place.vessel_id, place.plant_id)
    own = (Subject.PUMP, place.id)
    days = daily_book(context, place, 365 * YEARS, [own], now.offset_minutes).days[own]
    while days and days[0].seconds is None:
        days = days[1:]
    view = pump_view(
        now,
        next(one for one in now.plant.pumps if one.id == place.id),
        pump_hits(context, place.vessel_id, place.id),
        days,
        job_lines(now, context),
        frame=frame.frame_of(now, who, request.url.path, _("Pump record"), "pumps"),
        years=YEARS,
        may_export=frame.may(who, "GET", "/api/v1/history"),
    )
    position = now.plant.position_of(place.id, now.at)
    signs = folded_plant(context, place.vessel_id, place.plant_id).facts()
    says = pump_line(signs, position, {one.id: one.name for one in now.plant.positions})
    view = replace(view, hours_say=says, signs_href=f"/plants/{place.plant_id}/signs")
    return page_answer(request, who, pump_page, view)


@router.get("/vessels/{vessel_id}/find")
def find(
    vessel_id: str, request: Request, context: ContextDep, who: AskingDep, q: Annotated[str, Query()] = ""
) -> Response:
    """Pumps, parts, people of that name, and the records that hold the words."""
    here, looked_for = f"/vessels/{vessel_id}/find", q.replace("\0", " ").strip()[:200]
    around = frame.vessel_frame(context, who, vessel_id, here, _("Find"), "find")
    found = search(context, vessel_id, looked_for)
    crew = [
        (one.name, one.rank)
        for one in people_shown(context, who.actor)
        if one.vessel_id == vessel_id and one.withdrawn_at is None
    ]
    return page_answer(request, who, find_page, find_view(found, looked_for, crew, frame=around, action=here))


@router.get("/vessels/{vessel_id}/months/{month}")
def month(vessel_id: str, month: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The month's report as a page, with the form that signs it once it is over; it is fetched as a file."""
    return _month(request, context, who, vessel_id, month)


@router.post("/vessels/{vessel_id}/months/{month}")
async def sign_month(vessel_id: str, month: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Sign the month; a remark that was typed is kept when it is refused."""
    form = await form_of(request, who)

    def act() -> str:
        fleet.get_vessel(context, who.actor, vessel_id)
        handover.sign_review(context, form.hand(), vessel_id, month, form["text"])
        return f"/vessels/{vessel_id}/months/{month}?done=review#h-signed"

    return await form.act(act, lambda refused: _month(request, context, who, vessel_id, month, refused))


def _month(
    request: Request, context: Context, who: Asking, vessel_id: str, month: str, refused: FormRefusal | None = None
) -> Response:
    here = f"/vessels/{vessel_id}/months/{month}"
    around = frame.vessel_frame(context, who, vessel_id, here, _("Month's report"), "decisions")
    found = month_facts(context, vessel_id, month)
    view = MonthView(
        frame=around,
        report=month_data(found, who.actor.name),
        earlier=f"/vessels/{vessel_id}/months/{months_on(month, -1)}",
        later="" if found.now_at < found.end_at else f"/vessels/{vessel_id}/months/{months_on(month, 1)}",
        file=f"/api/v1/vessels/{vessel_id}/months/{month}",
        action=here,
        may_sign=found.over and frame.may(who, "POST", "/api/v1/vessels/{vessel_id}/reviews"),
        done=_("The month is signed.") if request.query_params.get("done") == "review" else "",
        refused=refused.form_name if refused else "",
        **(refused.state if refused else FormState()).members,
        idempotency_key=secrets.token_hex(12),
    )
    return page_answer(request, who, month_page, view, refused.status if refused else 200)
