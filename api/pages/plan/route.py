"""The plan page's doors: look at the plan, plan again, take it, move a slot by hand and back."""

import secrets
from dataclasses import replace
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from api.pages.plan.build import here_of, plan_view
from api.pages.plan.moving import changed_since, move_lines, move_view, read_instant
from api.pages.plan.page import plan_page
from api.pages.plan.says import move_words
from api.pages.plan.view import PERIODS, Help, MoveForm, PlanView
from api.pages.shared import frame
from api.pages.shared.answers import page_answer
from api.pages.shared.forms import FormRefusal, form_of
from api.server.deps import Asking, AskingDep, ContextDep, Number
from scheduler.actions.base.context import Context
from scheduler.actions.plan import explaining, moving, planning
from scheduler.actions.plant_state.load import PlantState, plant_state
from scheduler.actions.vessel import fleet
from scheduler.actions.vessel.fleet import Place
from scheduler.errors import Clash, NotFound, Refused, Stale
from scheduler.language import gettext as _
from scheduler.language import ngettext
from scheduler.storage.vessel import AssetKind
from scheduler.wording import names

router = APIRouter(include_in_schema=False)
_USUAL = 28
LOOK_AGAIN_SECONDS = 2


@router.get("/vessels/{vessel_id}/plan")
def vessel_plan(vessel_id: str, context: ContextDep, who: AskingDep) -> Response:
    """Where the calendar's links lead: the plan of the vessel's first plant."""
    vessel, _ = fleet.get_vessel(context, who.actor, vessel_id)
    return RedirectResponse(here_of(vessel.plants[0].id), 303)


@router.get("/plants/{plant_id}/plan")
def plan(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The plan page. ?days=7, 28 or 90; ?help=KEY plans again to find what would help that job. What takes longer than a moment is
    made beside the page, which then looks again by itself."""
    place = _place(context, who, plant_id)
    view, now = _looked(context, who, place, _days(request.query_params.get("days")))
    key, job = request.query_params.get("help", ""), request.query_params.get("job", "")
    done = request.query_params.get("done", "")
    if key:
        view = replace(view, help=_help(context, now, key))
    if job:
        typed = {name: request.query_params.get(name, "").strip() for name in ("day", "at")}
        view = _moving(context, now, view, job, MoveForm(values=typed))
    answer = page_answer(
        request, who, plan_page, replace(view, notice="" if view.planning_seconds else _notice(view, done))
    )
    if (view.help is not None and view.help.seconds) or (view.planning_seconds and done == "again" and not job):
        answer.headers["Refresh"] = str(LOOK_AGAIN_SECONDS)
    return answer


@router.post("/plants/{plant_id}/plan/again")
async def again(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Plan anew and propose it; what stands in the way is said on the page."""
    form = await form_of(request, who)
    days = _days(form["days"])

    def act() -> str:
        place = _place(context, who, plant_id)
        planning.propose_soon(context, place)
        return f"{here_of(place.id)}?days={days}&done=again"

    return await form.act(
        act, lambda refused: _said(request, context, who, _place(context, who, plant_id), days, refused)
    )


@router.post("/plants/{plant_id}/plan")
async def take(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Take the plan that was looked at."""
    form = await form_of(request, who)

    def act() -> str:
        place, digest = _place(context, who, plant_id), form["digest"]
        planning.take(context, form.hand({"digest": digest}), place, digest)
        return f"{here_of(plant_id)}?done=taken"

    return await form.act(
        act, lambda refused: _said(request, context, who, _place(context, who, plant_id), _USUAL, refused)
    )


@router.post("/plants/{plant_id}/plan/moves")
async def move(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Set a slot's time by hand; a refused or stale form comes back with what was typed, the newest plan beside it."""
    form = await form_of(request, who)
    days = _days(form["days"])

    def act() -> str:
        place, hand = (
            _place(context, who, plant_id),
            form.hand({name: form[name] for name in ("job", "start", "reason")}),
        )
        start_at = _chosen(form["start"])
        made = moving.move_slot(
            context, hand, place, form["job"], start_at, if_match=form.version, reason=form["reason"]
        )
        return f"{here_of(place.id)}?days={days}&done=set-{made.body['move']}#moves"

    return await form.act(
        act, lambda refused: _refused_move(request, context, who, _place(context, who, plant_id), days, refused)
    )


@router.post("/plants/{plant_id}/plan/moves/{number}/undo")
async def undo(plant_id: str, number: Number, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Take a move back by a record of its own; what stands in the way is said on the page."""
    form = await form_of(request, who)
    days = _days(form["days"])

    def act() -> str:
        place = _place(context, who, plant_id)
        moving.undo_move(context, form.hand({}), place, number)
        return f"{here_of(place.id)}?days={days}&done=undone-{number}#moves"

    return await form.act(
        act, lambda refused: _said(request, context, who, _place(context, who, plant_id), days, refused)
    )


def _place(context: Context, who: Asking, plant_id: str) -> Place:
    return fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)


def _said(request: Request, context: Context, who: Asking, place: Place, days: int, refused: FormRefusal) -> Response:
    """The page with what stood in the way."""
    view, _ = _looked(context, who, place, days)
    return page_answer(request, who, plan_page, replace(view, says=refused.error.says), refused.status)


def _chosen(start: str) -> datetime:
    at = read_instant(start)
    if at is None:
        raise Refused(
            _("Choose one of the times that hold, then set it."), faults=[("/start", _("one of the times is expected"))]
        )
    return at


def _refused_move(
    request: Request, context: Context, who: Asking, place: Place, days: int, refused: FormRefusal
) -> Response:
    view, now = _looked(context, who, place, days)
    values, error = refused.values, refused.error
    key, looked_at, seen_at = values.get("job", ""), *(read_instant(values.get(n)) for n in ("looked_at", "seen_at"))
    changed = changed_since(now, view.moves, looked_at, key, seen_at) if isinstance(error, Stale) else ()
    says = _("Not set: it does not hold there.") if error.more.get("against") else error.says
    view = _moving(context, now, view, key, MoveForm(values=values, says=says, changed=changed))
    return page_answer(request, who, plan_page, view, refused.status)


def _looked(context: Context, who: Asking, place: Place, days: int) -> tuple[PlanView, PlantState]:
    """The view of the plan as it stands now, with the moves made by hand."""
    now = plant_state(context, place.vessel_id, place.id)
    here = here_of(place.id)
    may_undo = frame.may(who, "POST", "/plants/{plant_id}/plan/moves/{number}/undo")
    moves = move_lines(now, moving.moves_made(context, place), here, may_undo=may_undo)
    view = plan_view(now, context, who, here, days=days)
    asked_at = planning.planning_since(context, place)
    seconds = 0 if asked_at is None else int((now.at - asked_at).total_seconds())
    shown = seconds if seconds >= context.background.moment_seconds else 0
    return replace(view, moves=moves, once=secrets.token_hex(12), planning_seconds=shown), now


def _moving(context: Context, now: PlantState, view: PlanView, key: str, form: MoveForm) -> PlanView:
    """The view with the form for moving that job; where it cannot be moved, why."""
    try:
        return replace(view, move=move_view(now, context, view.here, key, form))
    except (Clash, NotFound) as error:
        return replace(view, says=" ".join(one for one in (form.says, error.says) if one))


def _days(sent: Any) -> int:
    text = str(sent or "")
    return int(text) if text in {str(days) for days in PERIODS} else _USUAL


def _notice(view: PlanView, done: str) -> str:
    """What has just been done, in words."""
    if done == "taken" and view.plan is not None and view.plan.taken_at is not None and view.newer is None:
        return _("The plan is taken: it is the plan aboard, and the calendar shows it.")
    word, _dash, number = done.partition("-")
    if word in ("set", "undone"):
        found = next((one for one in view.moves if str(one.number) == number), None)
        return "" if found is None else move_words(found, view.frame.utc_offset_minutes, undone=word == "undone")
    if done != "again" or view.plan is None:
        return ""
    if view.newer is None:
        return _("Planned again: nothing changes.")
    if view.plan.taken_at is None:
        return _("Planned. Look at it, then take it.")
    count = len(view.newer.changes)
    return ngettext(
        "Planned again: {count} slot would change. Nothing is taken yet.",
        "Planned again: {count} slots would change. Nothing is taken yet.",
        count,
    ).format(count=count)


def _help(context: Context, now: PlantState, key: str) -> Help:
    """What would help a job, in the words of people; solves again, beside the page where that takes longer than a moment."""
    name, newest = names.job_words(now.plant, now.at, key), now.proposed or now.taken

    def find() -> dict[str, Any]:
        return explaining.why(context, now.vessel.id, now.plant.id, key)

    about = "help", now.plant.id, key, "" if newest is None else newest.digest
    try:
        told, since = context.background.answer(about, find, now.at)
    except (Clash, NotFound) as error:
        return Help(key=key, name=name, says=error.says)
    if since is not None:
        return Help(key=key, name=name, seconds=max(1, int((context.now() - since).total_seconds())))
    reliefs = tuple((one["says"], one["price"]) for one in told["reliefs"])
    return Help(key=key, name=name, reliefs=reliefs, in_time=told["days_late"] == 0)
