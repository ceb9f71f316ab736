"""A pump that failed, clogs noted without a job, and the lead order as set at the panel."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse

from api.routes.shared import bodies
from api.server.deps import AskingDep, ContextDep, hand_of
from scheduler.actions.capacity import outages
from scheduler.actions.plan import lead_order_set
from scheduler.actions.vessel import fleet
from scheduler.actions.work import breakdown
from scheduler.storage.vessel import AssetKind

router = APIRouter()


@router.post(
    "/api/v1/pumps/{pump_id}/breakdowns", status_code=201, tags=["work"], summary="A pump failed: out, repair opened"
)
def open_breakdown(
    pump_id: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.DownBody
) -> JSONResponse:
    """The pump is out since then, its repair is a job that is worked in steps and closed like any other, without a due
    point. The answer states the margin that is left; the plant is planned again at once."""
    place = fleet.locate(context, who.actor, pump_id, AssetKind.PUMP)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = breakdown.open_breakdown(
        context, hand, place, at=body.at, reason=body.reason, expected_at=body.expected_at
    )
    return JSONResponse({**answer.body, "plan": breakdown.plan_again(context, place)}, status_code=answer.status)


@router.put("/api/v1/pumps/{pump_id}/expected-return", tags=["work"], summary="When a pump that is out is back")
def expected(
    pump_id: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.ExpectedBody
) -> JSONResponse:
    """As far as it is known; null: not known any more. Plans alone go by it; the present margin and the record never do."""
    place = fleet.locate(context, who.actor, pump_id, AssetKind.PUMP)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = outages.say_expected(context, hand, place, body.expected_at)
    return JSONResponse({**answer.body, "plan": breakdown.plan_again(context, place)}, status_code=answer.status)


@router.post("/api/v1/pumps/{pump_id}/runs-after-all", tags=["work"], summary="A pump that was put out runs after all")
def pump_runs(
    pump_id: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.RunsBody
) -> JSONResponse:
    """Untouched: the stop stays on record with its minutes, and its repair is withdrawn."""
    place = fleet.locate(context, who.actor, pump_id, AssetKind.PUMP)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = breakdown.runs_after_all(context, hand, place, at=body.at, reason=body.reason)
    return JSONResponse({**answer.body, "plan": breakdown.plan_again(context, place)}, status_code=answer.status)


@router.post("/api/v1/plants/{plant_id}/lead-order", status_code=201, tags=["work"], summary="Lead order was changed")
def set_lead_order(
    plant_id: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.LeadOrderBody
) -> JSONResponse:
    """At the panel, by whom and when; kept on record, and handed over."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = lead_order_set.tell(context, hand, place, body.order, body.at)
    return JSONResponse(dict(answer.body), status_code=answer.status)


@router.get("/api/v1/vessels/{vessel_id}/clogs", tags=["work"], summary="Clogs noted")
def clogs(vessel_id: str, context: ContextDep, who: AskingDep) -> dict[str, Any]:
    """Newest first: what it was, riser, deck."""
    fleet.get_vessel(context, who.actor, vessel_id)
    return {"vessel": vessel_id, "clogs": breakdown.clogs_of(context, vessel_id)}


@router.post("/api/v1/vessels/{vessel_id}/clogs", status_code=201, tags=["work"], summary="A clog was cleared")
def note_clog(
    vessel_id: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.ClogBody
) -> JSONResponse:
    """What it was, on which riser or deck; it needs no job and is a record."""
    fleet.get_vessel(context, who.actor, vessel_id)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = breakdown.note_clog(
        context,
        hand,
        vessel_id,
        at=body.at,
        object_found=body.object,
        riser=body.riser,
        deck=body.deck,
        text=body.text,
    )
    return JSONResponse(dict(answer.body), status_code=answer.status)
