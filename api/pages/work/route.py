"""The doors of a job's page: look at it, its steps, its parts and photos, close it, sign it as checked."""

from collections.abc import Callable, Mapping
from dataclasses import asdict, replace
from hashlib import sha256
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import Response
from pydantic import ValidationError

from api.pages.shared.answers import page_answer
from api.pages.shared.forms import FormRefusal, PageForm, form_of
from api.pages.shared.frame import may
from api.pages.work.build import JobFormBack, closed_view, open_view
from api.pages.work.closed import done_job
from api.pages.work.forms import checked_step, read_step
from api.pages.work.page import job_page
from api.pages.work.reading import ReadBox, act_named, measures_from, read_box
from api.pages.work.sheet import open_sheet
from api.routes.shared import bodies
from api.routes.shared.fields import Fields
from api.server.deps import Asking, AskingDep, ContextDep, reached_at
from api.server.errors import refused_from
from scheduler.actions.base.context import Context
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.plant_state.open_jobs import kind_of
from scheduler.actions.record import history
from scheduler.actions.vessel import fleet
from scheduler.actions.work import acts, after_close, checking, closing_checks, jobs, parts, photos, steps
from scheduler.actions.work.counter_at_close import hours_by_counter
from scheduler.domain.vessel.job_kinds import JobKind
from scheduler.domain.work.acts import AnyStep, Note, Noted
from scheduler.domain.work.course import state_of_round
from scheduler.errors import NotFound, Refused
from scheduler.language import gettext as _
from scheduler.parsing import own_path
from scheduler.storage.vessel import AssetKind
from scheduler.wording.figures import field_moment

router = APIRouter(include_in_schema=False)
_CLOSE_FIELDS = (
    "done_at",
    "done_by",
    "checked_by",
    "company",
    "answers_for",
    "from_paper",
    "test",
    "findings",
    "permit_no",
    "reason",
)


@router.get("/vessels/{vessel_id}/jobs/{key}")
def job(vessel_id: str, key: str, request: Request, context: ContextDep, who: AskingDep, also: str = "") -> Response:
    """One job: open with its next act, or closed as recorded. also: another act in the box, instead of the next."""
    return job_answer(request, context, who, vessel_id, key, also=also)


def job_href(vessel_id: str, key: str) -> str:
    """Address of a job's page."""
    return f"/vessels/{vessel_id}/jobs/{quote(key, safe=':')}"


def job_answer(
    request: Request,
    context: Context,
    who: Asking,
    vessel_id: str,
    key: str,
    back: JobFormBack | None = None,
    also: str = "",
) -> Response:
    """The page of a job. back: the form that was refused."""
    place, job_id = jobs.job_place(context, who.actor, key)
    if place.vessel_id != vessel_id:
        raise NotFound(_("There is no job {key} on {vessel_id}.", key=key, vessel_id=vessel_id))
    back = back or JobFormBack()
    now = plant_state(context, vessel_id, place.plant_id)
    here = job_href(vessel_id, key)
    kept = steps.stored_steps(context, place, job_id)
    open_job = now.job(key)
    if open_job is not None:
        view = open_view(now, context, who, here, open_job, kept, back, also)
        view = replace(view, sheet=open_sheet(context, now, open_job, kept, f"{reached_at(request, context)}{here}"))
    else:
        closed = jobs.closed_job(context, place, job_id)
        done = None if closed is None else done_job(now, closed)
        if closed is None or done is None:
            raise NotFound(_("There is no job {key} here now. The plant page shows those that are open.", key=key))
        number = closed.get("record")
        record, stamp = history.record_export(context, vessel_id, number) if isinstance(number, int) else ({}, "")
        after = after_close.after_close(context, now, job_id, record)
        view = closed_view(now, who, here, done, closed, record, stamp, kept, back, after)
    view = replace(
        view,
        photos=tuple(photos.photos_of(context, place, job_id)),
        photo_action=f"{here}/photos" if may(who, "POST", "/vessels/{vessel_id}/jobs/{key}/photos") else "",
        photo=back.state("photo"),
    )
    if back.refusal and not back.drawn_in(view):
        view = replace(view, says=" ".join([back.refusal.error.says, *back.refusal.faults.values()]))
    return page_answer(request, who, job_page, view, back.refusal.status if back.refusal else 200)


def drawn_again(
    request: Request, context: Context, who: Asking, vessel_id: str, key: str, name: str
) -> Callable[[FormRefusal], Response]:
    """Draws the job's page again with the form of that name as it was refused."""
    return lambda refused: job_answer(request, context, who, vessel_id, key, JobFormBack(name, refused))


@router.post("/vessels/{vessel_id}/jobs/{key}/close")
async def close(vessel_id: str, key: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Close a job; what was typed is shown again when it is refused."""
    form = await form_of(request, who)

    def act() -> str:
        job = jobs.job_asked(context, who.actor, key)
        fields = Fields(form.values, job.clock)
        done = as_counted(context, job, _close_of(fields))
        kind = kind_of(job.plant, job.job_id)
        noted = [] if kind.takes_pump_out else _noted(fields, kind, done)
        acts.take_acts(context, form.hand(), job.place, job.job_id, noted, done, if_match=form.version)
        return job_href(vessel_id, key)

    return await form.act(act, drawn_again(request, context, who, vessel_id, key, "close"))


def _close_of(fields: Fields) -> closing_checks.Close:
    """The close as the form gives it: ship time to UTC, empty fields left out, hours as its counter showed them.

    Raises:
        Refused: with a fault for each field that cannot be read.
    """
    values: dict[str, object] = {name: text for name in _CLOSE_FIELDS if (text := fields.values.get(name))}
    values["done_at"], shown = fields.instant("done_at"), fields.figure("running_hours")
    fields.check()
    return replace(checked_close(values), running_hours=shown)


def checked_close(values: Mapping[str, object]) -> closing_checks.Close:
    """A close as the door of closes takes it. Raises Refused with a fault for each member that it does not take."""
    try:
        return closing_checks.Close(**bodies.CloseBody.model_validate(values).model_dump())
    except ValidationError as error:
        raise refused_from(error) from error


def close_again_checked(context: Context, job: jobs.JobAsked, close: closing_checks.Close) -> closing_checks.Close:
    """A close made of fields, as the door of closes takes it."""
    read = ("on_paper", "running_hours")
    told = {name: value for name, value in asdict(close).items() if name not in read and value not in (None, "")}
    checked = replace(checked_close(told), on_paper=close.on_paper, running_hours=close.running_hours)
    return as_counted(context, job, checked)


def as_counted(context: Context, job: jobs.JobAsked, close: closing_checks.Close) -> closing_checks.Close:
    """With the subject's own hours in place of what its counter showed."""
    kind = kind_of(job.plant, job.job_id)
    hours = hours_by_counter(context, job.place, kind, job.job_id, close.running_hours, close.done_at)
    return replace(close, running_hours=hours)


def _noted(fields: Fields, kind: JobKind, done: closing_checks.Close) -> list[AnyStep]:
    """The steps ticked and the figures typed with a close that takes no pump out."""
    at, by = done.done_at, done.done_by
    sheet = {one.text for one in kind.sheet if not one.act}
    ticked = [text for name, text in fields.values.items() if name.startswith("tick:") and text in sheet]
    measures = measures_from(fields, kind, at, by)
    fields.check()
    return [*(Noted(at=at, by=by, about=Note.STEP, name=text) for text in ticked), *measures]


@router.post("/vessels/{vessel_id}/jobs/{key}/acts")
async def take_acts(vessel_id: str, key: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The next act of the work, by one tap: its entries, and the close where it is the last."""
    form = await form_of(request, who)

    def act() -> str:
        job = jobs.job_asked(context, who.actor, key)
        place, job_id, plant = job.place, job.job_id, job.plant
        fields = Fields(form.values, job.clock)
        at = fields.instant("at", needed=False) or context.now()
        fields.check()
        work = state_of_round([one.step for one in steps.stored_steps(context, place, job_id)])
        found, done = read_box(
            ReadBox(
                fields=fields,
                act=act_named(form["act"]),
                name=form["name"],
                do=form["do"],
                at=at,
                by=form["by"] or who.actor.name,
                work=work,
                plant=plant,
                kind=kind_of(plant, job_id),
                offset_minutes=job.clock,
                permit_asked="number" in form.values,
            )
        )
        if done is not None:
            done = close_again_checked(context, job, done)
        fact = bool(form["fact"])
        checked = [checked_step(one, fact=fact).step for one in found]
        hand = form.hand({**form.values, "at": form["at"]})
        acts.take_acts(context, hand, place, job_id, checked, done, fact=fact, if_match=form.version)
        return job_href(vessel_id, key) + ("" if done else "#next")

    return await form.act(act, drawn_again(request, context, who, vessel_id, key, "acts"))


@router.post("/vessels/{vessel_id}/jobs/{key}/close/strike")
async def strike_close(vessel_id: str, key: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """A close taken back by who recorded it; the job is open again."""
    form = await form_of(request, who)

    def act() -> str:
        place, job_id = jobs.job_place(context, who.actor, key)
        checking.strike_close(context, form.hand(), place, job_id)
        return f"{job_href(vessel_id, key)}#next"

    return await form.act(act, drawn_again(request, context, who, vessel_id, key, "strike"))


@router.post("/vessels/{vessel_id}/jobs/{key}/check")
async def check(vessel_id: str, key: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Sign a closed job as checked."""
    form = await form_of(request, who)

    def act() -> str:
        place, job_id = jobs.job_place(context, who.actor, key)
        checking.check_job(context, form.hand(), place, job_id)
        return job_href(vessel_id, key)

    return await form.act(act, drawn_again(request, context, who, vessel_id, key, "check"))


@router.post("/vessels/{vessel_id}/jobs/{key}/steps")
async def take_step(vessel_id: str, key: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """A step of the work; what was typed is shown again when it is refused."""
    form = await form_of(request, who)

    def act() -> str:
        place, job_id = jobs.job_place(context, who.actor, key)
        clock = fleet.offset_now(context, place.vessel_id)
        at = form["at"] or (
            field_moment(context.now(), clock, seconds=True) if form["kind"] in ("noted", "entry struck") else ""
        )
        step = read_step(form["kind"], Fields({**form.values, "at": at}, clock), fact=bool(form["fact"]))
        once = form["idempotency_key"]
        if once and form["name"]:  # the notes of a sheet share one form
            once = f"{once}-{sha256(form['name'].encode()).hexdigest()[:12]}"
        hand = form.hand(step.model_dump(mode="json"), key=once)
        steps.take_step(context, hand, place, job_id, step.step, fact=step.fact, if_match=form.version)
        return f"{job_href(vessel_id, key)}#next"

    return await form.act(act, drawn_again(request, context, who, vessel_id, key, "step"))


@router.post("/plants/{plant_id}/parts")
async def count_part(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """A part counted from a job's page."""
    form = await form_of(request, who)
    here = own_path(form["here"], f"/plants/{quote(plant_id)}")

    def act() -> str:
        place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
        fields = Fields(form.values)
        aboard = fields.whole("aboard", empty=_("a whole number is expected, such as 2"))
        fields.check()
        assert aboard is not None
        parts.count_part(context, form.hand(), place, name=form["name"], aboard=aboard)
        return here

    def again(refused: FormRefusal) -> Response:
        vessel, _, key = here.removeprefix("/vessels/").partition("/jobs/")
        if not key:
            raise refused.error
        return job_answer(request, context, who, vessel, key, JobFormBack("count", refused))

    return await form.act(act, again)


@router.post("/vessels/{vessel_id}/jobs/{key}/photos")
async def keep_photo(vessel_id: str, key: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """A photo added to a job."""
    async with request.form() as data:
        form = PageForm.of(request, who, data)
        sent = data.get("photo")
        content = b"" if sent is None or isinstance(sent, str) else await sent.read()

    def act() -> str:
        if sent is None or isinstance(sent, str):
            raise Refused(_("No photo was chosen. Go back, choose one, and send it again."))
        place, job_id = jobs.job_place(context, who.actor, key)
        text = form["text"][:200]
        hand = form.hand([text, sha256(content).hexdigest()])
        photos.keep_photo(context, hand, place, job_id, content=content, text=text)
        return f"/vessels/{quote(vessel_id)}/jobs/{quote(key, safe=':')}#h-photos"

    return await form.act(act, drawn_again(request, context, who, vessel_id, key, "photo"))
