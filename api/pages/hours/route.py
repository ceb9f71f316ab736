"""The counters page and hours by hand: thin. A form becomes the same action as the API's."""

from dataclasses import replace
from typing import cast
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.pages.hours.asking import Back, answer_of
from api.pages.hours.build import counters_view
from api.pages.hours.hand import HandLook, as_seen, entered_values, hand_view
from api.pages.hours.page import counters_page, hand_page
from api.pages.hours.signs import air_block
from api.pages.shared.answers import page_answer
from api.pages.shared.forms import FormRefusal, FormState, PageForm, form_of
from api.routes.shared.fields import Fields
from api.server.deps import Asking, AskingDep, ContextDep
from scheduler.actions.base.context import Context, Hand
from scheduler.actions.care import doctor
from scheduler.actions.due import questions
from scheduler.actions.hours import by_hand, undoing
from scheduler.actions.hours import questions as hours_questions
from scheduler.actions.hours.counter_events import CounterEvent
from scheduler.actions.hours.readings import ReadingDoor
from scheduler.actions.hours.signs import folded_plant
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.shore import requests
from scheduler.actions.shore.lines import line_of
from scheduler.actions.vessel import fleet
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.shore.asking import RequestKind
from scheduler.errors import Clash, Refused
from scheduler.language import gettext as _
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
    sheets = questions.counter_sheets(context, vessel_id)
    folded = [folded_plant(context, vessel_id, sheet.now.plant.id) for sheet in sheets]
    loaded = [(sheet.now, days.facts()) for sheet, days in zip(sheets, folded, strict=True)]
    view = counters_view(
        sheets,
        hours_questions.intake_log(context, vessel_id, LOG_LINES),
        doctor.vessel_diagnosis(context, vessel_id, *loaded),
        who,
        back=back or Back(),
        changed=changed,
        says=says,
        forget=forget,
        air=tuple(air_block(one, several=len(sheets) > 1) for one in folded),
        office=line_of(context, vessel_id),
    )
    return page_answer(request, who, counters_page, view, status)


@router.post("/counters/{counter_id}/answers")
async def answer(counter_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Answer a question, or correct the hours; what was typed is kept when it is refused."""
    form = await form_of(request, who)
    fid = _form_id(counter_id, form)

    def located() -> Place:
        return fleet.locate(context, who.actor, counter_id, AssetKind.COUNTER)

    def act() -> Response | str:
        place = located()
        if form["what"] == "confirm" and requests.is_written_aboard(context, place.vessel_id):
            said = {"counter": place.id, "event": form["event"], "reason": form["reason"]}
            requests.ask_of_ship(context, form.hand(), place.vessel_id, RequestKind.CONFIRM_HOURS, said)
            return f"/vessels/{quote(place.vessel_id)}/requests?done=sent"
        changed = _answered(
            context, form.hand(), place, Fields(form.values, fleet.offset_now(context, place.vessel_id))
        )
        _door(request).forget(place.id)
        return _counters(request, context, who, place.vessel_id, changed=changed, forget=fid)

    def again(refused: FormRefusal) -> Response:
        vessel_id, state = located().vessel_id, refused.state
        if isinstance(refused.error, Clash):  # the question itself is gone, and its form with it
            return _counters(request, context, who, vessel_id, says=state.says, status=refused.status)
        back = Back(asked=fid, values=state.values, faults=state.faults, says=state.says)
        return _counters(request, context, who, vessel_id, back=back, status=refused.status)

    return await form.act(act, again)


def _form_id(counter_id: str, form: PageForm) -> str:
    if form["what"] == "adjust":
        return f"c-{counter_id}"
    if "event" in form.values:
        return f"e-{form['event']}-{form['what']}"
    return f"q-{counter_id}-{form['question']}-{form['what']}"


def _answered(context: Context, hand: Hand, place: Place, fields: Fields) -> questions.CounterChange:
    what, event_id, reason = fields.text("what"), fields.text("event"), fields.text("reason")
    if what == "adjust":
        hours = fields.figure("hours")
        fields.check()
        made = CounterEvent(kind="adjustment", at=context.now(), reason=reason, hours=hours)
        return questions.change_counter(context, hand, place, [made])
    if what == "confirm":
        return questions.watched(
            context, hand, place, lambda: undoing.confirm_event(context, hand, place, event_id, reason)
        )
    if what == "undo":
        return questions.watched(
            context, hand, place, lambda: undoing.undo_event(context, hand, place, event_id, reason)
        )
    answer = answer_of(fields)
    try:
        at_s = int(fields.text("question"))
    except ValueError as error:
        raise Refused(_("Which question is answered was not sent. Load the page again.")) from error
    return questions.answer_question(context, hand, place, at_s, answer)


def _door(request: Request) -> ReadingDoor:
    return cast(ReadingDoor, request.app.state.counters.door)


@router.get("/vessels/{vessel_id}/hours")
def hours(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """All counters of a ship, to be filled in."""
    return _hand_answer(request, context, who, vessel_id, FormState(), HandLook())


@router.post("/vessels/{vessel_id}/hours")
async def store_hours(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Look at what was typed; store what fits once it was looked at as it stands. Nothing typed is lost."""
    form = await form_of(request, who)

    def act() -> Response:
        fields = Fields(form.values, fleet.offset_now(context, vessel_id))
        at = fields.instant("at")
        fields.check()
        assert at is not None
        look, reads = entered_values(form.values, at)
        if reads or not look.unread:
            previews = by_hand.preview_by_hand(context, who.actor, vessel_id, reads)
            look = replace(look, previews={one.counter: seen for one, seen in zip(reads, previews, strict=True)})
        state = FormState(values=form.values)
        if form["do"] != "store":
            return _hand_answer(request, context, who, vessel_id, state, look)
        if not as_seen(look, form.values):
            return _hand_answer(request, context, who, vessel_id, state, replace(look, changed=True), 409)
        chosen = [one for one in reads if look.storable(one.counter)]
        if not chosen:
            state = FormState(values=form.values, says=_("Nothing is stored: none fits, and none is ticked."))
            return _hand_answer(request, context, who, vessel_id, state, look, 422)
        hand = form.hand({"at": form["at"], **{one.counter: look.texts[one.counter] for one in chosen}})
        stored = by_hand.store_by_hand(context, request.app.state.intake, hand, vessel_id, chosen)
        for one in chosen:
            _door(request).forget(one.counter)
        look = replace(look, judged={one.counter: one for one in stored})
        return _hand_answer(request, context, who, vessel_id, state, look)

    def again(refused: FormRefusal) -> Response:
        look, _ = entered_values(form.values, context.now())
        return _hand_answer(request, context, who, vessel_id, refused.state, look, refused.status)

    return await form.act(act, again)


def _hand_answer(
    request: Request,
    context: Context,
    who: Asking,
    vessel_id: str,
    state: FormState,
    look: HandLook,
    status: int = 200,
) -> Response:
    vessel, _ = fleet.get_vessel(context, who.actor, vessel_id)
    now = plant_state(context, vessel_id, vessel.plants[0].id)
    view = hand_view(now, who, by_hand.hand_counters(context, vessel_id), state, look)
    return page_answer(request, who, hand_page, view, status)
