"""The doors of what the office asks of a ship: see it, ask for a figure, take it back; aboard, accept or decline it."""

import secrets
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.pages.requests.page import MOST, RequestsView, figures_of, lines_aboard, lines_of_office, requests_page
from api.pages.shared import frame
from api.pages.shared.answers import page_answer
from api.pages.shared.forms import FormRefusal, FormState, PageForm, form_of
from api.server.deps import Asking, AskingDep, ContextDep
from scheduler.actions.base.context import Context
from scheduler.actions.shore import accepting, requests
from scheduler.actions.vessel import fleet
from scheduler.actions.vessel.document import as_plain
from scheduler.domain.shore.asking import RequestKind
from scheduler.domain.shore.merge_patch import merge_patch_between
from scheduler.domain.vessel.document import Vessel
from scheduler.errors import Refused
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.parsing import Unreadable, figure
from scheduler.storage.paging import PageAsked
from scheduler.wording.faults import unreadable_words

router = APIRouter(include_in_schema=False)
_ASK, _ANSWER = "/api/v1/vessels/{vessel_id}/requests", "/api/v1/vessels/{vessel_id}/requests/{number}/answer"
_WITHDRAW = "/api/v1/vessels/{vessel_id}/requests/{number}"
_DONE = {
    "sent": marked("Sent. It is done when the ship says so."),
    "withdrawn": marked("Taken back."),
    "done": marked("Accepted, and done."),
    "declined": marked("Declined; the office reads why."),
    "refused": marked("Accepted, but it could not be done: it says why below."),
    "lapsed": marked("Its time was over: nothing was done."),
}


@router.get("/vessels/{vessel_id}/requests")
def requests_seen(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """What was asked, and how far it is."""
    return _page(request, context, who, vessel_id)


@router.post("/vessels/{vessel_id}/requests")
async def act_on_requests(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Ask, take back, accept or decline; what was typed is kept when it is refused."""
    form = await form_of(request, who)
    here = f"/vessels/{vessel_id}/requests"

    def act() -> str:
        fleet.get_vessel(context, who.actor, vessel_id)
        if form["do"] == "figure":
            frame.must_pass(who, "POST", _ASK, "ask something of a ship")
            said = _change(fleet.get_vessel(context, who.actor, vessel_id)[0], form)
            requests.ask_of_ship(context, form.hand(), vessel_id, RequestKind.CHANGE_DOCUMENT, said)
            return f"{here}?done=sent"
        if form["do"] == "withdraw":
            frame.must_pass(who, "DELETE", _WITHDRAW, "take back what was asked of a ship")
            requests.withdraw_request(context, form.hand(), vessel_id, form.number)
            return f"{here}?done=withdrawn"
        frame.must_pass(who, "POST", _ANSWER, "accept or decline what the office asks")
        if form["accept"] not in ("yes", "no"):
            raise Refused(_("accept: yes or no is expected."))
        answer = accepting.answer_request(
            context, form.hand(), vessel_id, form.number, accepted=form["accept"] == "yes", reason=form["reason"]
        )
        return f"{here}?done={answer.body['state']}"

    return await form.act(act, lambda refused: _page(request, context, who, vessel_id, refused))


def _change(vessel: Vessel, form: PageForm) -> dict[str, Any]:
    """The merge patch that sets the chosen figure."""
    try:
        value = figure(form["value"])
    except Unreadable as error:
        raise Refused(unreadable_words(error), faults=[("/value", unreadable_words(error))]) from error
    if value is None:
        raise Refused(_("Give the figure."), faults=[("/value", _("this is empty"))])
    if not form["reason"]:
        raise Refused(_("Say why."), faults=[("/reason", _("this is empty"))])
    was = as_plain(vessel)
    now = as_plain(vessel)
    parts = form["path"].split("/")
    plant = next((one for one in now["plants"] if one["id"] == parts[0]), None)
    if plant is None or form["path"] not in {path for path, _words in figures_of(vessel)}:
        raise Refused(_("Choose a figure of the list."), faults=[("/path", _("this is not in the list"))])
    thing = next(one for one in plant["job_kinds"] if one["code"] == parts[1]) if parts[1] else plant
    thing[parts[2]] = int(value) if float(value).is_integer() else value
    return {
        "version": form.version or 0,
        "patch": merge_patch_between(was, now),
        "reason": form["reason"],
        "class_agreed": form["class_agreed"],
    }


def _page(
    request: Request, context: Context, who: Asking, vessel_id: str, refused: FormRefusal | None = None
) -> Response:
    here = f"/vessels/{vessel_id}/requests"
    around = frame.vessel_frame(context, who, vessel_id, here, _("Requests"), "decisions")
    vessel, version = fleet.get_vessel(context, who.actor, vessel_id)
    now, newest = context.now(), PageAsked(MOST)
    mirrored = requests.is_written_aboard(context, vessel_id)
    office = mirrored and who.actor.role in requests.ASKERS
    chief = frame.may(who, "POST", _ANSWER)
    lines = (
        lines_of_office(vessel, requests.requests_asked(context, vessel_id, newest), now, office=office)
        if mirrored
        else lines_aboard(vessel, accepting.requests_aboard(context, vessel_id, newest), now, chief=chief)
    )
    view = RequestsView(
        frame=around,
        action=here,
        decisions_href=f"/vessels/{vessel_id}/decisions",
        ship=vessel.name,
        mirrored=mirrored,
        lines=lines,
        may_ask=office,
        figures=figures_of(vessel) if office else (),
        version=version,
        done=_(_DONE.get(request.query_params.get("done", ""), "")),
        refused=refused.form_name if refused else "",
        idempotency_key=secrets.token_hex(12),
        **(refused.state if refused else FormState()).members,
    )
    return page_answer(request, who, requests_page, view, refused.status if refused else 200)
