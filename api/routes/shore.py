"""The office's doors for ships' own servers: what was written aboard comes in, how far it was taken goes out.

What goes through two of them is frames (`domain/shore/frame.py`), of one program for itself: /openapi.json does not tell them.
"""

from operator import attrgetter
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect

from api.routes.answers.shore import (
    LostRecordAnswer,
    LostRecordsAnswer,
    ShipAnswer,
    ShipHeadAnswer,
    ShipLifeAnswer,
    ShipsAnswer,
    ShipTakenAnswer,
)
from api.routes.bodies.shore import LifeBody, RejoinBody
from api.routes.shared.calls import HandCallDep
from api.routes.shared.paging import NamedPagesDep
from api.routes.shared.problems import JsonRoute, problems
from api.server.deps import AskingDep, ContextDep
from scheduler.actions.care.ships_seen import ships_seen
from scheduler.actions.shore import parted, taking
from scheduler.errors import BadRequest

router = APIRouter(route_class=JsonRoute)


@router.post(
    "/api/v1/ships/{vessel_id}/changes",
    tags=["ships"],
    summary="Take in what a ship wrote",
    include_in_schema=False,
)
async def post_changes(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> ShipTakenAnswer:
    """One frame of changes, taken once by number: all of what is new in it, or nothing. A problem's code says why nothing was (gap,
    parted, newer, home, broken, record chain, foreign, row, other ship); number and hash where they help."""
    try:
        frame = await request.body()
    except ClientDisconnect as error:  # the link was cut in the middle: nobody is there to be answered
        raise BadRequest("The frame was cut off on its way; send it again.") from error
    taken = await run_in_threadpool(taking.take_frame, context, who.actor, vessel_id, frame)
    return ShipTakenAnswer.of(taken)


@router.get(
    "/api/v1/ships/{vessel_id}/head", tags=["ships"], summary="How far a ship was taken", responses=problems(404)
)
def get_head(vessel_id: str, context: ContextDep, who: AskingDep) -> ShipHeadAnswer:
    """Life, number and hash of the newest change held."""
    return ShipHeadAnswer.of(vessel_id, taking.ship_head(context, who.actor, vessel_id))


@router.get(
    "/api/v1/ships/{vessel_id}/changes",
    tags=["ships"],
    summary="What a ship once sent",
    include_in_schema=False,
)
def get_changes(
    vessel_id: str,
    context: ContextDep,
    who: AskingDep,
    life: Annotated[str, Query(max_length=200, description="of which life of the ship's database")],
    after: Annotated[int, Query(ge=0, le=2**62, description="changes above this number")] = 0,
) -> Response:
    """One stored batch as a frame, also of changes that are not aboard any more: so a ship gets back what she lost."""
    frame = taking.changes_after(context, who.actor, vessel_id, life, after)
    if frame is None:
        return Response(status_code=204)
    return Response(frame, media_type="application/octet-stream")


@router.post(
    "/api/v1/ships/{vessel_id}/rejoin",
    tags=["ships"],
    summary="Say from where a ship's new life goes on",
    responses=problems(404, 409, 422),
)
def post_rejoin(vessel_id: str, body: RejoinBody, context: ContextDep, who: AskingDep) -> ShipTakenAnswer:
    """A ship put back from a backup asks to go on; until somebody of the office has answered, nothing is taken (409 parted)."""
    return ShipTakenAnswer.of(taking.rejoin(context, who.actor, vessel_id, body.life, body.number, body.hash))


@router.get("/api/v1/ships", tags=["ships"], summary="Ships that write aboard", responses=problems())
def list_ships(context: ContextDep, who: AskingDep, pages: NamedPagesDep) -> ShipsAnswer:
    """When each was last heard, how far she is taken, what waits, and what stands against taking."""
    shown = pages.shown_of_all(ships_seen(context, who.actor.vessel_id), attrgetter("vessel_id"))
    return ShipsAnswer(ships=[ShipAnswer.of(one) for one in shown])


@router.post(
    "/api/v1/ships/{vessel_id}/life",
    tags=["ships"],
    summary="Say which life of a ship goes on",
    responses=problems(404, 409, 422, 428),
)
def answer_life(vessel_id: str, call: HandCallDep, body: LifeBody) -> ShipLifeAnswer:
    """Where two lives of one ship parted: the new one goes on, or it was a stray copy, whose key ends. Somebody of the office, with a
    reason, on record."""
    answer = parted.answer_parted(call.context, call.hand(body), vessel_id, parted.LifeAnswer(body.answer), body.reason)
    return call.answered(ShipLifeAnswer, answer)


@router.get(
    "/api/v1/ships/{vessel_id}/lost-records",
    tags=["ships"],
    summary="Records of a life that ended",
    responses=problems(404),
)
def list_lost_records(vessel_id: str, context: ContextDep, who: AskingDep) -> LostRecordsAnswer:
    """They stand in no database aboard any more; where they still hold they are entered by hand."""
    found = parted.lost_records(context, who.actor, vessel_id)
    return LostRecordsAnswer(vessel=vessel_id, records=[LostRecordAnswer.of(one) for one in found])
