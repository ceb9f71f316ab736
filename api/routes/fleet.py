"""Vessels, plants, pumps, counters: the fleet as set up and as it stands, and what happened to it."""

from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Body, Query, Request, Response
from fastapi.responses import JSONResponse
from pydantic import ValidationError

from api.pages.shared.margin import margin_stretches
from api.routes.shared import bodies, shapes
from api.server.deps import AskingDep, ContextDep, Number, hand_of, version_in
from api.server.errors import refused_from
from scheduler.actions.base.context import Context
from scheduler.actions.capacity import outages, tests
from scheduler.actions.plan import lead_order as plan_lead_order
from scheduler.actions.plan import planning
from scheduler.actions.plant_state.load import PlantState, plant_state
from scheduler.actions.vessel import fleet
from scheduler.actions.vessel.document import VESSEL
from scheduler.domain.base.enums import Subject
from scheduler.domain.capacity.minimum import Swept
from scheduler.errors import Refused
from scheduler.storage.vessel import AssetKind

router = APIRouter(prefix="/api/v1")


def stands(context: Context, place: fleet.Place) -> PlantState:
    """How the place's plant stands now."""
    return plant_state(context, place.vessel_id, place.plant_id)


@router.get("/vessels", tags=["fleet"], summary="The vessels this key reaches")
def list_vessels(context: ContextDep, who: AskingDep) -> dict[str, Any]:
    """Id, name, version and plants of each."""
    return {
        "vessels": [
            {
                "vessel": vessel.id,
                "name": vessel.name,
                "imo": vessel.imo,
                "version": version,
                "plants": [plant.id for plant in vessel.plants],
            }
            for vessel, version in fleet.list_vessels(context, who.actor)
        ]
    }


@router.get("/vessels/{vessel_id}", tags=["fleet"], summary="A vessel's document")
def get_vessel(vessel_id: str, context: ContextDep, who: AskingDep) -> JSONResponse:
    """The whole document, with its version as ETag."""
    vessel, version = fleet.get_vessel(context, who.actor, vessel_id)
    return JSONResponse(shapes.vessel_json(vessel, version)["document"], headers={"ETag": f'"{version}"'})


@router.put("/vessels/{vessel_id}", tags=["fleet"], summary="Store a vessel's whole document")
def put_vessel(
    vessel_id: str,
    context: ContextDep,
    who: AskingDep,
    request: Request,
    document: Annotated[dict[str, Any], Body()],
    reason: Annotated[
        str, Query(max_length=1000, description="why an interval, window, tolerance or minimum changes")
    ] = "",
    class_agreed: Annotated[
        str,
        Query(max_length=1000, description="the class's agreement to a change of a class item: who, when, reference"),
    ] = "",
    approved_by: Annotated[
        str,
        Query(
            max_length=200, description="who ashore approved a change of an interval, window, tolerance or the minimum"
        ),
    ] = "",
) -> JSONResponse:
    """If-None-Match: * for a new vessel, If-Match with the version to replace one. Every fault is listed at once. A change
    of an interval, window, tolerance or the minimum, and of what the ship had, asks for its reason, one of a class item for
    the class's agreement. An interval, window, tolerance or minimum without an approval ashore is kept, and flagged."""
    try:
        vessel = VESSEL.validate_python(document)
    except ValidationError as error:
        raise refused_from(error) from error
    if vessel.id != vessel_id:
        raise Refused(f"The document is of {vessel.id!r}, the address says {vessel_id!r}. Send it to its own address.")
    if_new = request.headers.get("if-none-match", "").strip() == "*"
    version, new = fleet.put_vessel(
        context,
        who.actor,
        vessel,
        if_match=version_in(request),
        if_new=if_new,
        reason=reason,
        class_agreed=class_agreed,
        approved_by=approved_by,
    )
    return JSONResponse(
        {"vessel": vessel.id, "version": version}, status_code=201 if new else 200, headers={"ETag": f'"{version}"'}
    )


@router.get("/vessels/{vessel_id}/versions", tags=["fleet"], summary="Versions of a vessel's document")
def versions(vessel_id: str, context: ContextDep, who: AskingDep) -> dict[str, Any]:
    """Every version stored, newest first: when, by whom, why, approved by whom ashore, and the record that tells what differs."""
    found = fleet.versions_of(context, who.actor, vessel_id)
    return {"vessel": vessel_id, "versions": [shapes.version_json(one) for one in found]}


@router.get("/vessels/{vessel_id}/versions/{number}", tags=["fleet"], summary="A version of a vessel's document")
def version(vessel_id: str, number: Number, context: ContextDep, who: AskingDep) -> Response:
    """As it was stored."""
    return Response(fleet.version_of(context, who.actor, vessel_id, number), media_type="application/json")


@router.post("/vessels/{vessel_id}/clock", status_code=201, tags=["fleet"], summary="Record a change of ship time")
def change_clock(
    vessel_id: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.ClockBody
) -> JSONResponse:
    """All-day dates stay; planned instants stay; their wall time is shown anew."""
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = fleet.change_clock(
        context, hand, vessel_id, from_at=body.from_at, minutes=body.utc_offset_minutes, reason=body.reason
    )
    return JSONResponse(dict(answer.body), status_code=answer.status)


@router.get("/plants/{plant_id}", tags=["plant"], summary="A plant as it stands")
def get_plant(plant_id: str, context: ContextDep, who: AskingDep) -> dict[str, Any]:
    """Pumps with running hours, capacity and state; counters with their flags."""
    return shapes.plant_json(stands(context, fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)))


@router.get("/plants/{plant_id}/due", tags=["plant"], summary="Due jobs of a plant")
def get_due(
    plant_id: str,
    context: ContextDep,
    who: AskingDep,
    outlook: Annotated[bool, Query(description="also the turns after the open ones")] = False,
) -> dict[str, Any]:
    """Due point, window, limit, early/likely/late dates, trigger and state of each open job."""
    now = stands(context, fleet.locate(context, who.actor, plant_id, AssetKind.PLANT))
    jobs = [job for job in now.jobs if job.first or outlook]
    return {
        "plant": plant_id,
        "at": shapes.z(now.at),
        "ship_offset": shapes.offset_text(now.offset_minutes),
        "hours_as_of": shapes.z(now.hours_as_of()),
        "jobs": [shapes.due_json(now, job) for job in jobs],
    }


@router.get("/plants/{plant_id}/capacity", tags=["plant"], summary="Available, minimum and margin over time")
def get_capacity(
    plant_id: str,
    context: ContextDep,
    who: AskingDep,
    from_at: Annotated[bodies.Instant | None, Query(alias="from")] = None,
    to_at: Annotated[bodies.Instant | None, Query(alias="to")] = None,
) -> dict[str, Any]:
    """As planned: pumps down now and the slots of the taken plan (the proposed one if none is taken) are out."""
    now = stands(context, fleet.locate(context, who.actor, plant_id, AssetKind.PLANT))
    first, last = from_at or now.at, to_at or shapes.horizon(now, context.settings.horizon_days)
    if last <= first:
        raise Refused("The period ends before it begins; give from and to as instants, to after from.")
    runs = margin_stretches(*_planned(now, context), _positions(now))
    return {
        "plant": plant_id,
        "rests_on": "taken plan" if now.taken else "proposed plan" if now.proposed else "no plan",
        "runs": shapes.capacity_json(runs, first, last),
    }


def _planned(now: PlantState, context: Context) -> tuple[Any, Any]:
    problem, plan = planning.as_now(now, context)
    return problem, plan.slots


def _positions(now: PlantState) -> Mapping[str, str]:
    return {p.id: now.position_name(now.plant.position_of(p.id, now.at)) for p in now.plant.pumps}


@router.get("/plants/{plant_id}/lead-order", tags=["plant"], summary="Which pump should lead next")
def lead_order(plant_id: str, context: ContextDep, who: AskingDep) -> dict[str, Any]:
    """Advice: the ladder of hours left, hours a day for the next period, what falls due together, the trend of pump-hours."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    return plan_lead_order.lead_order(context, place.vessel_id, place.id)


@router.get("/pumps/{pump_id}", tags=["plant"], summary="A pump as it stands")
def get_pump(pump_id: str, context: ContextDep, who: AskingDep) -> dict[str, Any]:
    """Its hours, parts, state, and the open jobs on it."""
    now = stands(context, fleet.locate(context, who.actor, pump_id, AssetKind.PUMP))
    pump = next(p for p in shapes.plant_json(now)["pumps"] if p["pump"] == pump_id)
    jobs = [shapes.due_json(now, job) for job in now.jobs if job.pump == pump_id and job.first]
    return {**pump, "position_hours": _position_hours(now, pump["position"]), "jobs": jobs}


def _position_hours(now: PlantState, position: str | None) -> dict[str, Any] | None:
    key = (Subject.POSITION, position or "")
    return shapes.hours_json(now.hours.get(key), now.projected.get(key))


@router.post("/pumps/{pump_id}/down", tags=["work"], summary="A pump is out of order")
def pump_down(
    pump_id: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.DownBody
) -> JSONResponse:
    """A fact, never refused for capacity; the answer states the margin that is left, and a new plan is made."""
    place = fleet.locate(context, who.actor, pump_id, AssetKind.PUMP)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = outages.pump_down(context, hand, place, at=body.at, reason=body.reason, expected_at=body.expected_at)
    return JSONResponse(dict(answer.body), status_code=answer.status)


@router.post("/pumps/{pump_id}/back", tags=["work"], summary="A pump is back")
def pump_back(
    pump_id: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.BackBody
) -> JSONResponse:
    """Passed: it counts in full. None: returned, not proved, it counts at the provisional derate. Failed: it stays down."""
    place = fleet.locate(context, who.actor, pump_id, AssetKind.PUMP)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    measured = None if body.measured_swept_m3_per_h is None else Swept(body.measured_swept_m3_per_h)
    answer = outages.pump_back(context, hand, place, at=body.at, reason=body.reason, test=body.test, measured=measured)
    return JSONResponse(dict(answer.body), status_code=answer.status)


@router.post("/pumps/{pump_id}/test", tags=["work"], summary="A pump's pull-down test")
def pump_test(
    pump_id: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.PumpTestBody
) -> JSONResponse:
    """Swept volume and leak from the figures or the log. Passed: the pump counts for that; failed: for nothing."""
    place = fleet.locate(context, who.actor, pump_id, AssetKind.PUMP)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    figures = None if body.figures is None else tests.Figures(**body.figures.model_dump())
    told = tests.PullDown(**{**body.model_dump(exclude={"figures"}), "figures": figures})
    answer = tests.record_test(context, hand, place, told)
    return JSONResponse(dict(answer.body), status_code=answer.status)
