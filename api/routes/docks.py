"""Dry dock: what is better done there, and the batch chosen for it."""

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import JSONResponse

from api.routes.shared import bodies
from api.server.deps import AskingDep, ContextDep, Number, hand_of
from scheduler.actions.due import docking
from scheduler.actions.vessel import fleet
from scheduler.storage.vessel import AssetKind

router = APIRouter(prefix="/api/v1/plants/{plant_id}/dock")


@router.get("", tags=["plan"], summary="What is better done in dock")
def choices(
    plant_id: str,
    context: ContextDep,
    who: AskingDep,
    from_at: Annotated[bodies.Instant, Query(description="When the stay begins.")],
    to_at: Annotated[bodies.Instant, Query(description="When it ends.")],
) -> dict[str, Any]:
    """Open jobs that take a pump out and fall due in the dock or within 120 days of it, and the batches chosen."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    return docking.dock_choices(context, place, from_at, to_at)


@router.post("", status_code=201, tags=["plan"], summary="Choose jobs for a dock")
def choose(plant_id: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.DockBody) -> JSONResponse:
    """Plans put them in its days as far as limits allow. Refused where a minimum above 0 holds in the days."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = docking.choose_dock(context, hand, place, body.from_at, body.to_at, body.jobs)
    return JSONResponse(dict(answer.body), status_code=answer.status)


@router.post("/{number}/withdrawal", tags=["plan"], summary="Take a dock batch back")
def withdraw_dock(plant_id: str, number: Number, context: ContextDep, who: AskingDep, request: Request) -> JSONResponse:
    """Its jobs are planned as any other again."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    answer = docking.withdraw_dock(context, hand_of(request, who, {}), place, number)
    return JSONResponse(dict(answer.body), status_code=answer.status)
