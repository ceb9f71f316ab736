"""Plans, jobs and the history."""

from collections.abc import Iterator
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import JSONResponse, StreamingResponse

from api import bodies, shapes
from api.deps import AskingDep, HouseDep, hand_of
from api.exports import ExportFrame, csv_rows, jsonl
from api.pen import PEN
from scheduler.actions import feed, fleet, history, jobs, planning, work
from scheduler.actions.house import House
from scheduler.actions.situation import situation
from scheduler.errors import NotFound, Refused
from scheduler.storage.tables import AssetKind
from scheduler.version import VERSION

router = APIRouter(prefix="/api/v1")


@router.get("/plants/{plant_id}/plan", tags=["plan"], summary="The taken and the proposed plan")
def get_plan(plant_id: str, house: HouseDep, who: AskingDep) -> dict[str, Any]:
    """Each with slots, shortfalls in words, verdict, least margin and certificate; and what taking the proposal changes."""
    place = fleet.locate(house, who.actor, plant_id, AssetKind.PLANT)
    now = situation(house, place.vessel_id, place.id)
    by_key = {job.occurrence.key: job for job in now.jobs}
    return {
        "plant": plant_id,
        "taken": planning.plan_as_json(now.taken, by_key),
        "proposed": planning.plan_as_json(now.proposed, by_key),
        "differences": [
            {"job": m.key, "from": shapes.z(m.from_at), "to": shapes.z(m.to_at)} for m in planning.differences(now)
        ],
    }


@router.post("/plants/{plant_id}/plan/previews", status_code=201, tags=["plan"], summary="Plan anew")
def preview(plant_id: str, house: HouseDep, who: AskingDep) -> JSONResponse:
    """Works out a plan on what is known now and proposes it. Nothing is taken."""
    place = fleet.locate(house, who.actor, plant_id, AssetKind.PLANT)
    planning.propose(house, place.vessel_id, place.id)
    return JSONResponse(get_plan(plant_id, house, who), status_code=201)


@router.post("/plants/{plant_id}/plan", tags=["plan"], summary="Take the proposed plan")
def take(plant_id: str, house: HouseDep, who: AskingDep, request: Request, body: bodies.TakeBody) -> JSONResponse:
    """By the digest of the plan that was looked at; if another is proposed by now it is refused (412)."""
    place = fleet.locate(house, who.actor, plant_id, AssetKind.PLANT)
    answer = planning.take(house, hand_of(request, who, body.model_dump(mode="json")), place, body.digest)
    feed.renew(house, PEN(house.settings.shown_base_url()), place.vessel_id)
    return JSONResponse(dict(answer.body), status_code=answer.status)


@router.get("/jobs/{key}", tags=["work"], summary="One job")
def get_job(key: str, house: HouseDep, who: AskingDep) -> dict[str, Any]:
    """An open or coming turn as in the due list; a closed one as recorded."""
    place, occurrence = jobs.job_place(house, who.actor, key)
    now = situation(house, place.vessel_id, place.plant_id)
    job = now.job(key)
    if job is not None:
        return shapes.due_json(now, job)
    closed = jobs.closed_job(house, place, occurrence)
    if closed is None:
        raise NotFound(f"There is no job {key} in the plan's horizon. The due list shows those that are.")
    return closed


@router.post("/jobs/{key}/close", tags=["work"], summary="Close a job")
def close_job(key: str, house: HouseDep, who: AskingDep, request: Request, body: bodies.CloseBody) -> JSONResponse:
    """A failed test is recorded and leaves the job open, its pump counting nothing. Without a test the pump is not proved."""
    place, occurrence = jobs.job_place(house, who.actor, key)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = jobs.close_job(house, hand, place, occurrence, jobs.Close(**body.model_dump()))
    feed.renew(house, PEN(house.settings.shown_base_url()), place.vessel_id)
    return JSONResponse(dict(answer.body), status_code=answer.status)


@router.get("/jobs/{key}/work", tags=["work"], summary="How far the work on a job is")
def get_work(key: str, house: HouseDep, who: AskingDep) -> dict[str, Any]:
    """Permits, tags that hang, what the pump counts for, and every step as kept, with what stood against it."""
    place, occurrence = jobs.job_place(house, who.actor, key)
    return {"job": key, **work.work_on(house, place, occurrence)}


@router.post("/jobs/{key}/steps", status_code=201, tags=["work"], summary="A step of the work on a job")
def take_step(key: str, house: HouseDep, who: AskingDep, request: Request, body: bodies.WorkStepBody) -> JSONResponse:
    """Permit, tag, gas check, opened, note, tag off, returned, test, report. Asked, it is refused where a rule stands
    against it (409, with the times that hold where the minimum would break); told as a fact, it is kept and flagged."""
    place, occurrence = jobs.job_place(house, who.actor, key)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = work.take_step(house, hand, place, occurrence, body.step, fact=body.fact)
    return JSONResponse(dict(answer.body), status_code=answer.status)


@router.get("/history", tags=["history"], summary="The compliance history", response_class=StreamingResponse)
def get_history(
    house: HouseDep,
    who: AskingDep,
    vessel: Annotated[str, Query(description="vessel id")],
    from_at: Annotated[bodies.Instant | None, Query(alias="from")] = None,
    to_at: Annotated[bodies.Instant | None, Query(alias="to")] = None,
    format: Literal["jsonl", "csv"] = "jsonl",
) -> StreamingResponse:
    """JSON Lines that `leadline verify` checks offline, or CSV (RFC 4180). A period without gaps verifies too."""
    who.actor.must_reach(vessel, f"vessel {vessel}")
    if from_at is not None and to_at is not None and to_at <= from_at:
        raise Refused("The period ends before it begins; give from and to as instants, to after from.")
    kind = "text/csv; charset=utf-8; header=present" if format == "csv" else "application/jsonl"
    name = f"{vessel}-history.{format}"
    return StreamingResponse(
        export(house, vessel, who.actor.name, format, from_at=from_at, to_at=to_at),
        media_type=kind,
        headers={"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"},
    )


def export(
    house: House, vessel_id: str, made_by: str, form: str, *, from_at: Any = None, to_at: Any = None
) -> Iterator[str]:
    """The history's lines in a form; raises NotFound before the first line when there is no such vessel."""
    told = history.records_of(house, vessel_id, from_at=from_at, to_at=to_at)
    if form == "csv":
        return csv_rows(told.records)
    numbers = [record.number for record in told.records]
    whole = numbers == list(range(numbers[0], numbers[0] + len(numbers))) if numbers else True
    frame = ExportFrame(
        vessel=told.vessel_name,
        made_by=made_by,
        as_of=house.now(),
        version=VERSION,
        from_at=from_at,
        to_at=to_at,
        filter=None if whole else "period of recording, during which the clock was set back",
    )
    return jsonl(told.records, frame)
