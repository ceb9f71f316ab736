"""The doors of a postponement to be decided: look at it, decide it."""

import secrets
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.ics.writer import calendar_writer
from api.pages.decide.page import DecideView, decide_page
from api.pages.shared.answers import page_answer
from api.pages.shared.forms import FormRefusal, FormState, form_of
from api.pages.shared.frame import frame_of, may, may_ask
from api.server.deps import Asking, AskingDep, ContextDep, Number
from scheduler.actions.base.actor import person_of
from scheduler.actions.base.context import Context
from scheduler.actions.due import postponing
from scheduler.actions.feed import refresh
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.shore import requests
from scheduler.actions.vessel import fleet
from scheduler.actions.work.postponement_facts import plant_of_postponement, postponement_facts
from scheduler.domain.due.deciding import DECIDES, Decider, Objected, decision_objections
from scheduler.domain.people.persons import Person
from scheduler.domain.shore.asking import RequestKind
from scheduler.domain.vessel.job_kinds import JobKind
from scheduler.errors import Refused
from scheduler.language import gettext as _
from scheduler.wording.deciding import unfit_words

router = APIRouter(include_in_schema=False)
_DOOR = "/api/v1/vessels/{vessel_id}/postponements/{number}/decision"


@router.get("/vessels/{vessel_id}/decide/{number}")
def decide(vessel_id: str, number: Number, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The postponement: if no, if yes, and two buttons for who may decide it."""
    return _answer(request, context, who, vessel_id, number)


@router.post("/vessels/{vessel_id}/decide/{number}")
async def decided(vessel_id: str, number: Number, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Yes or no; what was typed is kept when it is refused."""
    form = await form_of(request, who)

    def act() -> str:
        fleet.get_vessel(context, who.actor, vessel_id)
        form.must_name_nobody("master")
        if form["granted"] not in ("yes", "no"):
            raise Refused(_("granted: yes or no is expected."))
        if requests.is_written_aboard(context, vessel_id):
            said = {
                "postponement": number,
                "granted": form["granted"] == "yes",
                "note": form["note"],
                "class_agreed": form["class_agreed"],
            }
            requests.ask_of_ship(context, form.hand(), vessel_id, RequestKind.DECIDE_POSTPONEMENT, said)
            return f"/vessels/{quote(vessel_id)}/requests?done=sent"
        postponing.decide_postponement(
            context,
            form.hand(),
            vessel_id,
            number,
            granted=form["granted"] == "yes",
            note=form["note"],
            class_agreed=form["class_agreed"],
        )
        refresh.refresh(context, calendar_writer(context.settings.shown_base_url()), vessel_id)
        return f"/vessels/{quote(vessel_id)}/decide/{number}"

    return await form.act(act, lambda refused: _answer(request, context, who, vessel_id, number, refused))


def _answer(
    request: Request,
    context: Context,
    who: Asking,
    vessel_id: str,
    number: int,
    refused: FormRefusal | None = None,
) -> Response:
    fleet.get_vessel(context, who.actor, vessel_id)
    now = plant_state(context, vessel_id, plant_of_postponement(context, vessel_id, number))
    facts = postponement_facts(context, now, number)
    row = facts.row
    against = _against(facts.kind, row.asked_by_id, row.asked_by, who)
    here = f"/vessels/{vessel_id}/decide/{number}"
    view = DecideView(
        frame=frame_of(now, who, here, _("Decide"), now.plant.id),
        plant=now.plant,
        plant_href=f"/plants/{now.plant.id}",
        job_href=f"/vessels/{vessel_id}/jobs/{row.job_key}",
        action=here,
        once=secrets.token_hex(12),
        facts=facts,
        may_decide=not against and who.actor.role in DECIDES and (may(who, "POST", _DOOR) or may_ask(who)),
        unfit=unfit_words(against),
        form=refused.state if refused else FormState(),
    )
    return page_answer(request, who, decide_page, view, refused.status if refused else 200)


def _against(kind: JobKind, asked_by_id: str, asked_by: str, who: Asking) -> list[Objected]:
    return decision_objections(
        kind,
        asked_by=Person(asked_by_id, asked_by),
        decider=Decider(person_of(who.actor), who.actor.role),
        granted=True,
        class_agreed="asked with the decision",
    )
