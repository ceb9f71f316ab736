"""The plan page's doors: look at the plan, plan again, take it."""

from dataclasses import replace
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from api.answers import light_of, page
from api.deps import Asking, AskingDep, HouseDep, must_be_own_form
from api.errors import STATUS
from api.pen import PEN
from api.plan.build import here_of, plan_view, wording_of
from api.plan.page import plan_page
from api.plan.view import PERIODS, Help, PlanView
from scheduler.actions import explaining, feed, fleet, planning
from scheduler.actions.house import Hand, House
from scheduler.actions.situation import Situation, situation
from scheduler.errors import Clash, NotFound, SchedulerError
from scheduler.storage.tables import AssetKind

router = APIRouter(include_in_schema=False)
_USUAL = 28


@router.get("/vessels/{vessel_id}/plan")
def vessel_plan(vessel_id: str, house: HouseDep, who: AskingDep) -> Response:
    """Where the calendar's links lead: the plan of the vessel's first plant."""
    vessel, _ = fleet.get_vessel(house, who.actor, vessel_id)
    return RedirectResponse(here_of(vessel.plants[0].id), 303)


@router.get("/plants/{plant_id}/plan")
def plan(plant_id: str, request: Request, house: HouseDep, who: AskingDep) -> Response:
    """The plan page. ?days=7, 28 or 90; ?help=KEY plans again to find what would help that job."""
    place = fleet.locate(house, who.actor, plant_id, AssetKind.PLANT)
    now = situation(house, place.vessel_id, place.id)
    view = plan_view(now, house, who, here_of(place.id), days=_days(request.query_params.get("days")))
    key = request.query_params.get("help", "")
    if key:
        view = replace(view, help=_help(house, now, key))
    return _shown(request, who, replace(view, notice=_notice(view, request.query_params.get("done", ""))))


@router.post("/plants/{plant_id}/plan/again")
async def again(plant_id: str, request: Request, house: HouseDep, who: AskingDep) -> Response:
    """Plan anew and propose it; what stands in the way is said on the page."""
    form = await request.form()
    must_be_own_form(who, form.get("csrf"))
    days = _days(form.get("days"))

    def act() -> Response:
        place = fleet.locate(house, who.actor, plant_id, AssetKind.PLANT)
        try:
            planning.propose(house, place.vessel_id, place.id)
        except NotFound:
            raise
        except SchedulerError as error:
            now = situation(house, place.vessel_id, place.id)
            view = plan_view(now, house, who, here_of(place.id), days=days)
            return _shown(request, who, replace(view, says=error.says), STATUS[type(error)][0])
        return RedirectResponse(f"{here_of(place.id)}?days={days}&done=again", 303)

    return await run_in_threadpool(act)


@router.post("/plants/{plant_id}/plan")
async def take(plant_id: str, request: Request, house: HouseDep, who: AskingDep) -> Response:
    """Take the plan that was looked at."""
    form = await request.form()
    must_be_own_form(who, form.get("csrf"))
    digest = str(form.get("digest", ""))

    def act() -> None:
        place = fleet.locate(house, who.actor, plant_id, AssetKind.PLANT)
        asked = {"route": f"POST /plants/{plant_id}/plan", "body": {"digest": digest}}
        planning.take(house, Hand(who.actor, str(form.get("idempotency_key", "")), asked), place, digest)
        feed.renew(house, PEN(house.settings.shown_base_url()), place.vessel_id)

    await run_in_threadpool(act)
    return RedirectResponse(f"{here_of(plant_id)}?done=taken", 303)


def _shown(request: Request, who: Asking, view: PlanView, status: int = 200) -> Response:
    return page(plan_page(view, light=light_of(request), csrf=who.csrf or ""), status)


def _days(sent: Any) -> int:
    text = str(sent or "")
    return int(text) if text in {str(days) for days in PERIODS} else _USUAL


def _notice(view: PlanView, done: str) -> str:
    """What has just been done, in words."""
    if done == "taken" and view.shown is not None and view.shown.taken_at is not None and view.newer is None:
        return "The plan is taken: it is the plan aboard, and the calendar shows it."
    if done != "again" or view.shown is None:
        return ""
    if view.newer is None:
        return "Planned again: nothing changes."
    if view.shown.taken_at is None:
        return "Planned. Look at it, then take it."
    count = len(view.newer.changes)
    return f"Planned again: {count} slot{'' if count == 1 else 's'} would change. Nothing is taken yet."


def _help(house: House, now: Situation, key: str) -> Help:
    """What would help a job, in the words of people; solves again, so it takes its time."""
    name = explaining.job_words(now, key)
    try:
        told = explaining.why(house, now.vessel.id, now.plant.id, key)
    except (Clash, NotFound) as error:
        return Help(key=key, name=name, says=error.says)
    reliefs = tuple((_tidy(one["says"], now), _tidy(one["price"], now)) for one in told["reliefs"])
    return Help(key=key, name=name, reliefs=reliefs, in_time=told["days_late"] == 0)


def _tidy(said: str, now: Situation) -> str:
    held = now.proposed or now.taken
    return said if held is None else wording_of(now, held).say(said)
