"""The page of notes, decisions and signatures, and its forms: each becomes the same action as the API's."""

import secrets
from collections.abc import Mapping

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from api.ics.writer import calendar_writer
from api.pages.notes.page import NotesView, notes_page
from api.pages.shared import build
from api.server.deps import Asking, AskingDep, ContextDep, must_be_own_form
from api.server.errors import STATUS
from api.server.page_answers import light_of, page
from scheduler.actions.base.context import Answer, Context, Hand
from scheduler.actions.due import postponing
from scheduler.actions.feed import refresh
from scheduler.actions.vessel import fleet
from scheduler.actions.work import breakdown, handover, nonconformities
from scheduler.domain.due.deciding import DECIDES
from scheduler.errors import Clash, NotAllowed, NotFound, Refused
from scheduler.parsing import whole_number

router = APIRouter(include_in_schema=False)
DONE = {
    "clog": "The clog is noted.",
    "handover": "Written and signed; who takes over signs it too.",
    "sign": "Signed: you have taken over.",
    "decide": "Decided, and on record.",
    "answer": "Answered; another person closes it.",
    "close": "Closed.",
    "review": "The month is signed.",
}


@router.get("/vessels/{vessel_id}/notes")
def notes(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The page."""
    return _shown(request, context, who, vessel_id, done=DONE.get(request.query_params.get("done", ""), ""))


@router.post("/vessels/{vessel_id}/notes")
async def act(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """One of the page's forms; what was typed is kept when it is refused."""
    form = await request.form()
    must_be_own_form(who, form.get("csrf"))
    typed = {name: str(value).strip() for name, value in form.items()}

    def done() -> Response:
        what = typed.get("do", "")
        try:
            _do(context, who, vessel_id, what, typed)
        except (Refused, Clash, NotAllowed, NotFound) as refused:
            number = typed.get("number", "")
            return _shown(
                request,
                context,
                who,
                vessel_id,
                STATUS[type(refused)][0],
                refused=f"{what}{number}",
                values=typed,
                faults={place.lstrip("/"): says for place, says in refused.faults},
                says=refused.says,
            )
        return RedirectResponse(f"/vessels/{vessel_id}/notes?done={what}", 303)

    return await run_in_threadpool(done)


def _do(context: Context, who: Asking, vessel_id: str, what: str, typed: Mapping[str, str]) -> Answer:
    asked = {"route": f"POST /vessels/{vessel_id}/notes", "body": {k: v for k, v in typed.items() if k != "csrf"}}
    hand = Hand(who.actor, typed.get("idempotency_key", ""), asked)
    fleet.get_vessel(context, who.actor, vessel_id)

    def said(name: str) -> str:
        return typed.get(name, "")

    if what == "clog":
        return breakdown.note_clog(
            context,
            hand,
            vessel_id,
            at=context.now(),
            object_found=said("object"),
            riser=said("riser"),
            deck=said("deck"),
        )
    if what == "handover":
        return handover.write_handover(context, hand, vessel_id, said("text"))
    if what == "review":
        return handover.sign_review(context, hand, vessel_id, said("month"), said("text"))
    number = whole_number("number", said("number"))
    if what == "sign":
        return handover.sign_handover(context, hand, vessel_id, number)
    if what == "answer":
        cause, action = said("cause"), said("corrective_action")
        return nonconformities.answer_nonconformity(
            context, hand, vessel_id, number, cause=cause, corrective_action=action
        )
    if what == "close":
        return nonconformities.close_nonconformity(context, hand, vessel_id, number)
    if what == "decide":
        answer = postponing.decide_postponement(
            context,
            hand,
            vessel_id,
            number,
            granted=said("granted") == "yes",
            note=said("note"),
            class_agreed=said("class_agreed"),
            master=said("master")[:200],
        )
        refresh.refresh(context, calendar_writer(context.settings.shown_base_url()), vessel_id)
        return answer
    raise Refused(f"{what[:40]!r} is none of the page's forms.")


def _shown(
    request: Request,
    context: Context,
    who: Asking,
    vessel_id: str,
    status: int = 200,
    *,
    done: str = "",
    refused: str = "",
    values: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
    says: str = "",
) -> Response:
    here = f"/vessels/{vessel_id}/notes"
    view = NotesView(
        frame=build.vessel_frame(context, who, vessel_id, here, "Notes", "notes"),
        action=here,
        may_write=build.may(who, "POST", "/vessels/{vessel_id}/notes"),
        may_decide=who.actor.role in DECIDES,
        may_review=build.may(who, "POST", "/api/v1/vessels/{vessel_id}/reviews"),
        clogs=breakdown.clogs_of(context, vessel_id),
        handovers=handover.handovers_of(context, vessel_id),
        postponements=postponing.postponements_listed(context, vessel_id),
        non_conformities=nonconformities.nonconformities_listed(context, vessel_id),
        reviews=handover.reviews_of(context, vessel_id),
        done=done,
        refused=refused,
        values=values or {},
        faults=faults or {},
        says=says,
        idempotency_key=secrets.token_hex(12),
    )
    return page(notes_page(view, light=light_of(request), csrf=who.csrf or ""), status)
