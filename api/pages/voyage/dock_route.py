"""The doors of a stay in dock: look at it, take a batch of jobs into it, take the batch back."""

import secrets
from dataclasses import replace
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.pages.shared.answers import page_answer
from api.pages.shared.forms import FormRefusal, form_of
from api.pages.shared.frame import frame_of, may, must_pass
from api.pages.voyage.dock_page import TICK, DockView, dock_page
from api.routes.shared.fields import Fields
from api.server.deps import Asking, AskingDep, ContextDep
from scheduler.actions.base.context import Context
from scheduler.actions.due import docking
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.vessel import fleet
from scheduler.actions.work.dock_facts import dock_facts, dock_stay
from scheduler.errors import Refused
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.storage.vessel import AssetKind
from scheduler.wording.figures import field_moment

router = APIRouter(include_in_schema=False)
_DOOR = "/api/v1/plants/{plant_id}/dock"
_DONE = {
    "chosen": marked("Chosen, and on record. It is planned again; the plan waits to be taken."),
    "withdrawn": marked("Taken back, and on record. It is planned again."),
}


@router.get("/plants/{plant_id}/dock")
def dock(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The next stay in dock, or that of ?from_at= and to_at=, in ship time."""
    names = ("from_at", "to_at", "utc_offset_minutes")
    asked = {name: typed for name in names if (typed := request.query_params.get(name, "").strip())}
    return _answer(
        request,
        context,
        who,
        plant_id,
        asked=asked,
        done=_(done) if (done := _DONE.get(request.query_params.get("done", ""))) else "",
    )


@router.post("/plants/{plant_id}/dock")
async def take_batch(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Take what is ticked into the dock, or a batch back; ticks are kept when it is refused."""
    form = await form_of(request, who)

    def act() -> str:
        place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
        if form["do"] == "withdraw":
            must_pass(who, "POST", f"{_DOOR}/{{number}}/withdrawal", "take a dock batch back")
            docking.withdraw_dock(context, form.hand(), place, form.number)
            return f"/plants/{plant_id}/dock?done=withdrawn"
        from_at, to_at = _stay(form.values, fleet.offset_now(context, place.vessel_id))
        keys = [name.removeprefix(TICK) for name in form.values if name.startswith(TICK)]
        if not keys:
            raise Refused(_("Nothing is ticked: tick the jobs that go into the dock."))
        docking.choose_dock(context, form.hand(), place, from_at, to_at, keys)
        days = {name: form[name] for name in ("from_at", "to_at", "utc_offset_minutes")}
        return f"/plants/{plant_id}/dock?{urlencode({**days, 'done': 'chosen'})}"

    def again(refused: FormRefusal) -> Response:
        return _answer(request, context, who, plant_id, asked=refused.values, refused=refused)

    return await form.act(act, again)


def _stay(values: Any, offset: int) -> tuple[datetime, datetime]:
    fields = Fields(values, offset)
    from_at, to_at = fields.instant("from_at"), fields.instant("to_at")
    fields.check(_("The days cannot be read; correct what is marked."))
    assert from_at is not None
    assert to_at is not None
    return from_at, to_at


def _answer(
    request: Request,
    context: Context,
    who: Asking,
    plant_id: str,
    *,
    asked: Any,
    done: str = "",
    refused: FormRefusal | None = None,
) -> Response:
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    now = plant_state(context, place.vessel_id, plant_id)
    here = f"/plants/{plant_id}/dock"
    view = DockView(
        frame=frame_of(now, who, here, _("Dry dock"), "calendar"),
        action=here,
        voyage_href=f"/vessels/{now.vessel.id}/calendar",
        minimum_href=f"/plants/{plant_id}/minimum",
        facts=None,
        may_choose=may(who, "POST", "/plants/{plant_id}/dock"),
        done=done,
        idempotency_key=secrets.token_hex(12),
    )
    status = 200
    if refused is not None:
        ticked = frozenset(name.removeprefix(TICK) for name in refused.values if name.startswith(TICK))
        view = replace(view, refused=refused.form_name, says=refused.error.says, faults=refused.faults, ticked=ticked)
        status = refused.status
    try:
        typed = any(asked.get(name, "").strip() for name in ("from_at", "to_at"))
        stay = _stay(asked, now.offset_minutes) if typed else dock_stay(context, now)
        if stay is not None:
            facts = dock_facts(context, place, *stay)
            days = dict(
                zip(
                    ("from_at", "to_at"),
                    (field_moment(at, now.offset_minutes) for at in stay),
                    strict=True,
                )
            )
            view = replace(view, facts=facts, days=days)
    except Refused as error:
        days = {name: asked.get(name, "") for name in ("from_at", "to_at")}
        faults = {pointer.lstrip("/"): says for pointer, says in error.faults}
        view = replace(view, days=days, refused="days", says=error.says, faults=faults)
        status = 422
    return page_answer(request, who, dock_page, view, status)
