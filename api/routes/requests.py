"""Requests of the office by API: ask something of a ship, take it back, see how far it is; aboard, accept or decline it."""

from operator import attrgetter
from typing import Annotated

from fastapi import APIRouter, Body

from api.routes.answers.requests import (
    RequestAnsweredAnswer,
    RequestAskedAnswer,
    RequestOfOffice,
    RequestsAnswer,
    RequestTaken,
    RequestWithdrawnAnswer,
)
from api.routes.bodies.requests import AnyAsked, RequestAnswerBody
from api.routes.shared.calls import HandCallDep
from api.routes.shared.paging import NumberedPagesDep
from api.routes.shared.problems import JsonRoute
from api.server.deps import AskingDep, ContextDep, Number
from scheduler.actions.shore import accepting, requests
from scheduler.actions.vessel import fleet

router = APIRouter(route_class=JsonRoute)


@router.post(
    "/api/v1/vessels/{vessel_id}/requests", status_code=201, tags=["office"], summary="Ask something of a ship"
)
def ask_of_ship(vessel_id: str, call: HandCallDep, body: Annotated[AnyAsked, Body()]) -> RequestAskedAnswer:
    """By a person of the office, of a ship whose own server keeps her records. It is done aboard, in that person's name: at once, or
    after the chief engineer accepted it; what is done by who does it is never asked."""
    call.must_reach_vessel(vessel_id)
    said = body.model_dump(mode="json", exclude={"what", "until"})
    answer = requests.ask_of_ship(call.context, call.hand(body), vessel_id, body.what, said, until_at=body.until)
    return call.answered(RequestAskedAnswer, answer)


@router.get("/api/v1/vessels/{vessel_id}/requests", tags=["office"], summary="What the office asked of a ship")
def requests_listed(vessel_id: str, context: ContextDep, who: AskingDep, pages: NumberedPagesDep) -> RequestsAnswer:
    """Newest first, with how far each is. What is only sent is never said to be done."""
    fleet.get_vessel(context, who.actor, vessel_id)
    now = context.now()
    mirrored = requests.is_written_aboard(context, vessel_id)
    asked = requests.requests_asked(context, vessel_id, pages.asked) if mirrored else []
    taken = [] if mirrored else accepting.requests_aboard(context, vessel_id, pages.asked)
    number = attrgetter("row.number")
    return RequestsAnswer(
        vessel=vessel_id,
        asked=[RequestOfOffice.of(one, now) for one in pages.shown(asked, number)],
        taken=[RequestTaken.of(one) for one in pages.shown(taken, number)],
    )


@router.delete(
    "/api/v1/vessels/{vessel_id}/requests/{number}", tags=["office"], summary="Take back what was asked of a ship"
)
def withdraw_request(vessel_id: str, number: Number, call: HandCallDep) -> RequestWithdrawnAnswer:
    """While it was not handed to the ship's server."""
    call.must_reach_vessel(vessel_id)
    answer = requests.withdraw_request(call.context, call.hand({}), vessel_id, number)
    return call.answered(RequestWithdrawnAnswer, answer)


@router.post(
    "/api/v1/vessels/{vessel_id}/requests/{number}/answer",
    tags=["office"],
    summary="Accept or decline what the office asks",
)
def answer_request(vessel_id: str, number: Number, call: HandCallDep, body: RequestAnswerBody) -> RequestAnsweredAnswer:
    """Aboard, by the chief engineer. Accepted, it is done in the asker's name; who asked it never accepts it."""
    call.must_reach_vessel(vessel_id)
    answer = accepting.answer_request(
        call.context, call.hand(body), vessel_id, number, accepted=body.accept, reason=body.reason
    )
    return call.answered(RequestAnsweredAnswer, answer)
