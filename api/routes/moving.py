"""Slots of the plan aboard moved by hand."""

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import JSONResponse

from api.ics.writer import calendar_writer
from api.routes.shared import bodies
from api.server.deps import AskingDep, ContextDep, Number, hand_of, version_in
from scheduler.actions.base.context import Answer, Context
from scheduler.actions.feed import refresh
from scheduler.actions.plan import moving
from scheduler.actions.vessel import fleet
from scheduler.storage.vessel import AssetKind

router = APIRouter(prefix="/api/v1", tags=["plan"])


@router.get("/plants/{plant_id}/plan/slots/{key}/times", summary="Whether a slot would hold at another time")
def times(
    plant_id: str,
    key: str,
    context: ContextDep,
    who: AskingDep,
    start_at: Annotated[bodies.Instant, Query(description="where it would start, a whole hour")],
) -> JSONResponse:
    """Changes nothing. What stands against it in words, what to mind all the same, the margin that would be left, and up to
    five starts near it that hold. Two jobs on one isolation go together. The ETag is the version of the plan aboard, for
    If-Match of the move."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    told = moving.try_move(context, place.vessel_id, place.id, key, start_at)
    return JSONResponse(told, headers={"ETag": f'"{told["version"]}"'})


@router.post("/plants/{plant_id}/plan/moves", status_code=201, summary="Move a slot of the plan aboard")
def move(plant_id: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.MoveBody) -> JSONResponse:
    """It is pinned there: planning again leaves it. If-Match has the version of the plan that was looked at (428 without,
    412 when it is another by now). Where it does not hold it is refused (409) with the times that do."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = moving.move_slot(
        context, hand, place, body.job, body.start_at, if_match=version_in(request), reason=body.reason
    )
    return _answered(context, place, answer)


@router.get("/plants/{plant_id}/plan/moves", summary="The moves by hand, newest first")
def moves(plant_id: str, context: ContextDep, who: AskingDep) -> dict[str, Any]:
    """Who moved what from where to where, why, and whether it was undone or can be."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    return {"plant": plant_id, "moves": moving.moves_made(context, place)}


@router.post("/plants/{plant_id}/plan/moves/{number}/undo", summary="Put a moved slot back")
def undo_move(plant_id: str, number: Number, context: ContextDep, who: AskingDep, request: Request) -> JSONResponse:
    """The newest move of its job: the slot goes back where it was if that holds still (else 409 with the times that do),
    and its pin goes. Both the move and the undo stay on record."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    return _answered(context, place, moving.undo_move(context, hand_of(request, who, None), place, number))


def _answered(context: Context, place: fleet.Place, answer: Answer) -> JSONResponse:
    refresh.renew(context, calendar_writer(context.settings.shown_base_url()), place.vessel_id)
    headers = {"ETag": f'"{answer.body["version"]}"'}
    return JSONResponse(dict(answer.body), status_code=answer.status, headers=headers)
