"""The page of a handover and its one form: the first signature, or the second."""

import secrets
from collections.abc import Mapping
from dataclasses import replace

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.pages.handover.page import (
    HandoverView,
    against_words,
    handover_page,
    handover_parts,
    heading_words,
    points_shown,
)
from api.pages.shared import frame
from api.pages.shared.answers import page_answer
from api.pages.shared.forms import FormRefusal, form_of
from api.server.deps import COOKIE, Asking, AskingDep, ContextDep
from api.server.try_limiter import address_of, limiter_of
from scheduler.actions.base.actor import person_of
from scheduler.actions.base.context import Context
from scheduler.actions.people import signing_in
from scheduler.actions.work import handover
from scheduler.actions.work.handover_facts import handover_changed, handover_facts
from scheduler.domain.people.persons import Person, one_person
from scheduler.errors import Clash
from scheduler.language import gettext as _
from scheduler.language import marked

router = APIRouter(include_in_schema=False)
TICK = "looked:"
"""Before a point's mark in the names of the ticks."""
_DOOR = "/api/v1/vessels/{vessel_id}/handovers"


@router.get("/vessels/{vessel_id}/handover")
def handover_of(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """What is open, filled by itself."""
    return _answer(request, context, who, vessel_id)


@router.post("/vessels/{vessel_id}/handover")
async def sign(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Sign as who hands over or who takes over; refused, with what was ticked and typed, until every point is looked at."""
    form = await form_of(request, who)

    def act() -> str:
        ticked = _ticked(form.values)
        facts = handover_facts(context, who.actor, vessel_id)
        reasons = facts.against(ticked)
        if reasons:
            raise Clash(against_words(reasons))
        hand = form.hand(_without_secret(form.values))
        if form["passphrase"]:
            with limiter_of(request).passphrase_try(address_of(request), who.actor.name):
                signing_in.prove_anew(context, request.cookies.get(COOKIE, ""), who.actor, form["passphrase"])
            by = hand.actor.authentication
            proved = None if by is None else replace(by, proved_at=context.now())
            hand = replace(hand, actor=replace(hand.actor, authentication=proved))
        if form["do"] == "sign":
            handover.sign_handover(context, hand, vessel_id, form.number, ticked)
        else:
            handover.write_handover(context, hand, vessel_id, form["text"] or "Nothing further.")
        return f"/vessels/{vessel_id}/handover?done={'taken' if form['do'] == 'sign' else 'given'}"

    return await form.act(act, lambda refused: _answer(request, context, who, vessel_id, refused))


def _ticked(values: Mapping[str, str]) -> list[str]:
    return [name.removeprefix(TICK) for name in values if name.startswith(TICK)]


def _without_secret(values: Mapping[str, str]) -> dict[str, str]:
    return {name: value for name, value in values.items() if name != "passphrase"}


_DONE = {"given": marked("Signed. It waits for who takes over."), "taken": marked("Signed: you have taken over.")}


def _answer(
    request: Request, context: Context, who: Asking, vessel_id: str, refused: FormRefusal | None = None
) -> Response:
    here = f"/vessels/{vessel_id}/handover"
    around = frame.vessel_frame(context, who, vessel_id, here, _("Handover"), "handover")
    facts = handover_facts(context, who.actor, vessel_id)
    newest = next(iter(handover.handovers_of(context, vessel_id)), None)
    note = newest if newest is not None and newest["signed_by"] is None else None
    changed = [] if note is None else handover_changed(context, vessel_id, int(note["handover"]), facts)
    ticked = _ticked(refused.values) if refused else []
    reasons = [*facts.against(ticked), *changed]
    me = person_of(who.actor)
    view = HandoverView(
        frame=around,
        action=here,
        heading=heading_words(facts, reasons, note),
        points=points_shown(facts, ticked),
        parts=handover_parts(facts, facts.plants[0].offset_minutes),
        idempotency_key=secrets.token_hex(12),
        against=against_words(reasons),
        note=note,
        mine=note is not None and one_person(Person("", str(note["written_by"])), me),
        changed=bool(changed),
        may_sign=frame.may(who, "POST", _DOOR) and who.csrf is not None,
        shared=who.shared or bool(who.actor.authentication and who.actor.authentication.device_users),
        done=_(done) if (done := _DONE.get(request.query_params.get("done", ""))) else "",
        values={} if refused is None else _without_secret(refused.values),
        faults={} if refused is None else refused.faults,
        says="" if refused is None else refused.error.says,
    )
    return page_answer(request, who, handover_page, view, refused.status if refused else 200)
