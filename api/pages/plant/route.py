"""The pages: thin. A view is built from the situation, a form becomes the same action as the API's."""

import secrets
from collections.abc import Mapping
from dataclasses import replace
from hashlib import sha256
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from pydantic import ValidationError
from starlette.concurrency import run_in_threadpool

from api.ics.writer import calendar_writer
from api.pages.shared import build, layout
from api.pages.shared.view import CloseForm, EmptyView, FleetView, Frame, Link
from api.pages.voyage.page import voyage_day
from api.pages.work.first_date_view import FirstDateView
from api.pages.work.forms import StepTyped, read_step
from api.pages.work.part_view import PartView, day_typed, typed_date
from api.pages.work.postpone_view import PostponeView
from api.pages.work.sheet import open_sheet
from api.routes.shared import bodies
from api.server.deps import Asking, AskingDep, ContextDep, must_be_own_form, reached_at
from api.server.errors import STATUS, refused_from
from api.server.page_answers import light_of, page
from scheduler.actions.base.context import Context, Hand
from scheduler.actions.care import doctor
from scheduler.actions.due import first_dates, part_dates, postponing
from scheduler.actions.feed import refresh
from scheduler.actions.plant_state.load import PlantState, plant_state
from scheduler.actions.record import history
from scheduler.actions.vessel import fleet
from scheduler.actions.work import breakdown, checking, jobs, photos, steps
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.postponing import Asked
from scheduler.domain.vessel.document import BREAKDOWN
from scheduler.errors import Clash, NotAllowed, NotFound, Refused, Stale
from scheduler.parsing import ship_instant
from scheduler.storage.vessel import AssetKind

router = APIRouter(include_in_schema=False)
_FIELDS = (
    "done_at",
    "done_by",
    "checked_by",
    "company",
    "answers_for",
    "from_paper",
    "running_hours",
    "test",
    "findings",
    "permit_no",
    "reason",
)


def _stands(context: Context, vessel_id: str, plant_id: str) -> PlantState:
    return plant_state(context, vessel_id, plant_id)


@router.get("/")
def home(request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The plant, for someone with one; else the fleet."""
    vessels = fleet.list_vessels(context, who.actor)
    frame = Frame(title="Leadline", here="/", person=who.actor.name, sign_out_action="/sign-out")
    if not vessels:
        return page(layout.empty_page(EmptyView(frame=frame), light=light_of(request), csrf=who.csrf or ""))
    if len(vessels) == 1 and len(vessels[0][0].plants) == 1 and "all" not in request.query_params:
        return RedirectResponse(f"/plants/{vessels[0][0].plants[0].id}", 303)
    lines = []
    for vessel, _ in vessels:
        lines.append(build.vessel_line([_stands(context, vessel.id, plant.id) for plant in vessel.plants], context))
    view = FleetView(
        frame=Frame(
            title="Fleet · Leadline",
            here="/?all=1",
            links=(Link(label="Feed", href="/feeds"), Link(label="Fleet", href="/?all=1", current=True)),
            person=who.actor.name,
            sign_out_action="/sign-out",
        ),
        now_at=context.now(),
        vessels=tuple(lines),
    )
    return page(layout.fleet_page(view, light=light_of(request), csrf=who.csrf or ""))


@router.get("/plants/{plant_id}")
def plant(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The plant page."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    stands = _stands(context, place.vessel_id, place.id)
    view = build.plant_view(stands, context, who, request.url.path, place.id)
    looks = [one for one in doctor.vessel_diagnosis(context, place.vessel_id) if not one.note]
    notice = breakdown.out_words(context, stands, request.query_params.get("out", ""))
    view = replace(view, looks=len(looks), looks_href=f"/vessels/{place.vessel_id}/counters#looks", notice=notice)
    return page(layout.plant_page(view, light=light_of(request), csrf=who.csrf or ""))


@router.get("/plants/{plant_id}/figures")
def figures(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The plan in figures."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    view = build.plant_view(_stands(context, place.vessel_id, place.id), context, who, request.url.path, "figures")
    return page(layout.figures_page(view, light=light_of(request), csrf=who.csrf or ""))


@router.get("/vessels/{vessel_id}/jobs/{key}")
def job(vessel_id: str, key: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """One job: open with its close form, or closed as recorded."""
    return _job(request, context, who, vessel_id, key, None, 200)


def _job(
    request: Request,
    context: Context,
    who: Any,
    vessel_id: str,
    key: str,
    form: CloseForm | None,
    status: int,
    typed: StepTyped | None = None,
    asked: PostponeView | None = None,
    part: PartView | None = None,
    first: FirstDateView | None = None,
) -> Response:
    place, job_id = jobs.job_place(context, who.actor, key)
    if place.vessel_id != vessel_id:
        raise NotFound(f"There is no job {key} on {vessel_id}.")
    now = _stands(context, vessel_id, place.plant_id)
    here = f"/vessels/{vessel_id}/jobs/{quote(key, safe=':')}"
    kept = steps.stored_steps(context, place, job_id)
    open_job = now.job(key)
    shown = photos.photos_of(context, place, job_id)
    add = f"{here}/photos" if build.may(who, "POST", "/vessels/{vessel_id}/jobs/{key}/photos") else ""
    if open_job is not None:
        sheet = open_sheet(context, now, open_job, kept, f"{reached_at(request, context)}{here}")
        view = build.job_view(now, context, who, here, open_job, form, kept, typed, sheet)
        view = replace(view, postpone=_postpone(context, who, vessel_id, here, open_job, asked or PostponeView()))
        view = replace(view, part=_part(context, who, vessel_id, here, open_job, part or PartView()))
        view = replace(view, first_date=_first_date(context, who, here, now, open_job, first or FirstDateView()))
        view = replace(view, photos=tuple(shown), photo_action=add)
        return page(layout.job_page(view, light=light_of(request), csrf=who.csrf or ""), status)
    told = jobs.closed_job(context, place, job_id)
    done = None if told is None else build.done_job(now, told)
    if told is None or done is None:
        raise NotFound(f"There is no job {key} here now. The plant page shows those that are open.")
    number = told.get("record")
    record, stamp = history.record_export(context, vessel_id, number) if isinstance(number, int) else ({}, "")
    view = replace(build.closed_view(now, who, here, done, told, record, stamp, kept), form=form)
    view = replace(view, photos=tuple(shown), photo_action=add)
    return page(layout.job_page(view, light=light_of(request), csrf=who.csrf or ""), status)


@router.post("/vessels/{vessel_id}/jobs/{key}/close")
async def close(vessel_id: str, key: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Close a job from its page; what was typed is kept when it is refused."""
    form = await request.form()
    must_be_own_form(who, form.get("csrf"))
    typed = {name: str(form.get(name, "")).strip() for name in _FIELDS}

    def act() -> Response:
        try:
            told = _told(typed, str(form.get("utc_offset_minutes", "0")))
            place, job_id = jobs.job_place(context, who.actor, key)
            asked = {"route": f"POST /vessels/{vessel_id}/jobs/{key}/close", "body": typed}
            hand = Hand(who.actor, str(form.get("idempotency_key", "")), asked)
            jobs.close_job(context, hand, place, job_id, told, if_match=_version(form.get("version")))
            refresh.renew(context, calendar_writer(context.settings.shown_base_url()), place.vessel_id)
        except (Refused, Stale, Clash) as refused:
            again = CloseForm(
                action=f"/vessels/{vessel_id}/jobs/{quote(key, safe=':')}/close",
                version=str(form.get("version", "0")),
                idempotency_key=secrets.token_hex(16),
                values=typed,
                faults={pointer.lstrip("/"): says for pointer, says in refused.faults},
                says=refused.says if not refused.faults else "",
            )
            return _job(request, context, who, vessel_id, key, again, STATUS[type(refused)][0])
        return RedirectResponse(f"/vessels/{vessel_id}/jobs/{quote(key, safe=':')}", 303)

    return await run_in_threadpool(act)


@router.post("/vessels/{vessel_id}/jobs/{key}/check")
async def check(vessel_id: str, key: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Sign a closed job as checked, from its page."""
    form = await request.form()
    must_be_own_form(who, form.get("csrf"))

    def act() -> Response:
        place, job_id = jobs.job_place(context, who.actor, key)
        asked = {"route": f"POST /vessels/{vessel_id}/jobs/{key}/check"}
        checking.check_job(context, Hand(who.actor, str(form.get("idempotency_key", "")), asked), place, job_id)
        return RedirectResponse(f"/vessels/{vessel_id}/jobs/{quote(key, safe=':')}", 303)

    return await run_in_threadpool(act)


@router.post("/vessels/{vessel_id}/jobs/{key}/steps")
async def take_step(vessel_id: str, key: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """A step of the work from the job's page; what was typed is kept when it is refused."""
    form = await request.form()
    must_be_own_form(who, form.get("csrf"))
    kind = str(form.get("kind", ""))
    typed = {name: str(value).strip() for name, value in form.items()}
    offset = _minutes(typed.get("utc_offset_minutes", ""))
    if kind == "noted" and not typed.get("at"):
        typed["at"] = layout.typed_moment(context.now(), offset)

    def act() -> Response:
        try:
            told = read_step(kind, typed, offset, fact=bool(typed.get("fact")))
            place, job_id = jobs.job_place(context, who.actor, key)
            asked = {"route": f"POST /vessels/{vessel_id}/jobs/{key}/steps", "body": told.model_dump(mode="json")}
            hand = Hand(who.actor, _key_of(typed), asked)
            seen = _version(typed.get("version"))
            steps.take_step(context, hand, place, job_id, told.step, fact=told.fact, if_match=seen)
        except (Refused, Clash, NotAllowed, Stale) as refused:
            again = StepTyped(
                kind=kind,
                values=typed,
                faults={pointer.lstrip("/"): says for pointer, says in refused.faults},
                says=refused.says,
                may_be_fact=bool(refused.more.get("may_be_fact")),
            )
            return _job(request, context, who, vessel_id, key, None, STATUS[type(refused)][0], again)
        return RedirectResponse(f"/vessels/{vessel_id}/jobs/{quote(key, safe=':')}#h-work", 303)

    return await run_in_threadpool(act)


def _postpone(
    context: Context, who: Asking, vessel_id: str, here: str, job: DueJob, typed: PostponeView
) -> PostponeView:
    listed = postponing.postponements_listed(context, vessel_id, job.job_id.key)
    waits = any(one["state"] == "asked" for one in listed)
    open_now = job.first and job.job_id.kind != BREAKDOWN.code and not waits and job.limit_at is not None
    may_ask = open_now and build.may(who, "POST", "/vessels/{vessel_id}/jobs/{key}/postponements")
    return replace(
        typed,
        action=f"{here}/postponements" if may_ask else "",
        idempotency_key=secrets.token_hex(16),
        listed=listed,
        notes_href=f"/vessels/{vessel_id}/notes",
    )


@router.post("/vessels/{vessel_id}/jobs/{key}/postponements")
async def postpone(vessel_id: str, key: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Ask for a postponement from the job's page; what was typed is kept when it is refused."""
    form = await request.form()
    must_be_own_form(who, form.get("csrf"))
    typed = {name: str(value).strip() for name, value in form.items()}

    def act() -> Response:
        try:
            asked = Asked(
                to_at=ship_instant(
                    "to_at",
                    typed.get("to_at", ""),
                    typed.get("utc_offset_minutes", "0"),
                    fleet.offset_now(context, vessel_id),
                ),
                reason=typed.get("why", "")[:1000],
                risk=typed.get("risk", "")[:1000],
                mitigation=typed.get("mitigation", "")[:1000],
            )
            place, job_id = jobs.job_place(context, who.actor, key)
            told = {"route": f"POST /vessels/{vessel_id}/jobs/{key}/postponements", "body": typed.get("to_at", "")}
            postponing.ask_postponement(
                context, Hand(who.actor, typed.get("idempotency_key", ""), told), place, job_id, asked
            )
        except (Refused, Clash) as refused:
            faults = {pointer.lstrip("/").replace("reason", "why"): says for pointer, says in refused.faults}
            again = PostponeView(values=typed, faults=faults, says=refused.says)
            return _job(request, context, who, vessel_id, key, None, STATUS[type(refused)][0], asked=again)
        return RedirectResponse(f"/vessels/{vessel_id}/jobs/{quote(key, safe=':')}#h-postpone", 303)

    return await run_in_threadpool(act)


def _first_date(
    context: Context, who: Asking, here: str, now: PlantState, job: DueJob, typed: FirstDateView
) -> FirstDateView:
    if not first_dates.may_be_set(job):
        return FirstDateView()
    told = first_dates.told(context, now.vessel.id, job.job_id)
    may_set = build.may(who, "PUT", "/api/v1/jobs/{key}/first-date")
    return replace(
        typed,
        asked=True,
        action=f"{here}/first-date" if may_set else "",
        idempotency_key=secrets.token_hex(16),
        latest=voyage_day(first_dates.latest(now, job)),
        class_item=now.plant.kind(job.job_id.kind).class_item,
        told="" if told is None else f"First due {voyage_day(told.on)}: {told.reason}",
        by="" if told is None else told.by,
    )


@router.post("/vessels/{vessel_id}/jobs/{key}/first-date")
async def first_date(vessel_id: str, key: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Set the first date of a job from its page; what was typed is kept when it is refused."""
    form = await request.form()
    must_be_own_form(who, form.get("csrf"))
    typed = {name: str(value).strip() for name, value in form.items()}

    def act() -> Response:
        try:
            on = day_typed("on", typed.get("on", ""), "give the day on which it first falls due.")
            place, job_id = jobs.job_place(context, who.actor, key)
            reason, class_agreed = typed.get("reason", "")[:1000], typed.get("class_agreed", "")[:1000]
            asked = {
                "route": f"POST /vessels/{vessel_id}/jobs/{key}/first-date",
                "body": [str(on), reason, class_agreed],
            }
            hand = Hand(who.actor, typed.get("idempotency_key", ""), asked)
            first_dates.set_first(context, hand, place, job_id, on=on, reason=reason, class_agreed=class_agreed)
            refresh.renew(context, calendar_writer(context.settings.shown_base_url()), place.vessel_id)
        except (Refused, Clash) as refused:
            faults = {pointer.lstrip("/"): says for pointer, says in refused.faults}
            again = FirstDateView(values=typed, faults=faults, says="" if faults else refused.says)
            return _job(request, context, who, vessel_id, key, None, STATUS[type(refused)][0], first=again)
        return RedirectResponse(f"/vessels/{vessel_id}/jobs/{quote(key, safe=':')}#h-first-date", 303)

    return await run_in_threadpool(act)


def _part(context: Context, who: Asking, vessel_id: str, here: str, job: DueJob, typed: PartView) -> PartView:
    told = part_dates.date_of(context, vessel_id, job.job_id.key)
    open_now = job.first and job.job_id.kind != BREAKDOWN.code
    may_say = open_now and build.may(who, "POST", "/vessels/{vessel_id}/jobs/{key}/part-date")
    known = {} if told is None else {"from_on": told.from_on.isoformat(), "note": told.note}
    return replace(
        typed,
        action=f"{here}/part-date" if may_say else "",
        idempotency_key=secrets.token_hex(16),
        from_on=told.from_on if told else None,
        day=voyage_day(told.from_on) if told else "",
        note=told.note if told else "",
        by=told.by if told else "",
        values=typed.values or known,
    )


@router.post("/vessels/{vessel_id}/jobs/{key}/part-date")
async def part_date(vessel_id: str, key: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Say from the job's page when its parts come, or take that back; what was typed is kept when it is refused."""
    form = await request.form()
    must_be_own_form(who, form.get("csrf"))
    typed = {name: str(value).strip() for name, value in form.items()}

    def act() -> Response:
        try:
            on, note = typed_date(typed), typed.get("note", "")[:1000]
            place, job_id = jobs.job_place(context, who.actor, key)
            told = {"route": f"POST /vessels/{vessel_id}/jobs/{key}/part-date", "body": [str(on), note]}
            hand = Hand(who.actor, typed.get("idempotency_key", ""), told)
            part_dates.set_date(context, hand, place, job_id, from_on=on, note=note)
        except (Refused, Clash) as refused:
            faults = {pointer.lstrip("/"): says for pointer, says in refused.faults}
            again = PartView(values=typed, faults=faults, says="" if faults else refused.says)
            return _job(request, context, who, vessel_id, key, None, STATUS[type(refused)][0], part=again)
        return RedirectResponse(f"/vessels/{vessel_id}/jobs/{quote(key, safe=':')}#h-part-date", 303)

    return await run_in_threadpool(act)


def _version(sent: object) -> int | None:
    text = str(sent or "").strip('"')
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else None


def _minutes(text: str) -> int:
    return int(text) if text.lstrip("-").isdecimal() and len(text) < 6 else 0


def _key_of(typed: Mapping[str, str]) -> str:
    """The form's key; with the name of what is noted, since the steps of a sheet share one form."""
    key = typed.get("idempotency_key", "")
    return f"{key}-{sha256(typed['name'].encode()).hexdigest()[:12]}" if key and typed.get("name") else key


def _told(typed: dict[str, str], offset: str) -> jobs.Close:
    """The close as told by the form: ship time to UTC, empty fields left out.

    Raises:
        Refused: with a fault for each field that cannot be read.
    """
    values: dict[str, Any] = {name: value for name, value in typed.items() if value}
    values["done_at"] = ship_instant("done_at", values.get("done_at", ""), offset)
    if "running_hours" in values:
        values["running_hours"] = values["running_hours"].replace("\u202f", "").replace(" ", "").replace(",", ".")
    try:
        return jobs.Close(**bodies.CloseBody.model_validate(values).model_dump())
    except ValidationError as error:
        raise refused_from(error) from error
