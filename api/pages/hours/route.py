"""The counters page and hours by hand: thin. A form becomes the same action as the API's."""

from datetime import datetime
from typing import cast

from fastapi import APIRouter, Request
from fastapi.responses import Response
from starlette.concurrency import run_in_threadpool

from api.pages.hours.asking import Back, answer_typed
from api.pages.hours.build import counters_view
from api.pages.hours.hand import FIELD, hand_view
from api.pages.hours.page import counters_page, hand_page
from api.server.deps import Asking, AskingDep, ContextDep, must_be_own_form
from api.server.page_answers import light_of, page
from scheduler.actions.base.context import Context, Hand
from scheduler.actions.care import doctor
from scheduler.actions.due import questions
from scheduler.actions.hours import by_hand, undoing
from scheduler.actions.hours import questions as hours_questions
from scheduler.actions.hours.counter_events import CounterEvent
from scheduler.actions.hours.readings import ReadingDoor
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.vessel import fleet
from scheduler.errors import Clash, NotAllowed, Refused
from scheduler.parsing import figure, ship_instant
from scheduler.storage.vessel import AssetKind

router = APIRouter(include_in_schema=False)
LOG_LINES = 20


@router.get("/vessels/{vessel_id}/counters")
def counters(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Each counter, what is asked about it, and what was not stored."""
    fleet.get_vessel(context, who.actor, vessel_id)
    return _counters(request, context, who, vessel_id)


def _counters(
    request: Request,
    context: Context,
    who: Asking,
    vessel_id: str,
    *,
    back: Back | None = None,
    changed: questions.CounterChange | None = None,
    says: str = "",
    status: int = 200,
    forget: str = "",
) -> Response:
    view = counters_view(
        questions.counter_sheets(context, vessel_id),
        hours_questions.intake_log(context, vessel_id, LOG_LINES),
        doctor.vessel_diagnosis(context, vessel_id),
        who,
        back=back or Back(),
        changed=changed,
        says=says,
        forget=forget,
    )
    return page(counters_page(view, light=light_of(request), csrf=who.csrf or ""), status)


@router.post("/counters/{counter_id}/answers")
async def answer(counter_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Answer a question, or correct the hours; what was typed is kept when it is refused."""
    form = await request.form()
    must_be_own_form(who, form.get("csrf"))
    typed = {name: str(value) for name, value in form.items() if name != "csrf"}

    def act() -> Response:
        place = fleet.locate(context, who.actor, counter_id, AssetKind.COUNTER)
        fid = _form_id(counter_id, typed)
        asked = {"route": f"POST /counters/{counter_id}/answers", "body": typed}
        hand = Hand(who.actor, typed.get("idempotency_key"), asked)
        try:
            changed = _answered(context, hand, place, typed)
        except (Refused, NotAllowed) as error:
            faults = {pointer.lstrip("/"): words for pointer, words in error.faults}
            back = Back(fid, typed, faults, "" if faults else error.says)
            return _counters(
                request, context, who, place.vessel_id, back=back, status=403 if isinstance(error, NotAllowed) else 422
            )
        except Clash as error:
            return _counters(request, context, who, place.vessel_id, says=error.says, status=409)
        _door(request).forget(place.id)
        return _counters(request, context, who, place.vessel_id, changed=changed, forget=fid)

    return await run_in_threadpool(act)


def _form_id(counter_id: str, typed: dict[str, str]) -> str:
    if typed.get("what") == "adjust":
        return f"c-{counter_id}"
    if "event" in typed:
        return f"e-{typed['event']}-{typed.get('what', '')}"
    return f"q-{counter_id}-{typed.get('question', '')}-{typed.get('what', '')}"


def _answered(context: Context, hand: Hand, place: fleet.Place, typed: dict[str, str]) -> questions.CounterChange:
    if typed.get("what") == "adjust":
        try:
            hours = figure(typed.get("hours", ""))
        except ValueError as error:
            raise Refused(f"hours: {error}", faults=[("/hours", str(error))]) from error
        made = CounterEvent(kind="adjustment", at=context.now(), reason=typed.get("reason", "").strip(), hours=hours)
        return questions.change_counter(context, hand, place, [made])
    event_id, reason = typed.get("event", ""), typed.get("reason", "")
    if typed.get("what") == "confirm":
        return questions.watched(
            context, hand, place, lambda: undoing.confirm_event(context, hand, place, event_id, reason)
        )
    if typed.get("what") == "undo":
        return questions.watched(
            context, hand, place, lambda: undoing.undo_event(context, hand, place, event_id, reason)
        )
    told = answer_typed(typed)
    try:
        at_s = int(typed.get("question", ""))
    except ValueError as error:
        raise Refused("Which question is answered was not sent. Load the page again.") from error
    return questions.answer_question(context, hand, place, at_s, told)


def _door(request: Request) -> ReadingDoor:
    return cast(ReadingDoor, request.app.state.counters.door)


@router.get("/vessels/{vessel_id}/hours")
def hours(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """All counters of a ship, to be filled in."""
    vessel, _ = fleet.get_vessel(context, who.actor, vessel_id)
    now = plant_state(context, vessel_id, vessel.plants[0].id)
    view = hand_view(now, who, by_hand.hand_counters(context, vessel_id))
    return page(hand_page(view, light=light_of(request), csrf=who.csrf or ""))


@router.post("/vessels/{vessel_id}/hours")
async def store_hours(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Store what was typed, each value judged apart; nothing typed is lost when one is refused."""
    form = await request.form()
    must_be_own_form(who, form.get("csrf"))
    typed = {name.removeprefix(FIELD): str(value) for name, value in form.items() if name.startswith(FIELD)}
    at_typed, offset = str(form.get("at", "")), str(form.get("utc_offset_minutes", "0"))

    def act() -> Response:
        vessel, _ = fleet.get_vessel(context, who.actor, vessel_id)
        judged: dict[str, by_hand.ValueJudged] = {}
        at_fault = says = ""
        try:
            values = _values(typed, ship_instant("at", at_typed, offset), judged)
            asked = {"route": f"POST /vessels/{vessel_id}/hours", "body": {**typed, "at": at_typed}}
            hand = Hand(who.actor, str(form.get("idempotency_key", "")), asked)
            if values or not judged:
                told = by_hand.store_by_hand(context, request.app.state.intake, hand, vessel_id, values)
                judged |= {one.counter: one for one in told}
                for one in values:
                    _door(request).forget(one.counter)
        except Refused as refused:
            faults = dict(refused.faults)
            at_fault, says = faults.get("/at", ""), "" if "/at" in faults else refused.says
        now = plant_state(context, vessel_id, vessel.plants[0].id)
        known = by_hand.hand_counters(context, vessel_id)
        view = hand_view(now, who, known, at=at_typed, typed=typed, judged=judged, at_fault=at_fault, says=says)
        return page(hand_page(view, light=light_of(request), csrf=who.csrf or ""), 422 if view.refused else 200)

    return await run_in_threadpool(act)


def _values(typed: dict[str, str], at: datetime, judged: dict[str, by_hand.ValueJudged]) -> list[by_hand.Read]:
    """The figures that were typed; one that is none is judged refused at once."""
    values = []
    for name, text in typed.items():
        try:
            value = figure(text)
        except ValueError as error:
            judged[name] = by_hand.ValueJudged(name, "refused", why=str(error))
            continue
        if value is not None:
            values.append(by_hand.Read(name, at, value))
    return values
