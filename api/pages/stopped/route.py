"""The doors of a pump that stops: look at its page, put it out, say when it is back, say that it runs after all."""

import secrets
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.pages.plan.plan_line import newer_plan
from api.pages.shared.answers import page_answer
from api.pages.shared.forms import FormRefusal, FormState, PageForm, form_of
from api.pages.shared.frame import frame_of, may
from api.pages.stopped.page import SEEN, StoppedView, stopped_page
from api.routes.shared.fields import Fields
from api.server.deps import Asking, AskingDep, ContextDep
from scheduler.actions.base.context import AHEAD, Context
from scheduler.actions.capacity import notices, outages
from scheduler.actions.capacity.stopped import stopped_pump
from scheduler.actions.hours.shown import counters_show
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.vessel import fleet
from scheduler.actions.vessel.fleet import Place
from scheduler.actions.work import breakdown
from scheduler.domain.capacity.notices import Notified
from scheduler.errors import Refused
from scheduler.language import gettext as _
from scheduler.storage.capacity import open_outage_rows
from scheduler.storage.vessel import AssetKind
from scheduler.storage.work import step_rows
from scheduler.wording.hours import counts_words
from scheduler.wording.names import job_words

router = APIRouter(include_in_schema=False)
FAILED = "failed, put out on the plant page"


@router.get("/pumps/{pump_id}/stopped")
def stopped(pump_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The page of a pump that stops: the two questions, or what is left while it is out."""
    return _answer(request, context, who, fleet.locate(context, who.actor, pump_id, AssetKind.PUMP))


def _answer(
    request: Request, context: Context, who: Asking, place: Place, refused: FormRefusal | None = None
) -> Response:
    with context.db.read() as session:  # before the state: a change between the two is asked about, never overlooked
        version = outages.expected_version(session, place)
    now = plant_state(context, place.vessel_id, place.plant_id)
    position = now.plant.position_of(place.id, now.at)
    name = now.position_name(position) if position else _("Pump {serial_of}", serial_of=now.serial_of(place.id))
    repair = next((job for job in now.breakdowns if job.job_id.subject == place.id), None)
    with context.db.read() as session:
        shows = counters_show(session, now.vessel.id, [one.id for one in now.counters if one.primary])
        begun = repair is not None and bool(step_rows(session, now.vessel.id, repair.job_id.key))
        out_for = next((row.job_key for row in open_outage_rows(session, now.vessel.id, place.id) if row.job_key), "")
    shown = shows.get(position or "")
    found = stopped_pump(now, place.id)
    if out_for:  # the work on a job took it out, not a person who said why
        found = replace(found, reason=job_words(now.plant, now.at, out_for))
    view = StoppedView(
        frame=frame_of(now, who, f"/pumps/{place.id}/stopped", _("{pump} stopped", pump=name), now.plant.id),
        plant=now.plant,
        position=name,
        serial=now.serial_of(place.id),
        shows="" if shown is None else counts_words(shown.milli),
        stopped=found,
        plant_href=f"/plants/{now.plant.id}",
        out_action=f"/pumps/{place.id}/out",
        return_action=f"/pumps/{place.id}/return",
        in_use_action=f"/pumps/{place.id}/runs",
        once=secrets.token_hex(12),
        version=version,
        repair_href=f"/vessels/{now.vessel.id}/jobs/{repair.job_id.key}" if repair else "",
        may_run=repair is not None and not begun and may(who, "POST", "/pumps/{pump_id}/runs"),
        notice_action=f"/pumps/{place.id}/notices" if may(who, "POST", "/pumps/{pump_id}/notices") else "",
        notices=notices.stop_notices(context, place)[1],
        newer_href=f"/plants/{now.plant.id}/plan#newer" if newer_plan(now) else "",
        form=refused.state if refused else FormState(),
    )
    return page_answer(request, who, stopped_page, view, refused.status if refused else 200)


@router.post("/pumps/{pump_id}/out")
async def out(pump_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Out since then, what is seen and when it is back where that is known; repair opened, planned again."""

    def do(place: Place, form: PageForm) -> None:
        fields = Fields(form.values, fleet.offset_now(context, place.vessel_id))
        now = context.now()
        at = fields.instant("at", needed=False) or now
        if at > now + AHEAD:
            fields.fault("at", _("this is still to come; give the time at which it stopped"))
        back_at = _back(fields)
        fields.check()
        seen = [form["see"]] if form["see"] in SEEN else []
        reason = ": ".join([*seen, *([form["reason"][:160]] if form["reason"] else [])]) or FAILED
        breakdown.open_breakdown(context, form.hand(), place, at=at, reason=reason, expected_at=back_at)

    return await _pump_form(pump_id, request, context, who, do)


@router.post("/pumps/{pump_id}/return")
async def back(pump_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """When a pump that is out is expected back; not known any more."""

    def do(place: Place, form: PageForm) -> None:
        fields = Fields(form.values, fleet.offset_now(context, place.vessel_id))
        back_at = _back(fields)
        fields.check()
        outages.say_expected(context, form.hand(), place, back_at, if_match=form.version)

    return await _pump_form(pump_id, request, context, who, do)


@router.post("/pumps/{pump_id}/notices")
async def notice(pump_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Somebody was told of the stop, just now."""
    form = await form_of(request, who)

    def located() -> Place:
        return fleet.locate(context, who.actor, pump_id, AssetKind.PUMP)

    def act() -> str:
        if form["whom"] not in {one.value for one in Notified}:
            raise Refused(_("Nobody of that name is told of a stop; tap one of those listed."))
        notices.record_notice(context, form.hand(), located(), whom=Notified(form["whom"]), at=context.now())
        return f"/pumps/{quote(pump_id)}/stopped#h-tell"

    return await form.act(act, lambda refused: _answer(request, context, who, located(), refused))


@router.post("/pumps/{pump_id}/runs")
async def pump_in_use(pump_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """It runs after all."""

    def do(place: Place, form: PageForm) -> str:
        breakdown.runs_after_all(context, form.hand(), place, at=context.now())
        return f"/plants/{quote(place.plant_id)}?ran={quote(pump_id)}"

    return await _pump_form(pump_id, request, context, who, do)


async def _pump_form(
    pump_id: str, request: Request, context: Context, who: Asking, do: Callable[[Place, PageForm], str | None]
) -> Response:
    """A form about one pump: done, planned again; on to the page that `do` names, else the pump's own, which says what is left."""
    form = await form_of(request, who)

    def located() -> Place:
        return fleet.locate(context, who.actor, pump_id, AssetKind.PUMP)

    def act() -> str:
        place = located()
        on = do(place, form)
        breakdown.plan_again(context, place, soon=True)
        return on or f"/pumps/{quote(pump_id)}/stopped"

    return await form.act(
        act, lambda refused: _answer(request, context, who, located(), refused), fields={"back": "expected_at"}
    )


def _back(fields: Fields) -> datetime | None:
    """When it is expected back, from a button or typed; none: not known."""
    if fields.text("back") in ("", "unknown"):
        return fields.instant("expected_at", needed=False)
    return fields.instant("back")
