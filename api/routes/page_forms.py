"""Doors of pages that stand here until the pages take them: forms about a pump, a part, a photo; dates that moved."""

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from hashlib import sha256
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from api.pages.due.moved import MovedView, moved_lines, moved_page
from api.pages.shared import build
from api.server.deps import AskingDep, ContextDep, must_be_own_form
from api.server.page_answers import light_of, page
from scheduler.actions.base.context import Hand
from scheduler.actions.capacity import outages
from scheduler.actions.plant_state import published
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.vessel import fleet
from scheduler.actions.vessel.fleet import Place
from scheduler.actions.work import breakdown, jobs, parts, photos
from scheduler.errors import Refused
from scheduler.parsing import own_path, ship_instant, whole_number
from scheduler.storage.vessel import AssetKind

router = APIRouter()

FAILED = "failed, put out on the plant page"


@router.post("/pumps/{pump_id}/out", include_in_schema=False)
async def out(pump_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """One form on the plant page: out now, what failed and when it is back where that is known; repair opened, planned again."""

    def do(place: Place, hand: Hand, typed: Mapping[str, str]) -> None:
        reason = typed.get("reason", "").strip()[:200] or FAILED
        breakdown.open_breakdown(
            context, hand, place, at=context.now(), reason=reason, expected_at=_expected(context, place, typed)
        )

    return await _tapped(pump_id, "out", request, context, who, do)


@router.post("/pumps/{pump_id}/return", include_in_schema=False)
async def back(pump_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """When a pump that is out is expected back, from the plant page; empty: not known."""

    def do(place: Place, hand: Hand, typed: Mapping[str, str]) -> None:
        outages.say_expected(context, hand, place, _expected(context, place, typed))

    return await _tapped(pump_id, "return", request, context, who, do)


@router.post("/pumps/{pump_id}/runs", include_in_schema=False)
async def runs_now(pump_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """It runs after all, from the plant page."""

    def do(place: Place, hand: Hand, _typed: Mapping[str, str]) -> None:
        breakdown.runs_after_all(context, hand, place, at=context.now())

    return await _tapped(pump_id, "runs", request, context, who, do)


async def _tapped(
    pump_id: str,
    what: str,
    request: Request,
    context: ContextDep,
    who: AskingDep,
    do: Callable[[Place, Hand, Mapping[str, str]], None],
) -> Response:
    """A form of the plant page about one pump: done, planned again; back to the plant, which says what is left."""
    form = await request.form()
    must_be_own_form(who, form.get("csrf"))
    typed = {name: str(value) for name, value in form.items()}

    def act() -> str:
        place = fleet.locate(context, who.actor, pump_id, AssetKind.PUMP)
        told = {"route": f"POST /pumps/{pump_id}/{what}", "expected_at": typed.get("expected_at", "")}
        do(place, Hand(who.actor, typed.get("idempotency_key", ""), told), typed)
        breakdown.plan_again(context, place)
        return place.plant_id

    plant_id = await run_in_threadpool(act)
    return RedirectResponse(f"/plants/{quote(plant_id)}?out={quote(pump_id)}", 303)


def _expected(context: ContextDep, place: Place, typed: Mapping[str, str]) -> datetime | None:
    text = typed.get("expected_at", "").strip()
    clock = fleet.offset_now(context, place.vessel_id)
    return ship_instant("expected_at", text, str(int(clock)), clock) if text else None


SHOWN_DAYS, SHOWN_MOST = 28, 200


@router.get("/plants/{plant_id}/moved", include_in_schema=False)
def moved(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The dates of open jobs that moved in the last four weeks, newest first."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    now = plant_state(context, place.vessel_id, place.id)
    since_at = now.at - timedelta(days=SHOWN_DAYS)
    found = published.newest_moved_date(context, place.vessel_id, place.id, since_at=since_at, limit=SHOWN_MOST)
    view = MovedView(
        frame=build.frame_of(now, who, request.url.path, "Dates that moved", "moved"),
        plant=now.plant.name,
        plant_href=f"/plants/{place.id}",
        days=SHOWN_DAYS,
        lines=moved_lines(now, found),
    )
    return page(moved_page(view, light=light_of(request), csrf=who.csrf or ""))


@router.post("/plants/{plant_id}/parts", include_in_schema=False)
async def count_on_page(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """A part counted from a job's page."""
    form = await request.form()
    must_be_own_form(who, form.get("csrf"))
    name, aboard = str(form.get("name", "")), whole_number("aboard", str(form.get("aboard", "")))

    def act() -> None:
        place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
        asked = {"route": f"POST /plants/{plant_id}/parts", "body": {"name": name, "aboard": aboard}}
        hand = Hand(who.actor, str(form.get("idempotency_key", "")), asked)
        parts.count_part(context, hand, place, name=name, aboard=aboard)

    await run_in_threadpool(act)
    return RedirectResponse(own_path(str(form.get("here", "")), f"/plants/{quote(plant_id)}"), 303)


@router.post("/vessels/{vessel_id}/jobs/{key}/photos", include_in_schema=False)
async def keep_from_page(vessel_id: str, key: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """A photo added on the job's page."""
    async with request.form() as form:
        must_be_own_form(who, form.get("csrf"))
        sent = form.get("photo")
        if sent is None or isinstance(sent, str):
            raise Refused("No photo was chosen. Go back, choose one, and send it again.")
        content, text = await sent.read(), str(form.get("text", ""))[:200]
        once = str(form.get("idempotency_key", ""))

    def act() -> None:
        place, job_id = jobs.job_place(context, who.actor, key)
        asked = {"route": f"POST /vessels/{vessel_id}/jobs/{key}/photos", "body": [text, sha256(content).hexdigest()]}
        hand = Hand(who.actor, once, asked)
        photos.keep_photo(context, hand, place, job_id, content=content, text=text)

    await run_in_threadpool(act)
    return RedirectResponse(f"/vessels/{quote(vessel_id)}/jobs/{quote(key, safe=':')}#h-photos", 303)
