"""Handover notes and the month's review."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse

from api.routes.shared import bodies
from api.server.deps import AskingDep, ContextDep, Number, hand_of
from scheduler.actions.vessel import fleet
from scheduler.actions.work import handover

router = APIRouter(prefix="/api/v1/vessels/{vessel_id}")


@router.get("/handovers", tags=["work"], summary="Handover notes")
def handovers(vessel_id: str, context: ContextDep, who: AskingDep) -> dict[str, Any]:
    """Newest first, with who wrote and who signed."""
    fleet.get_vessel(context, who.actor, vessel_id)
    return {"vessel": vessel_id, "handovers": handover.handovers_of(context, vessel_id)}


@router.post("/handovers", status_code=201, tags=["work"], summary="Write a handover note")
def write(
    vessel_id: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.HandoverBody
) -> JSONResponse:
    """Signed by who writes it; another person signs it after."""
    fleet.get_vessel(context, who.actor, vessel_id)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = handover.write_handover(context, hand, vessel_id, body.text)
    return JSONResponse(dict(answer.body), status_code=answer.status)


@router.post("/handovers/{number}/signature", tags=["work"], summary="Sign a handover note")
def sign_handover(
    vessel_id: str, number: Number, context: ContextDep, who: AskingDep, request: Request
) -> JSONResponse:
    """By the one who takes over, not by who wrote it."""
    fleet.get_vessel(context, who.actor, vessel_id)
    answer = handover.sign_handover(context, hand_of(request, who, {}), vessel_id, number)
    return JSONResponse(dict(answer.body), status_code=answer.status)


@router.get("/reviews", tags=["work"], summary="Monthly reviews")
def reviews(vessel_id: str, context: ContextDep, who: AskingDep) -> dict[str, Any]:
    """Newest first."""
    fleet.get_vessel(context, who.actor, vessel_id)
    return {"vessel": vessel_id, "reviews": handover.reviews_of(context, vessel_id)}


@router.post("/reviews", status_code=201, tags=["work"], summary="Sign the review of a month")
def review(
    vessel_id: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.ReviewBody
) -> JSONResponse:
    """By the chief engineer, for a month that is over, once."""
    fleet.get_vessel(context, who.actor, vessel_id)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = handover.sign_review(context, hand, vessel_id, body.month, body.text)
    return JSONResponse(dict(answer.body), status_code=answer.status)
