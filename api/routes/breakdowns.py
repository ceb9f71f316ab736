"""A pump that failed, and clogs noted without a job."""

from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from api import bodies
from api.deps import AskingDep, HouseDep, hand_of, must_be_own_form
from scheduler.actions import breakdown, fleet
from scheduler.actions.house import Hand
from scheduler.storage.tables import AssetKind

router = APIRouter()
FAILED = "failed, put out on the plant page"


@router.post(
    "/api/v1/pumps/{pump_id}/breakdowns", status_code=201, tags=["work"], summary="A pump failed: out, repair opened"
)
def open_breakdown(
    pump_id: str, house: HouseDep, who: AskingDep, request: Request, body: bodies.DownBody
) -> JSONResponse:
    """The pump is out since then, its repair is a job that is worked in steps and closed like any other, without a due
    point. The answer states the margin that is left; the plant is planned again at once."""
    place = fleet.locate(house, who.actor, pump_id, AssetKind.PUMP)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = breakdown.open_breakdown(house, hand, place, at=body.at, reason=body.reason)
    return JSONResponse({**answer.body, "plan": breakdown.plan_again(house, place)}, status_code=answer.status)


@router.post("/pumps/{pump_id}/out", include_in_schema=False)
async def out(pump_id: str, request: Request, house: HouseDep, who: AskingDep) -> Response:
    """One tap on the plant page: out now, repair opened, planned again; back to the plant, which says what is left."""
    form = await request.form()
    must_be_own_form(who, form.get("csrf"))

    def act() -> str:
        place = fleet.locate(house, who.actor, pump_id, AssetKind.PUMP)
        hand = Hand(who.actor, str(form.get("idempotency_key", "")), {"route": f"POST /pumps/{pump_id}/out"})
        breakdown.open_breakdown(house, hand, place, at=house.now(), reason=FAILED)
        breakdown.plan_again(house, place)
        return place.plant_id

    plant_id = await run_in_threadpool(act)
    return RedirectResponse(f"/plants/{quote(plant_id)}?out={quote(pump_id)}", 303)


@router.get("/api/v1/vessels/{vessel_id}/clogs", tags=["work"], summary="Clogs noted")
def clogs(vessel_id: str, house: HouseDep, who: AskingDep) -> dict[str, Any]:
    """Newest first: what it was, riser, deck."""
    fleet.get_vessel(house, who.actor, vessel_id)
    return {"vessel": vessel_id, "clogs": breakdown.clogs_of(house, vessel_id)}


@router.post("/api/v1/vessels/{vessel_id}/clogs", status_code=201, tags=["work"], summary="A clog was cleared")
def note_clog(vessel_id: str, house: HouseDep, who: AskingDep, request: Request, body: bodies.ClogBody) -> JSONResponse:
    """What it was, on which riser or deck; it needs no job and is a record."""
    fleet.get_vessel(house, who.actor, vessel_id)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = breakdown.note_clog(
        house,
        hand,
        vessel_id,
        at=body.at,
        object_found=body.object,
        riser=body.riser,
        deck=body.deck,
        text=body.text,
    )
    return JSONResponse(dict(answer.body), status_code=answer.status)
