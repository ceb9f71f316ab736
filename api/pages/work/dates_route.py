"""The doors of a job's page about its dates: ask for a postponement, set the first date, say when its parts come."""

from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.pages.shared.forms import form_of
from api.pages.work.route import drawn_again, job_href
from api.routes.shared.fields import Fields
from api.server.deps import AskingDep, ContextDep
from scheduler.actions.due import first_dates, part_dates, postponing
from scheduler.actions.shore import requests
from scheduler.actions.vessel import fleet
from scheduler.actions.work import jobs
from scheduler.domain.due.postponing import Asked
from scheduler.domain.shore.asking import RequestKind
from scheduler.language import gettext as _

router = APIRouter(include_in_schema=False)


@router.post("/vessels/{vessel_id}/jobs/{key}/postponements")
async def postpone(vessel_id: str, key: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Ask for a postponement."""
    form = await form_of(request, who)

    def act() -> str:
        fields = Fields(form.values, fleet.offset_now(context, vessel_id))
        to_at = fields.instant("to_at")
        fields.check()
        assert to_at is not None
        asked = Asked(
            to_at=to_at, reason=fields.text("why"), risk=fields.text("risk"), mitigation=fields.text("mitigation")
        )
        place, job_id = jobs.job_place(context, who.actor, key)
        postponing.ask_postponement(context, form.hand(), place, job_id, asked)
        return f"{job_href(vessel_id, key)}#h-postpone"

    again = drawn_again(request, context, who, vessel_id, key, "postpone")
    return await form.act(act, again, fields={"reason": "why"})


@router.post("/vessels/{vessel_id}/jobs/{key}/first-date")
async def first_date(vessel_id: str, key: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Set the first date of a job."""
    form = await form_of(request, who)

    def act() -> str:
        fields = Fields(form.values)
        on = fields.day("on", empty=_("give the day on which it first falls due."))
        fields.check()
        assert on is not None
        reason, agreed = fields.text("reason"), fields.text("class_agreed")
        place, job_id = jobs.job_place(context, who.actor, key)
        first_dates.set_first(
            context, form.hand(), place, job_id, on=on, reason=reason, class_agreed=agreed, if_match=form.version
        )
        return f"{job_href(vessel_id, key)}#h-first-date"

    return await form.act(act, drawn_again(request, context, who, vessel_id, key, "first-date"))


@router.post("/vessels/{vessel_id}/jobs/{key}/first-date/agreement")
async def agree(vessel_id: str, key: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Agree to the first date of a critical job."""
    form = await form_of(request, who)

    def act() -> str:
        place, job_id = jobs.job_place(context, who.actor, key)
        first_dates.agree_first(context, form.hand(), place, job_id)
        return f"{job_href(vessel_id, key)}#h-first-date"

    return await form.act(act, drawn_again(request, context, who, vessel_id, key, "first-date"))


@router.post("/vessels/{vessel_id}/jobs/{key}/part-date")
async def part_date(vessel_id: str, key: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Say when the parts of a job come, or take that back."""
    form = await form_of(request, who)

    def act() -> str:
        fields = Fields(form.values)
        on = None if form["do"] == "clear" else fields.day("from_on", empty=_("give the day they are aboard."))
        fields.check()
        place, job_id = jobs.job_place(context, who.actor, key)
        if requests.is_written_aboard(context, vessel_id):
            said = {
                "job": key,
                "from_on": None if on is None else on.isoformat(),
                "note": fields.text("note"),
                "version": form.version or 0,
            }
            requests.ask_of_ship(context, form.hand(), vessel_id, RequestKind.SET_PART_DATE, said)
            return f"/vessels/{quote(vessel_id)}/requests?done=sent"
        part_dates.set_date(
            context, form.hand(), place, job_id, from_on=on, note=fields.text("note"), if_match=form.version
        )
        return f"{job_href(vessel_id, key)}#h-part-date"

    return await form.act(act, drawn_again(request, context, who, vessel_id, key, "part-date"))
