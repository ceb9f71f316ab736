"""Running hours by API: what the ledger made of the counters, and what people say about them."""

from operator import attrgetter
from typing import Annotated, Any

from fastapi import APIRouter, Body, Depends, Query, Request, Response

from api.routes.answers.hours import CounterAnswer, CounterEventAnswer, DailyHoursAnswer, IntakeItem, IntakeLogAnswer
from api.routes.answers.signs import SignAnswered, SignsAnswer
from api.routes.bodies.hours import ConfirmBody, EventBody, SignAnswerBody, UndoBody
from api.routes.shared.calls import HandCall, HandCallDep
from api.routes.shared.describing import InPages
from api.routes.shared.paging import NumberCursor, Pages
from api.routes.shared.problems import JsonRoute
from api.server.deps import AskingDep, ContextDep, Number
from scheduler.actions.base.context import Answer
from scheduler.actions.due.sooner import days_sooner
from scheduler.actions.hours import counter_events, daily, sign_answers, signs, undoing
from scheduler.actions.hours import questions as hours_questions
from scheduler.actions.hours.ledger import derive_vessel
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.vessel import fleet
from scheduler.storage.vessel import AssetKind

router = APIRouter(route_class=JsonRoute)


@router.get("/api/v1/plants/{plant_id}/hours/daily", tags=["readings"], summary="Hours a day of positions and pumps")
def daily_hours(
    plant_id: str, context: ContextDep, who: AskingDep, days: Annotated[int, Query(ge=1, le=1100)] = 90
) -> DailyHoursAnswer:
    """Whole UTC days up to yesterday. interpolated: laid over a gap of more than 48 h. null: not known yet, or ashore."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    return DailyHoursAnswer.of(daily.daily_book(context, place, days))


@router.get("/api/v1/counters/{counter_id}", tags=["readings"], summary="A counter and what the ledger made of it")
def get_counter(counter_id: str, context: ContextDep, who: AskingDep) -> CounterAnswer:
    """The newest reading, the newest ledger entries with their verdicts, and the flags."""
    place = fleet.locate(context, who.actor, counter_id, AssetKind.COUNTER)
    derive_vessel(context, place.vessel_id)
    return CounterAnswer.of(counter_events.counter_book(context, place))


@router.get("/api/v1/plants/{plant_id}/signs", tags=["plant"], summary="What the hours say")
def get_signs(plant_id: str, context: ContextDep, who: AskingDep) -> SignsAnswer:
    """Lasting changes in the running hours, open and closed, newest first: a leak, a pump that needs longer. A sentence and no alarm;
    why nothing can be said, and the smallest rise that would show. It moves no date, limit or plan."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    folded = signs.folded_plant(context, place.vessel_id, place.id)
    open_sign = folded.facts().plant_sign
    sooner = None
    if open_sign is not None:
        sooner = days_sooner(context, plant_state(context, place.vessel_id, place.id), open_sign)
    return SignsAnswer.of(folded, sooner)


@router.post(
    "/api/v1/plants/{plant_id}/signs/{number}/answer", status_code=201, tags=["plant"], summary="Answer a sign"
)
def answer_sign(plant_id: str, number: Number, call: HandCallDep, body: SignAnswerBody) -> SignAnswered:
    """Found and mended: usual stays as it was before the rise. Known, or nothing found: usual starts anew the day after."""
    place = call.place(AssetKind.PLANT, plant_id)
    asked = sign_answers.AnswerAsked(cause=body.cause, text=body.text, until_on=body.until_on)
    return call.answered(SignAnswered, sign_answers.answer_sign(call.context, call.hand(body), place, number, asked))


@router.post(
    "/api/v1/plants/{plant_id}/signs/{number}/answer/undo", tags=["plant"], summary="Take the answer to a sign back"
)
def undo_sign_answer(plant_id: str, number: Number, call: HandCallDep, body: UndoBody) -> SignAnswered:
    """Once; both stay on record."""
    place = call.place(AssetKind.PLANT, plant_id)
    undone = sign_answers.undo_sign_answer(call.context, call.hand(body), place, number, body.reason)
    return call.answered(SignAnswered, undone)


_ASKED: dict[int | str, dict[str, Any]] = {
    202: {"model": CounterEventAnswer, "description": "Asked for: another person confirms it, then it happens."}
}


@router.post(
    "/api/v1/counters/{counter_id}/events",
    status_code=201,
    tags=["readings"],
    summary="Record a counter event",
    responses=_ASKED,
)
def counter_event(counter_id: str, call: HandCallDep, body: Annotated[EventBody, Body()]) -> CounterEventAnswer:
    """Readings are never changed; the ledger is derived anew. Hours taken away are only asked for (202) until confirmed."""
    place = call.place(AssetKind.COUNTER, counter_id)
    event = counter_events.CounterEvent(**body.model_dump())
    answer = counter_events.add_event(call.context, call.hand(body), place, event)
    return _event_answered(call, answer)


@router.post(
    "/api/v1/counters/{counter_id}/events/{event_id}/undo",
    status_code=201,
    tags=["readings"],
    summary="Undo a counter event",
)
def undo_event(counter_id: str, event_id: str, call: HandCallDep, body: UndoBody) -> CounterEventAnswer:
    """Hours given get their opposite entry, all else is taken back; both stay in the record. A second undo is refused."""
    place = call.place(AssetKind.COUNTER, counter_id)
    return _event_answered(call, undoing.undo_event(call.context, call.hand(body), place, event_id, body.reason))


@router.post(
    "/api/v1/counters/{counter_id}/events/{event_id}/confirm",
    status_code=201,
    tags=["readings"],
    summary="Confirm what another person asked for",
)
def confirm_event(counter_id: str, event_id: str, call: HandCallDep, body: ConfirmBody) -> CounterEventAnswer:
    """Hours are taken away by two people: this is the second, chief engineer or office, and not the one who asked."""
    place = call.place(AssetKind.COUNTER, counter_id)
    return _event_answered(call, undoing.confirm_event(call.context, call.hand(body), place, event_id, body.reason))


def _log_pages(
    request: Request,
    response: Response,
    limit: Annotated[int, Query(ge=1, le=1000)] = 100,
    cursor: NumberCursor = None,
) -> Pages:
    return Pages(request, response, limit, cursor)


@router.get("/api/v1/vessels/{vessel_id}/intake", tags=["readings"], summary="What was posted and not stored")
def intake(
    vessel_id: str, context: ContextDep, who: AskingDep, pages: Annotated[Pages, Depends(_log_pages), InPages()]
) -> IntakeLogAnswer:
    """Refused and conflicting readings as they came, newest first, and why."""
    fleet.get_vessel(context, who.actor, vessel_id)
    rows = hours_questions.intake_log(context, vessel_id, pages.asked.limit, before=pages.asked.before)
    return IntakeLogAnswer(items=[IntakeItem.of(row) for row in pages.shown(rows, attrgetter("id"))])


def _event_answered(call: HandCall, answer: Answer) -> CounterEventAnswer:
    call.request.app.state.counters.door.forget(answer.body["counter"])
    return call.answered(CounterEventAnswer, answer)
