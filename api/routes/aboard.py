"""What is kept beside the jobs: parts aboard."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse

from api.routes.shared import bodies
from api.server.deps import AskingDep, ContextDep, hand_of
from scheduler.actions.vessel import fleet
from scheduler.actions.work import parts
from scheduler.storage.vessel import AssetKind

router = APIRouter()


@router.get("/api/v1/plants/{plant_id}/parts", tags=["work"], summary="Parts needed and aboard")
def part_counts(plant_id: str, context: ContextDep, who: AskingDep) -> dict[str, Any]:
    """Every part that a job sheet names, with how many are aboard; none where nobody has counted yet."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    return {"plant": plant_id, "parts": parts.parts_of(context, place)}


@router.post("/api/v1/plants/{plant_id}/parts", tags=["work"], summary="A part was counted")
def count(plant_id: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.PartBody) -> JSONResponse:
    """How many are aboard; a note of a used part takes from it."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = parts.count_part(context, hand, place, name=body.name, aboard=body.aboard)
    return JSONResponse(dict(answer.body), status_code=answer.status)
