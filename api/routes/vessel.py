"""Vessels, plants and pumps by API: documents, the ship's clock, how things stand."""

from operator import attrgetter
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response
from fastapi import Body as JsonBody
from pydantic import ValidationError

from api.routes.answers import vessel as answers
from api.routes.shared.bodies import Body, Instant, Reason, said
from api.routes.shared.calls import HandCallDep
from api.routes.shared.describing import Conditions
from api.routes.shared.paging import NamedPagesDep, NumberedPagesDep
from api.routes.shared.problems import JsonRoute
from api.server.deps import AskingDep, ContextDep, Number, plant_now, version_in
from api.server.errors import refused_from
from scheduler.actions.care import doctor
from scheduler.actions.vessel import changes, fleet
from scheduler.actions.vessel.document import VESSEL
from scheduler.domain.vessel.document import Vessel
from scheduler.errors import Refused
from scheduler.storage.vessel import AssetKind

router = APIRouter(route_class=JsonRoute)


class ClockBody(Body):
    """The ship's clock changes at an instant; minutes ahead of UTC from then on."""

    from_at: Instant
    utc_offset_minutes: Annotated[int, said(minimum=-720, maximum=840)]
    reason: Reason


@router.get("/api/v1/vessels", tags=["fleet"], summary="The vessels this key reaches")
def list_vessels(context: ContextDep, who: AskingDep, pages: NamedPagesDep) -> answers.VesselsAnswer:
    """Id, name, version and plants of each."""
    after = str(pages.cursor or "")
    found = pages.shown(
        fleet.list_vessels(context, who.actor, after=after, limit=pages.limit + 1), lambda one: one[0].id
    )
    return answers.VesselsAnswer(vessels=[answers.VesselShown.of(*one) for one in found])


@router.get("/api/v1/vessels/{vessel_id}", tags=["fleet"], summary="A vessel's document", response_model=Vessel)
def get_vessel(vessel_id: str, context: ContextDep, who: AskingDep) -> Response:
    """The whole document, with its version as ETag."""
    vessel, version = fleet.get_vessel(context, who.actor, vessel_id)
    headers = {"ETag": f'"{version}"'}
    return Response(VESSEL.dump_json(vessel), media_type="application/json", headers=headers)


@router.put(
    "/api/v1/vessels/{vessel_id}",
    tags=["fleet"],
    summary="Store a vessel's whole document",
    openapi_extra={
        "requestBody": {"content": {"application/json": {"schema": {"$ref": "#/components/schemas/Vessel"}}}}
    },
    responses={201: {"model": answers.VesselStoredAnswer, "description": "A new vessel."}},
)
def put_vessel(
    vessel_id: str,
    context: ContextDep,
    who: AskingDep,
    request: Annotated[Request, Conditions(key="none", if_match="optional")],
    response: Response,
    document: Annotated[dict[str, Any], JsonBody()],
    reason: Annotated[
        str, Query(max_length=1000, description="why an interval, window, tolerance or minimum changes")
    ] = "",
    class_agreed: Annotated[
        str,
        Query(max_length=1000, description="the class's agreement to a change of a class item: who, when, reference"),
    ] = "",
    approved_by: Annotated[
        str,
        Query(max_length=200, deprecated=True, description="to be left out: who approves does it with the own key"),
    ] = "",
) -> answers.VesselStoredAnswer:
    """If-None-Match: * for a new vessel, If-Match with the version to replace one. Every fault is listed at once. A change
    of an interval, window, tolerance or the minimum, and of what the ship had, asks for its reason, one of a class item for
    the class's agreement. A change of an interval, window, tolerance or minimum is kept, and flagged until
    another person ashore approves it."""
    if approved_by.strip():
        says = "nobody approves for another: that person of the office does, in the own sign-in or with the own key."
        raise Refused(f"approved_by: {says}", faults=[("/approved_by", says)])
    try:
        vessel = VESSEL.validate_python(document)
    except ValidationError as error:
        raise refused_from(error) from error
    if vessel.id != vessel_id:
        raise Refused(f"The document is of {vessel.id!r}, the address says {vessel_id!r}. Send it to its own address.")
    if_new = request.headers.get("if-none-match", "").strip() == "*"
    version, new = changes.put_vessel(
        context,
        who.actor,
        vessel,
        if_match=version_in(request),
        if_new=if_new,
        reason=reason,
        class_agreed=class_agreed,
    )
    response.status_code = 201 if new else 200
    response.headers["ETag"] = f'"{version}"'
    return answers.VesselStoredAnswer(vessel=vessel.id, version=version)


@router.get("/api/v1/vessels/{vessel_id}/versions", tags=["fleet"], summary="Versions of a vessel's document")
def versions_of(vessel_id: str, context: ContextDep, who: AskingDep, pages: NumberedPagesDep) -> answers.VersionsAnswer:
    """Every version stored, newest first: when, by whom, why, approved by whom ashore, and the record that tells what differs."""
    rows = fleet.versions_of(context, who.actor, vessel_id, pages.asked)
    found = pages.shown(rows, attrgetter("version"))
    return answers.VersionsAnswer(vessel=vessel_id, versions=[answers.DocumentVersion.of(one) for one in found])


@router.get(
    "/api/v1/vessels/{vessel_id}/versions/{number}",
    tags=["fleet"],
    summary="A version of a vessel's document",
    response_model=Vessel,
)
def version_of(vessel_id: str, number: Number, context: ContextDep, who: AskingDep) -> Response:
    """As it was stored."""
    return Response(fleet.version_of(context, who.actor, vessel_id, number), media_type="application/json")


@router.post(
    "/api/v1/vessels/{vessel_id}/versions/{number}/approval",
    tags=["fleet"],
    summary="Approve the changes of a version",
)
def approve_version(vessel_id: str, number: Number, call: HandCallDep) -> answers.VersionApprovedAnswer:
    """Changes of intervals, windows, tolerances and the minimum: ashore, by another person than stored them."""
    return call.answered(
        answers.VersionApprovedAnswer, changes.approve_version(call.context, call.hand({}), vessel_id, number)
    )


@router.post(
    "/api/v1/vessels/{vessel_id}/clock", status_code=201, tags=["fleet"], summary="Record a change of ship time"
)
def change_clock(vessel_id: str, call: HandCallDep, body: ClockBody) -> answers.ClockChangeAnswer:
    """All-day dates stay; planned instants stay; their wall time is shown anew."""
    answer = fleet.change_clock(
        call.context,
        call.hand(body),
        vessel_id,
        from_at=body.from_at,
        minutes=body.utc_offset_minutes,
        reason=body.reason,
    )
    return call.answered(answers.ClockChangeAnswer, answer)


@router.get("/api/v1/plants/{plant_id}", tags=["plant"], summary="A plant as it stands")
def get_plant(plant_id: str, context: ContextDep, who: AskingDep) -> answers.PlantAnswer:
    """Pumps with running hours, capacity and state; counters with their flags."""
    return answers.PlantAnswer.of(plant_now(context, who, AssetKind.PLANT, plant_id))


@router.get("/api/v1/pumps/{pump_id}", tags=["plant"], summary="A pump as it stands")
def get_pump(pump_id: str, context: ContextDep, who: AskingDep) -> answers.PumpAnswer:
    """Its hours, parts, state, and the open jobs on it."""
    return answers.PumpAnswer.of(plant_now(context, who, AssetKind.PUMP, pump_id), pump_id)


@router.get("/api/v1/vessels/{vessel_id}/looks", tags=["fleet"], summary="What is wrong or odd on a vessel")
def diagnosis(vessel_id: str, context: ContextDep, who: AskingDep) -> answers.DiagnosisAnswer:
    """What, which, since when, what to do; the same lines as on the counters page and by `leadline doctor`."""
    fleet.get_vessel(context, who.actor, vessel_id)
    found = doctor.diagnosis_in_order(doctor.vessel_diagnosis(context, vessel_id))
    return answers.DiagnosisAnswer(looks=[answers.DiagnosisShown.of(one) for one in found])
