"""Isolation points that a pump has not."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse

from api.routes.shared import bodies
from api.server.deps import AskingDep, ContextDep, Number, hand_of
from scheduler.actions.vessel import fleet
from scheduler.actions.work import points
from scheduler.storage.vessel import AssetKind

router = APIRouter(prefix="/api/v1/pumps/{pump_id}/points")


@router.get("", tags=["work"], summary="Points said to be not fitted")
def points_not_fitted(pump_id: str, context: ContextDep, who: AskingDep) -> dict[str, Any]:
    """Newest first, with who said and who signed."""
    place = fleet.locate(context, who.actor, pump_id, AssetKind.PUMP)
    return {"pump": pump_id, "not_fitted": points.points_listed(context, place)}


@router.post("", status_code=201, tags=["work"], summary="Say that a point is not fitted")
def say(
    pump_id: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.NotFittedBody
) -> JSONResponse:
    """Beforehand, with a reason. It counts once office or master has signed, from the next day on; never the supply breaker."""
    place = fleet.locate(context, who.actor, pump_id, AssetKind.PUMP)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = points.say_not_fitted(context, hand, place, body.point, body.reason)
    return JSONResponse(dict(answer.body), status_code=answer.status)


@router.post("/{number}/signature", tags=["work"], summary="Sign a point as not fitted")
def sign_point(
    pump_id: str,
    number: Number,
    context: ContextDep,
    who: AskingDep,
    request: Request,
    body: bodies.NotFittedSignatureBody,
) -> JSONResponse:
    """As office, or the master's signature; not by who said it."""
    place = fleet.locate(context, who.actor, pump_id, AssetKind.PUMP)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = points.sign_not_fitted(context, hand, place, number, as_=body.as_, name=body.name)
    return JSONResponse(dict(answer.body), status_code=answer.status)


@router.post("/{number}/withdrawal", tags=["work"], summary="Take a point not fitted back")
def withdraw_point(pump_id: str, number: Number, context: ContextDep, who: AskingDep, request: Request) -> JSONResponse:
    """From then on the point is asked for again."""
    place = fleet.locate(context, who.actor, pump_id, AssetKind.PUMP)
    answer = points.withdraw_not_fitted(context, hand_of(request, who, {}), place, number)
    return JSONResponse(dict(answer.body), status_code=answer.status)
