"""The page of notes, decisions and signatures, and its forms: each becomes the same action as the API's."""

import secrets

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.pages.notes.page import NotesView, notes_page
from api.pages.shared import frame
from api.pages.shared.answers import page_answer
from api.pages.shared.forms import FormRefusal, PageForm, form_of
from api.server.deps import Asking, AskingDep, ContextDep
from scheduler.actions.base.context import Answer, Context
from scheduler.actions.due import postponing
from scheduler.actions.record.month import last_month
from scheduler.actions.vessel import changes, fleet
from scheduler.actions.work import breakdown, handover, nonconformities
from scheduler.domain.due.deciding import DECIDES
from scheduler.errors import Refused

router = APIRouter(include_in_schema=False)
DONE = {
    "clog": "The clog is noted.",
    "handover": "Written and signed; who takes over signs it too.",
    "sign": "Signed: you have taken over.",
    "answer": "Answered; another person closes it.",
    "close": "Closed.",
    "review": "The month is signed.",
    "approve": "Approved, and on record.",
}
_OF_VESSEL = "/api/v1/vessels/{vessel_id}"
_DOOR = {
    "clog": f"{_OF_VESSEL}/clogs",
    "handover": f"{_OF_VESSEL}/handovers",
    "sign": f"{_OF_VESSEL}/handovers/{{number}}/signature",
    "answer": f"{_OF_VESSEL}/non-conformities/{{number}}/answer",
    "close": f"{_OF_VESSEL}/non-conformities/{{number}}/close",
    "review": f"{_OF_VESSEL}/reviews",
    "approve": f"{_OF_VESSEL}/versions/{{number}}/approval",
}
"""The page's forms, each with the door of the API that does the same: who does not pass there does not here."""


@router.get("/vessels/{vessel_id}/notes")
def notes(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The page."""
    return _answer(request, context, who, vessel_id, done=DONE.get(request.query_params.get("done", ""), ""))


@router.post("/vessels/{vessel_id}/notes")
async def act(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """One of the page's forms; what was typed is kept when it is refused."""
    form = await form_of(request, who)

    def done() -> str:
        _do(context, who, vessel_id, form)
        return f"/vessels/{vessel_id}/notes?done={form['do']}"

    return await form.act(done, lambda refused: _answer(request, context, who, vessel_id, refused=refused))


def _do(context: Context, who: Asking, vessel_id: str, form: PageForm) -> Answer:
    hand, what = form.hand(), form["do"]
    fleet.get_vessel(context, who.actor, vessel_id)
    if what not in _DOOR:
        raise Refused(f"{what[:40]!r} is none of the page's forms.")
    frame.must_pass(who, "POST", _DOOR[what], "do this")
    if what == "clog":
        return breakdown.note_clog(
            context,
            hand,
            vessel_id,
            at=context.now(),
            object_found=form["object"],
            riser=form["riser"],
            deck=form["deck"],
        )
    if what == "handover":
        return handover.write_handover(context, hand, vessel_id, form["text"])
    if what == "review":
        return handover.sign_review(context, hand, vessel_id, form["month"], form["text"])
    number = form.number
    if what == "sign":
        return handover.sign_handover(context, hand, vessel_id, number)
    if what == "answer":
        cause, action = form["cause"], form["corrective_action"]
        return nonconformities.answer_nonconformity(
            context, hand, vessel_id, number, cause=cause, corrective_action=action
        )
    if what == "approve":
        return changes.approve_version(context, hand, vessel_id, number)
    return nonconformities.close_nonconformity(context, hand, vessel_id, number)


def _answer(
    request: Request,
    context: Context,
    who: Asking,
    vessel_id: str,
    *,
    done: str = "",
    refused: FormRefusal | None = None,
) -> Response:
    here = f"/vessels/{vessel_id}/notes"
    view = NotesView(
        frame=frame.vessel_frame(context, who, vessel_id, here, "Notes", "notes"),
        action=here,
        may_write=frame.may(who, "POST", _DOOR["clog"]),
        may_decide=who.actor.role in DECIDES,
        may_close=frame.may(who, "POST", _DOOR["close"]),
        may_approve=frame.may(who, "POST", _DOOR["approve"]),
        versions=[
            one for one in fleet.versions_of(context, who.actor, vessel_id) if one.to_approve and not one.approved_by
        ],
        last_month=last_month(context.now(), fleet.offset_now(context, vessel_id)),
        may_review=frame.may(who, "POST", _DOOR["review"]),
        clogs=breakdown.clogs_of(context, vessel_id),
        handovers=handover.handovers_of(context, vessel_id),
        postponements=postponing.postponements_listed(context, vessel_id),
        non_conformities=nonconformities.nonconformities_listed(context, vessel_id),
        reviews=handover.reviews_of(context, vessel_id),
        done=done,
        refused=refused.form_name if refused else "",
        values=refused.values if refused else {},
        faults=refused.faults if refused else {},
        says=refused.error.says if refused else "",
        idempotency_key=secrets.token_hex(12),
    )
    return page_answer(request, who, notes_page, view, refused.status if refused else 200)
