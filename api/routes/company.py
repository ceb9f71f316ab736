"""Postponements and non-conformities."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse

from api import bodies
from api.deps import AskingDep, HouseDep, hand_of
from api.pen import PEN
from scheduler.actions import feed, fleet, jobs, nonconforming, postponing
from scheduler.actions import reliability as figures
from scheduler.domain.postponing import Asked

router = APIRouter(prefix="/api/v1")


@router.post("/jobs/{key}/postponements", status_code=201, tags=["work"], summary="Ask for a postponement")
def ask(key: str, house: HouseDep, who: AskingDep, request: Request, body: bodies.PostponementBody) -> JSONResponse:
    """A later limit for the open turn of a job. Another person decides; the due point stays where it is."""
    place, occurrence = jobs.job_place(house, who.actor, key)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = postponing.ask(house, hand, place, occurrence, Asked(**body.model_dump()))
    return JSONResponse(dict(answer.body), status_code=answer.status)


@router.get("/vessels/{vessel_id}/postponements", tags=["work"], summary="A vessel's postponements")
def listed(vessel_id: str, house: HouseDep, who: AskingDep) -> dict[str, Any]:
    """Newest first, with who asked and who decided."""
    fleet.get_vessel(house, who.actor, vessel_id)
    return {"vessel": vessel_id, "postponements": postponing.listed(house, vessel_id)}


@router.post(
    "/vessels/{vessel_id}/postponements/{number}/decision", tags=["work"], summary="Grant or refuse a postponement"
)
def decide(
    vessel_id: str, number: int, house: HouseDep, who: AskingDep, request: Request, body: bodies.DecisionBody
) -> JSONResponse:
    """By another person than asked; a critical job by the office; a class item with the class's agreement."""
    fleet.get_vessel(house, who.actor, vessel_id)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = postponing.decide(
        house, hand, vessel_id, number, granted=body.granted, note=body.note, class_agreed=body.class_agreed
    )
    feed.renew(house, PEN(house.settings.shown_base_url()), vessel_id)
    return JSONResponse(dict(answer.body), status_code=answer.status)


@router.get("/vessels/{vessel_id}/non-conformities", tags=["work"], summary="A vessel's non-conformities")
def non_conformities(vessel_id: str, house: HouseDep, who: AskingDep) -> dict[str, Any]:
    """Newest first. One is opened for each job past its limit without a postponement that holds."""
    fleet.get_vessel(house, who.actor, vessel_id)
    return {"vessel": vessel_id, "non_conformities": nonconforming.listed(house, vessel_id)}


@router.post("/vessels/{vessel_id}/non-conformities/{number}/answer", tags=["work"], summary="Answer a non-conformity")
def answer(
    vessel_id: str, number: int, house: HouseDep, who: AskingDep, request: Request, body: bodies.CauseBody
) -> JSONResponse:
    """Its cause, and the corrective action."""
    fleet.get_vessel(house, who.actor, vessel_id)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    told = nonconforming.answer(
        house, hand, vessel_id, number, cause=body.cause, corrective_action=body.corrective_action
    )
    return JSONResponse(dict(told.body), status_code=told.status)


@router.post("/vessels/{vessel_id}/non-conformities/{number}/close", tags=["work"], summary="Close a non-conformity")
def close(vessel_id: str, number: int, house: HouseDep, who: AskingDep, request: Request) -> JSONResponse:
    """By the chief engineer or the office, not by the one who answered."""
    fleet.get_vessel(house, who.actor, vessel_id)
    told = nonconforming.close(house, hand_of(request, who, {}), vessel_id, number)
    return JSONResponse(dict(told.body), status_code=told.status)


@router.get("/vessels/{vessel_id}/reliability", tags=["history"], summary="Breakdowns and running hours of each pump")
def reliability(vessel_id: str, house: HouseDep, who: AskingDep) -> dict[str, Any]:
    """Mean time between breakdowns with 90 % bounds, the trend, and what the data do not carry, in words."""
    fleet.get_vessel(house, who.actor, vessel_id)
    return figures.report(house, vessel_id)
