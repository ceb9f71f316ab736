"""What is kept beside the jobs: parts aboard."""

from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from api.routes.shared import bodies
from api.server.deps import AskingDep, ContextDep, hand_of, must_be_own_form
from scheduler.actions.base.context import Hand
from scheduler.actions.vessel import fleet
from scheduler.actions.work import parts
from scheduler.parsing import own_path, whole_number
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


@router.post("/plants/{plant_id}/parts", include_in_schema=False)
async def count_on_page(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """A part counted from a job's page."""
    form = await request.form()
    must_be_own_form(who, form.get("csrf"))
    name, aboard = str(form.get("name", "")), whole_number("aboard", str(form.get("aboard", "")))

    def act() -> None:
        place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
        asked = {"route": f"POST /plants/{plant_id}/parts", "body": {"name": name, "aboard": aboard}}
        hand = Hand(who.actor, str(form.get("idempotency_key", "")), asked)
        parts.count_part(context, hand, place, name=name, aboard=aboard)

    await run_in_threadpool(act)
    return RedirectResponse(own_path(str(form.get("here", "")), f"/plants/{quote(plant_id)}"), 303)
