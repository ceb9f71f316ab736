"""The compliance history by API, and what it tells about reliability."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from itertools import chain
from typing import Annotated, Any, Literal, cast

from fastapi import APIRouter, Query
from fastapi.responses import FileResponse, Response, StreamingResponse

from api.exports import (
    SCHEMA,
    ExportFrame,
    Papers,
    csv_rows,
    export_summary,
    fleet_jsonl,
    jsonl,
    pdf,
    summary_json,
    xlsx,
)
from api.exports.job_paper import job_pdf
from api.exports.month_report import month_pdf
from api.routes.answers.record import ReliabilityAnswer
from api.routes.shared.bodies import Instant
from api.routes.shared.problems import JsonRoute, problems
from api.server.deps import AskingDep, ContextDep
from api.typesetting import PaperSize
from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.record import history
from scheduler.actions.record import reliability as figures
from scheduler.actions.record.job_file import job_file
from scheduler.actions.record.month import month_facts
from scheduler.actions.record.period import period_of
from scheduler.actions.vessel import fleet
from scheduler.actions.work.jobs import job_place
from scheduler.actions.work.photos import job_photos
from scheduler.domain.record.choice import Choice
from scheduler.domain.record.period import period_facts
from scheduler.errors import Refused
from scheduler.version import VERSION
from scheduler.wording.figures import clock
from scheduler.wording.papers import day_at

router = APIRouter(route_class=JsonRoute)


_MEDIA = {
    "jsonl": "application/jsonl",
    "csv": "text/csv; charset=utf-8; header=present",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "pdf": "application/pdf",
    "summary": "application/json",
}


_ENDINGS = {"summary": "json"}
FORMS: dict[str, Any] = {_MEDIA[form]: {"schema": {"type": "string"}} for form in ("jsonl", "csv", "xlsx", "pdf")} | {
    _MEDIA["summary"]: {"schema": {"$ref": "#/components/schemas/HistorySummaryAnswer"}}
}


PAPER: dict[str, Any] = {"application/pdf": {"schema": {"type": "string"}}}
PaperSizeAsked = Annotated[PaperSize, Query(description="size of the pages")]


@router.get(
    "/api/v1/history",
    tags=["history"],
    summary="The compliance history",
    response_class=StreamingResponse,
    responses={200: {"content": FORMS}, **problems(404)},
)
def get_history(
    context: ContextDep,
    who: AskingDep,
    vessel: Annotated[str, Query(description="vessel id")],
    from_at: Annotated[Instant | None, Query(alias="from", description="recorded at or after")] = None,
    to_at: Annotated[Instant | None, Query(alias="to", description="recorded before")] = None,
    due_from: Annotated[Instant | None, Query(description="closed jobs due at or after")] = None,
    due_to: Annotated[Instant | None, Query(description="closed jobs due before")] = None,
    done_from: Annotated[Instant | None, Query(description="closed jobs done at or after")] = None,
    done_to: Annotated[Instant | None, Query(description="closed jobs done before")] = None,
    pump: Annotated[str, Query(max_length=100, description="closed jobs of the pump with this serial number")] = "",
    kind: Annotated[str, Query(max_length=100, description="closed jobs of this kind, by name or code")] = "",
    as_of: Annotated[Instant | None, Query(description="what the export says as its instant (default: now)")] = None,
    paper: Annotated[Literal["a4", "us-letter"], Query(description="size of a PDF's pages")] = "a4",
    photos: Annotated[bool, Query(description="a PDF with the photos of its jobs, made small")] = False,
    format: Literal["jsonl", "csv", "xlsx", "pdf", "summary"] = "jsonl",
) -> StreamingResponse:
    """JSON Lines that `leadline verify` checks offline (a period without gaps verifies too), CSV (RFC 4180), a workbook,
    paper (PDF), or a summary as JSON: counts by verdict, and what was done in its window by job kind. A choice narrower than a
    period of recording lists closed jobs only, says so, and cannot be verified. An end still to come is cut at now, and said."""
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
        export(context, vessel, who.actor.name, format, choice, as_of=as_of, paper=paper, photos=photos),
        media_type=_MEDIA[format],
        headers={
            "Content-Disposition": f'attachment; filename="{vessel}-history.{_ENDINGS.get(format, format)}"',
            "Cache-Control": "no-store",
        },
    )


def export(
    context: Context,
    vessel_id: str,
    made_by: str,
    form: str,
    choice: Choice | None = None,
    *,
    as_of: datetime | None = None,
    paper: PaperSize = "a4",
    photos: bool = False,
) -> Iterator[str | bytes]:
    """The history in a form, in pieces; raises NotFound before the first piece when there is no such vessel. That it was taken out
    is on record, but for a summary, which has counts alone."""
    now, choice = context.now(), choice or Choice()
    if form != "summary":
        history.note_export(context, vessel_id, made_by, form, choice)
    asked_to = choice.to_at if choice.to_at is not None and choice.to_at > now else None
    told = history.records_of(context, vessel_id, choice if asked_to is None else replace(choice, to_at=None))
    if form == "csv":
        return csv_rows(told)
    narrowed = told.choice.words()
    gaps = export_summary(told).gaps if narrowed is None and form == "jsonl" else ()
    if gaps and told.choice == Choice():
        raise Refused(
            f"Records {', '.join(gaps)} are missing or changed, so there is no whole history to export. The other forms list what "
            "is there and say so. Compare with a backup and with stamps on paper."
        )
    if gaps:
        narrowed = "period of recording, during which the clock was set back"
    frame = ExportFrame(
        vessel=told.vessel_name,
        made_by=made_by,
        as_of=min(as_of or now, history.known_until(context, vessel_id)),
        version=VERSION,
        from_at=told.choice.from_at,
        to_at=told.choice.to_at,
        asked_to=asked_to,
        filter=narrowed,
    )
    if form == "jsonl":
        return jsonl(told, frame)
    beside = history.export_extras(context, told)
    if form == "summary":
        return summary_json(told, frame, beside)
    given = _papers(context, told, frame, beside)
    if form == "xlsx":
        return xlsx(told, given)
    shown = job_photos(context, vessel_id, given.facts.photos) if photos else ()
    return _begun(pdf(given, size=paper, photos=shown))


def export_fleet(context: Context, vessels: Sequence[str], actor: Actor, choice: Choice | None = None) -> Iterator[str]:
    """The histories of vessels by id (none: of all that the actor reaches) as one file, a vessel at a time; that each was taken out
    is on record. Raises NotFound before the first piece for one that is not there, or is not the actor's."""
    found = history.named_vessels(context, actor, vessels)

    def lines(vessel_id: str) -> Iterator[str]:
        return cast(Iterator[str], export(context, vessel_id, actor.name, "jsonl", choice))

    return fleet_jsonl(found, lines, made_by=actor.name, at=context.now())


def _papers(context: Context, told: history.ChosenRecords, frame: ExportFrame, beside: history.ExportExtras) -> Papers:
    """What paper and workbook are made from. Raises TooLarge: more closed jobs than they are for."""
    choice = told.choice
    whole = Choice(
        from_at=choice.from_at or choice.done_from_at or choice.due_from_at,
        to_at=choice.to_at or choice.done_to_at or choice.due_to_at,
    )
    narrow = choice.narrowed
    facts = period_facts(told, history.records_of(context, told.vessel_id, whole) if narrow else None)
    period = period_of(context, told, facts.earliest_at)
    return Papers(frame=frame, found=export_summary(told), facts=facts, extras=beside, period=period)


def _begun(pieces: Iterator[bytes]) -> Iterator[bytes]:
    """The pieces, the first of them made: what cannot be made is refused before an answer begins."""
    return chain([next(pieces)], pieces)


@router.get(
    "/api/v1/fleet/history",
    tags=["history"],
    summary="The compliance histories of many vessels in one file",
    response_class=StreamingResponse,
    responses={200: {"content": {_MEDIA["jsonl"]: {"schema": {"type": "string"}}}}, **problems(404)},
)
def get_fleet_history(
    context: ContextDep,
    who: AskingDep,
    vessel: Annotated[list[str] | None, Query(description="vessel ids (default: all you reach)")] = None,
    from_at: Annotated[Instant | None, Query(alias="from", description="recorded at or after")] = None,
    to_at: Annotated[Instant | None, Query(alias="to", description="recorded before")] = None,
) -> StreamingResponse:
    """JSON Lines: each vessel's history is a whole export of its own, and the last line lists all vessels with their heads and until
    when all is known of each. `leadline verify` checks every chain of the file."""
    if from_at is not None and to_at is not None and to_at <= from_at:
        raise Refused("The period ends before it begins; give from and to as instants, to after from.")
    return StreamingResponse(
        export_fleet(context, vessel or [], who.actor, Choice(from_at=from_at, to_at=to_at)),
        media_type=_MEDIA["jsonl"],
        headers={
            "Content-Disposition": 'attachment; filename="fleet-history.jsonl"',
            "Cache-Control": "no-store",
        },
    )


@router.get(
    "/api/v1/vessels/{vessel_id}/months/{month}",
    tags=["history"],
    summary="The month's report, on paper",
    response_class=Response,
    responses={200: {"content": PAPER}, **problems(404)},
)
def month_report(
    vessel_id: str, month: str, context: ContextDep, who: AskingDep, paper: PaperSizeAsked = "a4"
) -> Response:
    """One page (PDF): what was done and found, what falls due in the month after, what was postponed, hours beside the usual, open
    matters, who signed. month: as 2026-10, of the ship's calendar."""
    who.actor.must_reach(vessel_id, f"vessel {vessel_id}")
    made = month_pdf(month_facts(context, vessel_id, month), who.actor.name, size=paper)
    return _file(made, f"{vessel_id}-{month}.pdf")


@router.get(
    "/api/v1/jobs/{key}/paper",
    tags=["history"],
    summary="A closed job, on paper",
    response_class=Response,
    responses={200: {"content": PAPER}, **problems(404)},
)
def job_paper(key: str, context: ContextDep, who: AskingDep, paper: PaperSizeAsked = "a4") -> Response:
    """Its acts, locks, gas readings, measures, photos, verdict and record stamp as one page (PDF), as it would lie in a file."""
    place, job_id = job_place(context, who.actor, key)
    found = job_file(context, place, job_id)
    now_at = context.now()
    made = f"Made {day_at(now_at, found.offset)} {clock(now_at, found.offset)} by {who.actor.name}, Leadline {VERSION}"
    return _file(job_pdf(found, made, size=paper), f"{key.replace(':', '-')}.pdf")


def _file(content: bytes, name: str) -> Response:
    safe = "".join(one if one.isascii() and (one.isalnum() or one in "-._") else "-" for one in name)
    headers = {"Content-Disposition": f'attachment; filename="{safe}"', "Cache-Control": "no-store"}
    return Response(content, media_type="application/pdf", headers=headers)


@router.get(
    "/api/v1/history/schema",
    tags=["history"],
    summary="What a line of the JSON Lines export looks like",
    response_class=FileResponse,
    responses={200: {"content": {"application/schema+json": {"schema": {"type": "object"}}}}},
)
def history_schema() -> FileResponse:
    """JSON Schema 2020-12 of the header and of a record."""
    return FileResponse(SCHEMA, media_type="application/schema+json")


@router.get(
    "/api/v1/vessels/{vessel_id}/reliability", tags=["history"], summary="Breakdowns and running hours of each pump"
)
def reliability(vessel_id: str, context: ContextDep, who: AskingDep) -> ReliabilityAnswer:
    """Mean time between breakdowns with 90 % bounds, the trend, and what the data do not carry, in words."""
    fleet.get_vessel(context, who.actor, vessel_id)
    return ReliabilityAnswer.model_validate(figures.report(context, vessel_id))
