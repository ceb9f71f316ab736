"""The doors of what was decided and of single matters: each form becomes the same action as the API's."""

import secrets
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from api.pages.decisions.page import (
    ClogsView,
    DecisionsView,
    NonConformityView,
    VersionView,
    change_words,
    clogs_page,
    decisions_page,
    nonconformity_page,
    version_page,
)
from api.pages.shared import frame
from api.pages.shared.answers import page_answer
from api.pages.shared.forms import FormRefusal, FormState, form_of
from api.pages.shared.waits import wait_lines
from api.server.deps import Asking, AskingDep, ContextDep, Number
from scheduler.actions.base.context import Context
from scheduler.actions.due import postponing
from scheduler.actions.plan.planning import margins_now
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.record.month import last_month
from scheduler.actions.shore import requests
from scheduler.actions.vessel import changes, fleet
from scheduler.actions.work import breakdown, handover, nonconformities
from scheduler.actions.work.waiting import matters_of
from scheduler.domain.shore.asking import RequestKind
from scheduler.errors import Clash, NotFound
from scheduler.language import gettext as _
from scheduler.language import marked

router = APIRouter(include_in_schema=False)
T = TypeVar("T")
_OF_VESSEL = "/api/v1/vessels/{vessel_id}"
_ANSWER, _CLOSE = (f"{_OF_VESSEL}/non-conformities/{{number}}/{act}" for act in ("answer", "close"))
_APPROVE, _CLOG = f"{_OF_VESSEL}/versions/{{number}}/approval", f"{_OF_VESSEL}/clogs"
_DONE = {
    "answer": marked("Answered; another person closes it."),
    "close": marked("Closed."),
    "approve": marked("Approved, and on record."),
    "clog": marked("The clog is noted."),
}


@router.get("/vessels/{vessel_id}/notes")
def notes(vessel_id: str, context: ContextDep, who: AskingDep) -> Response:
    """Where the page of notes was: its matters have pages of their own."""
    fleet.get_vessel(context, who.actor, vessel_id)
    return RedirectResponse(f"/vessels/{vessel_id}/decisions", 303)


@router.post("/vessels/{vessel_id}/notes")
async def notes_form(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """A form of that page, drawn before it went: nothing of it is done, and where it is done now is said."""
    await form_of(request, who)
    fleet.get_vessel(context, who.actor, vessel_id)
    raise Clash(
        _(
            "Nothing was stored: the page of this form has gone meanwhile. Clogs, handover, decisions and months have their own pages."
        )
    )


@router.get("/vessels/{vessel_id}/decisions")
def decisions(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """What was asked and decided, and what waits for this person."""
    here = f"/vessels/{vessel_id}/decisions"
    around = frame.vessel_frame(context, who, vessel_id, here, _("Decisions"), "decisions")
    vessel = fleet.get_vessel(context, who.actor, vessel_id)[0]
    states = [plant_state(context, vessel_id, plant.id) for plant in vessel.plants]
    view = DecisionsView(
        frame=around,
        vessel=vessel,
        here=f"/vessels/{vessel_id}",
        waits=tuple(
            line
            for n, now in enumerate(states)
            for line in wait_lines(
                matters_of(context, now, who.actor, margins_now(now, context), of_vessel=not n),
                now.at,
                now.offset_minutes,
            )
        ),
        postponements=postponing.postponements_listed(context, vessel_id),
        non_conformities=nonconformities.nonconformities_listed(context, vessel_id),
        reviews=handover.reviews_of(context, vessel_id),
        versions=[
            one for one in fleet.versions_of(context, who.actor, vessel_id) if one.to_approve and not one.approved_by
        ],
        last_month=last_month(context.now(), fleet.offset_now(context, vessel_id)),
    )
    return page_answer(request, who, decisions_page, view)


@router.get("/vessels/{vessel_id}/non-conformities/{number}")
def nonconformity(vessel_id: str, number: Number, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """One non-conformity, with the form that is next."""
    return _nonconformity(request, context, who, vessel_id, number)


@router.post("/vessels/{vessel_id}/non-conformities/{number}")
async def act_on_nonconformity(
    vessel_id: str, number: Number, request: Request, context: ContextDep, who: AskingDep
) -> Response:
    """Answer it, or close it; what was typed is kept when it is refused."""
    form = await form_of(request, who)
    here = f"/vessels/{vessel_id}/non-conformities/{number}"

    def act() -> str:
        fleet.get_vessel(context, who.actor, vessel_id)
        if form["do"] == "close":
            frame.must_pass(who, "POST", _CLOSE, "close a non-conformity")
            if requests.is_written_aboard(context, vessel_id):
                said = {"non_conformity": number}
                requests.ask_of_ship(context, form.hand(), vessel_id, RequestKind.CLOSE_NON_CONFORMITY, said)
                return f"/vessels/{vessel_id}/requests?done=sent"
            nonconformities.close_nonconformity(context, form.hand(), vessel_id, number)
            return f"{here}?done=close"
        frame.must_pass(who, "POST", _ANSWER, "answer a non-conformity")
        nonconformities.answer_nonconformity(
            context,
            form.hand(),
            vessel_id,
            number,
            cause=form["cause"],
            corrective_action=form["corrective_action"],
        )
        return f"{here}?done=answer"

    return await form.act(act, lambda refused: _nonconformity(request, context, who, vessel_id, number, refused))


@router.get("/vessels/{vessel_id}/versions/{number}")
def version(vessel_id: str, number: Number, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """What a version of the document changes, with the form that approves it."""
    return _version(request, context, who, vessel_id, number)


@router.post("/vessels/{vessel_id}/versions/{number}")
async def approve(vessel_id: str, number: Number, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Approve it."""
    form = await form_of(request, who)

    def act() -> str:
        if requests.is_written_aboard(context, vessel_id):
            said = {"version": number}
            requests.ask_of_ship(context, form.hand(), vessel_id, RequestKind.APPROVE_VERSION, said)
            return f"/vessels/{vessel_id}/requests?done=sent"
        changes.approve_version(context, form.hand(), vessel_id, number)
        return f"/vessels/{vessel_id}/versions/{number}?done=approve"

    return await form.act(act, lambda refused: _version(request, context, who, vessel_id, number, refused))


@router.get("/vessels/{vessel_id}/clogs")
def clogs(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Clogs that were cleared."""
    return _clogs(request, context, who, vessel_id)


@router.post("/vessels/{vessel_id}/clogs")
async def note_clog(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Note one; what was typed is kept when it is refused."""
    form = await form_of(request, who)

    def act() -> str:
        fleet.get_vessel(context, who.actor, vessel_id)
        breakdown.note_clog(
            context,
            form.hand(),
            vessel_id,
            at=context.now(),
            object_found=form["object"],
            riser=form["riser"],
            deck=form["deck"],
        )
        return f"/vessels/{vessel_id}/clogs?done=clog"

    return await form.act(act, lambda refused: _clogs(request, context, who, vessel_id, refused))


def _form_members(request: Request, refused: FormRefusal | None) -> Mapping[str, Any]:
    """Of a view that has one form."""
    return {
        "done": _(_DONE.get(request.query_params.get("done", ""), "")),
        "refused": refused.form_name if refused else "",
        **(refused.state if refused else FormState()).members,
        "idempotency_key": secrets.token_hex(12),
    }


def _nonconformity(
    request: Request,
    context: Context,
    who: Asking,
    vessel_id: str,
    number: int,
    refused: FormRefusal | None = None,
) -> Response:
    here = f"/vessels/{vessel_id}/non-conformities/{number}"
    around = frame.vessel_frame(context, who, vessel_id, here, _("Non-conformity"), "decisions")
    vessel = fleet.get_vessel(context, who.actor, vessel_id)[0]
    listed = nonconformities.nonconformities_listed(context, vessel_id)
    one = _of(
        listed,
        lambda found: found["non_conformity"] == number,
        _("There is no non-conformity {number} on this ship.", number=number),
    )
    view = NonConformityView(
        frame=around,
        vessel=vessel,
        action=here,
        decisions_href=f"/vessels/{vessel_id}/decisions",
        job_href=f"/vessels/{vessel_id}/jobs/{one['job']}",
        one=one,
        may_answer=one["state"] == "open" and frame.may(who, "POST", _ANSWER),
        may_close=one["state"] == "answered" and (frame.may(who, "POST", _CLOSE) or frame.may_ask(who)),
        **_form_members(request, refused),
    )
    return page_answer(request, who, nonconformity_page, view, refused.status if refused else 200)


def _version(
    request: Request,
    context: Context,
    who: Asking,
    vessel_id: str,
    number: int,
    refused: FormRefusal | None = None,
) -> Response:
    here = f"/vessels/{vessel_id}/versions/{number}"
    around = frame.vessel_frame(context, who, vessel_id, here, _("Document"), "decisions")
    vessel = fleet.get_vessel(context, who.actor, vessel_id)[0]
    listed = fleet.versions_of(context, who.actor, vessel_id)
    one = _of(
        listed,
        lambda found: found.version == number,
        _("There is no version {number} of this ship's document.", number=number),
    )
    view = VersionView(
        frame=around,
        action=here,
        decisions_href=f"/vessels/{vessel_id}/decisions",
        one=one,
        changes=tuple(
            change_words(vessel, *change) for change in changes.version_differences(context, vessel_id, one.record)
        ),
        may_approve=bool(one.to_approve)
        and not one.approved_by
        and (frame.may(who, "POST", _APPROVE) or frame.may_ask(who)),
        **_form_members(request, refused),
    )
    return page_answer(request, who, version_page, view, refused.status if refused else 200)


def _clogs(
    request: Request, context: Context, who: Asking, vessel_id: str, refused: FormRefusal | None = None
) -> Response:
    here = f"/vessels/{vessel_id}/clogs"
    view = ClogsView(
        frame=frame.vessel_frame(context, who, vessel_id, here, _("Clogs"), "clogs"),
        action=here,
        clogs=breakdown.clogs_of(context, vessel_id),
        may_write=frame.may(who, "POST", _CLOG),
        **_form_members(request, refused),
    )
    return page_answer(request, who, clogs_page, view, refused.status if refused else 200)


def _of(listed: list[T], fits: Callable[[T], bool], says: str) -> T:
    found = next((one for one in listed if fits(one)), None)
    if found is None:
        raise NotFound(says)
    return found
