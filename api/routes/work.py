"""Plans, jobs and the history."""

from collections.abc import Iterator
from datetime import datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import FileResponse, JSONResponse, StreamingResponse

from api.exports import SCHEMA, ExportFrame, csv_rows, export_summary, jsonl, pdf, summary_json, xlsx
from api.ics.writer import calendar_writer
from api.pages.work.sheet import job_sheet_json
from api.routes.shared import bodies, shapes
from api.server.deps import AskingDep, ContextDep, hand_of, version_in
from scheduler.actions.base.context import Context
from scheduler.actions.feed import refresh
from scheduler.actions.plan import explaining, outlook, planning
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.record import history
from scheduler.actions.vessel import fleet
from scheduler.actions.work import checking, jobs, steps
from scheduler.domain.record.choice import Choice
from scheduler.errors import NotFound, Refused
from scheduler.storage.vessel import AssetKind
from scheduler.version import VERSION

router = APIRouter(prefix="/api/v1")


@router.get("/plants/{plant_id}/plan", tags=["plan"], summary="The taken and the proposed plan")
def get_plan(plant_id: str, context: ContextDep, who: AskingDep) -> dict[str, Any]:
    """Each with slots, shortfalls in words, verdict, least margin and certificate; and what taking the proposal changes."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    now = plant_state(context, place.vessel_id, place.id)
    return {
        "plant": plant_id,
        "taken": planning.plan_as_json(now, now.taken),
        "proposed": planning.plan_as_json(now, now.proposed),
        "differences": [
            {"job": m.key, "from": shapes.z(m.from_at), "to": shapes.z(m.to_at)} for m in planning.slot_differences(now)
        ],
    }


@router.get("/plants/{plant_id}/plan/why/{key}", tags=["plan"], summary="Why a job stands where it stands")
def plan_why(plant_id: str, key: str, context: ContextDep, who: AskingDep) -> dict[str, Any]:
    """Reasons in words, what forbids its other starts, and for a late or unplaced job what would help, each tried by planning
    again, with its price."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    return explaining.why(context, place.vessel_id, place.id, key)


@router.get("/plants/{plant_id}/plan/outlook", tags=["plan"], summary="A plan far ahead")
def plan_outlook(
    plant_id: str,
    context: ContextDep,
    who: AskingDep,
    days: Annotated[int, Query(ge=2, le=outlook.OUTLOOK_DAYS)] = outlook.OUTLOOK_DAYS,
) -> dict[str, Any]:
    """Worked out now, which takes seconds, and not kept: what is beyond the published days is no more than an outlook. One at
    a time; while one is being worked out another is told to ask again (503)."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    now, held = outlook.outlook(context, place.vessel_id, place.id, days)
    return outlook.outlook_as_json(now, held, days, outlook.outlook_words(context, now))


@router.post("/plants/{plant_id}/plan/previews", status_code=201, tags=["plan"], summary="Plan anew")
def preview_outlook(plant_id: str, context: ContextDep, who: AskingDep) -> JSONResponse:
    """Works out a plan on what is known now and proposes it. Nothing is taken."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    planning.propose(context, place.vessel_id, place.id)
    return JSONResponse(get_plan(plant_id, context, who), status_code=201)


@router.post("/plants/{plant_id}/plan", tags=["plan"], summary="Take the proposed plan")
def take(plant_id: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.TakeBody) -> JSONResponse:
    """By the digest of the plan that was looked at; if another is proposed by now it is refused (412)."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    answer = planning.take(context, hand_of(request, who, body.model_dump(mode="json")), place, body.digest)
    refresh.renew(context, calendar_writer(context.settings.shown_base_url()), place.vessel_id)
    return JSONResponse(dict(answer.body), status_code=answer.status)


@router.get("/jobs/{key}", tags=["work"], summary="One job")
def get_job(key: str, context: ContextDep, who: AskingDep) -> dict[str, Any]:
    """An open or coming turn as in the due list, with what its sheet asks for and what else falls due on its isolation; a
    closed one as recorded."""
    place, job_id = jobs.job_place(context, who.actor, key)
    now = plant_state(context, place.vessel_id, place.plant_id)
    job = now.job(key)
    if job is not None:
        return {**shapes.due_json(now, job), **job_sheet_json(now, job)}
    closed = jobs.closed_job(context, place, job_id)
    if closed is None:
        raise NotFound(f"There is no job {key} in the plan's horizon. The due list shows those that are.")
    return closed


@router.post("/jobs/{key}/close", tags=["work"], summary="Close a job")
def close_job(key: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.CloseBody) -> JSONResponse:
    """A failed test is recorded and leaves the job open, its pump counting nothing. Without a test the pump is not proved.
    If-Match, where it is sent: the version of the work that was looked at; 412 with the newer steps when it has gone on."""
    place, job_id = jobs.job_place(context, who.actor, key)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    told = jobs.Close(**body.model_dump())
    answer = jobs.close_job(context, hand, place, job_id, told, if_match=version_in(request))
    refresh.renew(context, calendar_writer(context.settings.shown_base_url()), place.vessel_id)
    return JSONResponse(dict(answer.body), status_code=answer.status)


@router.post("/jobs/{key}/check", tags=["work"], summary="Sign a closed job as checked")
def check_job(key: str, context: ContextDep, who: AskingDep, request: Request) -> JSONResponse:
    """By the person who was asked, in the own sign-in or with the own key; never by who did it."""
    place, job_id = jobs.job_place(context, who.actor, key)
    answer = checking.check_job(context, hand_of(request, who, {"check": key}), place, job_id)
    return JSONResponse(dict(answer.body), status_code=answer.status)


@router.post("/jobs/{key}/close/strike", tags=["work"], summary="Strike a close entered by mistake")
def strike_close(
    key: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.StrikeBody
) -> JSONResponse:
    """Within ten minutes, by who recorded it, while nobody acted on it. The pump stands as returned, not proved: go and look."""
    place, job_id = jobs.job_place(context, who.actor, key)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = checking.strike_close(context, hand, place, job_id, body.reason)
    refresh.renew(context, calendar_writer(context.settings.shown_base_url()), place.vessel_id)
    return JSONResponse(dict(answer.body), status_code=answer.status)


@router.get("/jobs/{key}/work", tags=["work"], summary="How far the work on a job is")
def get_work(key: str, context: ContextDep, who: AskingDep) -> JSONResponse:
    """Permits, tags that hang, what the pump counts for, and every step as kept, with what stood against it. The ETag is
    the version of the work, for If-Match."""
    place, job_id = jobs.job_place(context, who.actor, key)
    told = steps.work_on(context, place, job_id)
    return JSONResponse({"job": key, **told}, headers={"ETag": f'"{told["version"]}"'})


@router.post("/jobs/{key}/steps", status_code=201, tags=["work"], summary="A step of the work on a job")
def take_step(
    key: str, context: ContextDep, who: AskingDep, request: Request, body: bodies.WorkStepBody
) -> JSONResponse:
    """Permit, tag, gas check, opened, note, tag off, returned, test, report. Asked, it is refused where a rule stands
    against it (409, with the times that hold where the minimum would break); told as a fact, it is kept and flagged.
    If-Match, where it is sent: the version of the work that was looked at; 412 with the newer steps when it has gone on."""
    place, job_id = jobs.job_place(context, who.actor, key)
    hand = hand_of(request, who, body.model_dump(mode="json"))
    answer = steps.take_step(context, hand, place, job_id, body.step, fact=body.fact, if_match=version_in(request))
    etag = f'"{answer.body["version"]}"'
    return JSONResponse(dict(answer.body), status_code=answer.status, headers={"ETag": etag})


@router.get("/history", tags=["history"], summary="The compliance history", response_class=StreamingResponse)
def get_history(
    context: ContextDep,
    who: AskingDep,
    vessel: Annotated[str, Query(description="vessel id")],
    from_at: Annotated[bodies.Instant | None, Query(alias="from", description="recorded at or after")] = None,
    to_at: Annotated[bodies.Instant | None, Query(alias="to", description="recorded before")] = None,
    due_from: Annotated[bodies.Instant | None, Query(description="closed jobs due at or after")] = None,
    due_to: Annotated[bodies.Instant | None, Query(description="closed jobs due before")] = None,
    done_from: Annotated[bodies.Instant | None, Query(description="closed jobs done at or after")] = None,
    done_to: Annotated[bodies.Instant | None, Query(description="closed jobs done before")] = None,
    pump: Annotated[str, Query(max_length=100, description="closed jobs of the pump with this serial number")] = "",
    kind: Annotated[str, Query(max_length=100, description="closed jobs of this kind, by name or code")] = "",
    as_of: Annotated[
        bodies.Instant | None, Query(description="what the export says as its instant (default: now)")
    ] = None,
    format: Literal["jsonl", "csv", "xlsx", "pdf", "summary"] = "jsonl",
) -> StreamingResponse:
    """JSON Lines that `leadline verify` checks offline (a period without gaps verifies too), CSV (RFC 4180), a workbook,
    paper, or a summary as JSON: counts by verdict, and what was done in its window by job kind. A choice narrower than a
    period of recording lists closed jobs only, says so, and cannot be verified."""
    who.actor.must_reach(vessel, f"vessel {vessel}")
    for first, last in ((from_at, to_at), (due_from, due_to), (done_from, done_to)):
        if first is not None and last is not None and last <= first:
            raise Refused("The period ends before it begins; give from and to as instants, to after from.")
    choice = Choice(
        from_at=from_at,
        to_at=to_at,
        due_from_at=due_from,
        due_to_at=due_to,
        done_from_at=done_from,
        done_to_at=done_to,
        pump=pump,
        kind=kind,
    )
    return StreamingResponse(
        export(context, vessel, who.actor.name, format, choice, as_of=as_of),
        media_type=_MEDIA[format],
        headers={
            "Content-Disposition": f'attachment; filename="{vessel}-history.{_ENDINGS.get(format, format)}"',
            "Cache-Control": "no-store",
        },
    )


_MEDIA = {
    "jsonl": "application/jsonl",
    "csv": "text/csv; charset=utf-8; header=present",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "pdf": "application/pdf",
    "summary": "application/json",
}
_ENDINGS = {"summary": "json"}


def export(
    context: Context,
    vessel_id: str,
    made_by: str,
    form: str,
    choice: Choice | None = None,
    *,
    as_of: datetime | None = None,
) -> Iterator[str | bytes]:
    """The history in a form, in pieces; raises NotFound before the first piece when there is no such vessel."""
    told = history.records_of(context, vessel_id, choice)
    if form == "csv":
        return csv_rows(told)
    narrowed = told.choice.words()
    if narrowed is None and form == "jsonl" and export_summary(told).gaps:
        narrowed = "period of recording, during which the clock was set back"
    frame = ExportFrame(
        vessel=told.vessel_name,
        made_by=made_by,
        as_of=as_of or context.now(),
        version=VERSION,
        from_at=told.choice.from_at,
        to_at=told.choice.to_at,
        filter=narrowed,
    )
    if form == "jsonl":
        return jsonl(told, frame)
    beside = history.beside_records(context, told)
    if form == "summary":
        return summary_json(told, frame, beside)
    return xlsx(told, frame, beside) if form == "xlsx" else iter([pdf(told, frame, beside)])


@router.get("/history/schema", tags=["history"], summary="What a line of the JSON Lines export looks like")
def history_schema() -> FileResponse:
    """JSON Schema 2020-12 of the header and of a record."""
    return FileResponse(SCHEMA, media_type="application/schema+json")
