"""Postponements, non-conformities, lower minima agreed, and when parts come."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse

from api.ics.writer import calendar_writer
from api.routes.shared import bodies
from api.server.deps import AskingDep, ContextDep, Number, hand_of
from scheduler.actions.capacity import concessions as capacity_concessions
from scheduler.actions.due import first_dates, part_dates, postponing
from scheduler.actions.feed import refresh
from scheduler.actions.record import reliability as figures
from scheduler.actions.vessel import fleet
from scheduler.actions.work import jobs, nonconformities
from scheduler.domain.capacity.concessions import Lower
from scheduler.domain.capacity.minimum import Swept
from scheduler.domain.due.postponing import Asked
from scheduler.storage.vessel import AssetKind

router = APIRouter(prefix="/api/v1")


@router.post("/jobs/{key}/postponements", status_code=201, tags=["work"], summary="Ask for a postponement")
def ask(key: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.PostponementBody) -> JSONResponse:
    """A later limit for the open turn of a job. Another person decides; the due point stays where it is."""
    place, job_id = jobs.job_place(context, who.actor, key)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = postponing.ask_postponement(context, hand, place, job_id, Asked(**body.model_dump()))
    return JSONResponse(dict(answer.body), status_code=answer.status)


@router.get("/vessels/{vessel_id}/postponements", tags=["work"], summary="A vessel's postponements")
def postponements(vessel_id: str, context: ContextDep, who: AskingDep) -> dict[str, Any]:
    """Newest first, with who asked and who decided."""
    fleet.get_vessel(context, who.actor, vessel_id)
    return {"vessel": vessel_id, "postponements": postponing.postponements_listed(context, vessel_id)}


@router.post(
    "/vessels/{vessel_id}/postponements/{number}/decision", tags=["work"], summary="Grant or refuse a postponement"
)
def decide(
    vessel_id: str, number: Number, context: ContextDep, who: AskingDep, request: Request, body: bodies.DecisionBody
) -> JSONResponse:
    """By another person than asked; a critical job by the office; a class item with the class's agreement. With the link down the
    master decides, told by somebody else than who asked; both are on record."""
    fleet.get_vessel(context, who.actor, vessel_id)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = postponing.decide_postponement(
        context,
        hand,
        vessel_id,
        number,
        granted=body.granted,
        note=body.note,
        class_agreed=body.class_agreed,
        master=body.master,
    )
    refresh.renew(context, calendar_writer(context.settings.shown_base_url()), vessel_id)
    return JSONResponse(dict(answer.body), status_code=answer.status)


@router.get("/vessels/{vessel_id}/non-conformities", tags=["work"], summary="A vessel's non-conformities")
def non_conformities(vessel_id: str, context: ContextDep, who: AskingDep) -> dict[str, Any]:
    """Newest first. One is opened for each job past its limit without a postponement that holds."""
    fleet.get_vessel(context, who.actor, vessel_id)
    return {"vessel": vessel_id, "non_conformities": nonconformities.nonconformities_listed(context, vessel_id)}


@router.post("/vessels/{vessel_id}/non-conformities/{number}/answer", tags=["work"], summary="Answer a non-conformity")
def answer(
    vessel_id: str, number: Number, context: ContextDep, who: AskingDep, request: Request, body: bodies.CauseBody
) -> JSONResponse:
    """Its cause, and the corrective action."""
    fleet.get_vessel(context, who.actor, vessel_id)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    told = nonconformities.answer_nonconformity(
        context, hand, vessel_id, number, cause=body.cause, corrective_action=body.corrective_action
    )
    return JSONResponse(dict(told.body), status_code=told.status)


@router.post("/vessels/{vessel_id}/non-conformities/{number}/close", tags=["work"], summary="Close a non-conformity")
def close(vessel_id: str, number: Number, context: ContextDep, who: AskingDep, request: Request) -> JSONResponse:
    """By the chief engineer or the office, not by the one who answered."""
    fleet.get_vessel(context, who.actor, vessel_id)
    told = nonconformities.close_nonconformity(context, hand_of(request, who, {}), vessel_id, number)
    return JSONResponse(dict(told.body), status_code=told.status)


@router.get("/vessels/{vessel_id}/reliability", tags=["history"], summary="Breakdowns and running hours of each pump")
def reliability(vessel_id: str, context: ContextDep, who: AskingDep) -> dict[str, Any]:
    """Mean time between breakdowns with 90 % bounds, the trend, and what the data do not carry, in words."""
    fleet.get_vessel(context, who.actor, vessel_id)
    return figures.report(context, vessel_id)


@router.get("/plants/{plant_id}/concessions", tags=["plant"], summary="Lower minima asked for and agreed")
def concessions(plant_id: str, context: ContextDep, who: AskingDep) -> dict[str, Any]:
    """Newest first, with who asked, who signed and who withdrew."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    return {"plant": plant_id, "concessions": capacity_concessions.concessions_listed(context, place)}


@router.post("/plants/{plant_id}/concessions", status_code=201, tags=["plant"], summary="Ask for a lower minimum")
def concession(
    plant_id: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.ConcessionBody
) -> JSONResponse:
    """For a stretch of time. It counts once chief engineer and hotel have both signed."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    asked = Lower(
        from_at=body.from_at, to_at=body.to_at, minimum=Swept(body.minimum_swept_m3_per_h), reason=body.reason
    )
    told = capacity_concessions.ask_concession(context, hand, place, asked)
    return JSONResponse(dict(told.body), status_code=told.status)


@router.post("/plants/{plant_id}/concessions/{number}/signature", tags=["plant"], summary="Sign a lower minimum")
def sign_concession(
    plant_id: str,
    number: Number,
    context: ContextDep,
    who: AskingDep,
    request: Request,
    body: bodies.ConcessionSignatureBody,
) -> JSONResponse:
    """As chief, by the chief engineer or the office; as hotel, with the name of who signs. Two people."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    told = capacity_concessions.sign_concession(
        context, hand, place, number, as_=body.as_, name=body.name, master=body.master
    )
    return JSONResponse(dict(told.body), status_code=told.status)


@router.post("/plants/{plant_id}/concessions/{number}/withdrawal", tags=["plant"], summary="Withdraw a lower minimum")
def withdraw_concession(
    plant_id: str, number: Number, context: ContextDep, who: AskingDep, request: Request
) -> JSONResponse:
    """From then on the plant's own minimum holds."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    told = capacity_concessions.withdraw_concession(context, hand_of(request, who, {}), place, number)
    return JSONResponse(dict(told.body), status_code=told.status)


@router.put(
    "/jobs/{key}/first-date", tags=["work"], summary="Set the first date of a job nobody knows the last time of"
)
def first_date(
    key: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.FirstDateBody
) -> JSONResponse:
    """By the chief engineer or the office, with a reason, on record. It may be brought forward later; putting it off is a
    postponement."""
    place, job_id = jobs.job_place(context, who.actor, key)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    told = first_dates.set_first(
        context, hand, place, job_id, on=body.on, reason=body.reason, class_agreed=body.class_agreed
    )
    refresh.renew(context, calendar_writer(context.settings.shown_base_url()), place.vessel_id)
    return JSONResponse(dict(told.body), status_code=told.status)


@router.put("/jobs/{key}/part-date", tags=["work"], summary="Say when a job's parts come")
def part_date(
    key: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.PartDateBody
) -> JSONResponse:
    """A ship's date; the plan puts the job no earlier. With null the date is taken back."""
    place, job_id = jobs.job_place(context, who.actor, key)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    told = part_dates.set_date(context, hand, place, job_id, from_on=body.from_on, note=body.note)
    return JSONResponse(dict(told.body), status_code=told.status)
