"""Undo an event of a counter, and confirm what takes hours away: both are events that refer to another (rule R16)."""

import json
from typing import Any

from scheduler.actions.base.context import Answer, Context, Hand, hand_action, instant
from scheduler.actions.hours.counter_events import (
    ASKED,
    ASKED_UNDO,
    asker_of,
    counter_row,
    counter_words,
    keep_event,
    must_say_why,
)
from scheduler.actions.hours.ledger import GIVING, undone_by
from scheduler.actions.people.sides import AUTHORITY, Side, must_be_another, person_acting
from scheduler.actions.vessel.fleet import Place, clock_of
from scheduler.domain.people.persons import Person, of_a_person
from scheduler.errors import Clash, NotFound, Refused
from scheduler.language import gettext
from scheduler.storage.database import Session
from scheduler.storage.hours.counters import CounterEventRow, CounterRow, counter_event_rows
from scheduler.wording.figures import moment


def undo_event(context: Context, hand: Hand, place: Place, event_id: str, reason: str) -> Answer:
    """Undo an event: hours given get their opposite entry at the same instant, all else is taken back from the ledger.

    Both stay in the record. What is only asked for is turned down by it. An undo that takes away hours which somebody
    else gave is asked for (status 202) until another person confirms it.

    Raises:
        NotFound: the counter has no such event. Clash: undone before, or asked for already.
        Refused: no reason, or it is an undo itself. NotAllowed: hours taken away by nobody known.
    """
    must_say_why(reason)

    def act(session: Session) -> Answer:
        row = counter_row(session, place)
        events, event = _find(session, row, event_id)
        if event.kind in ("undo", ASKED_UNDO):
            raise Refused(gettext("This is an undo itself. Record anew what should count again."))
        _not_undone(session, row, events, event)
        detail: dict[str, Any] = {"undoes": event.id, "undone_kind": event.kind}
        given_s = json.loads(event.detail).get("seconds", 0) if event.kind in GIVING else 0
        if event.kind in GIVING:
            detail["seconds"] = -given_s
        own = Person(str(_told(event).get("by_id", "")), event.actor)
        if given_s <= 0 or (of_a_person(own) and own.id == hand.actor.person_id):
            return keep_event(context, session, hand, place, row, "undo", event.at_s, detail, reason)
        _not_waiting(events, event)
        detail["asked_by_id"] = asker_of(context, hand).id
        return keep_event(context, session, hand, place, row, ASKED_UNDO, event.at_s, detail, reason)

    return hand_action(context, hand, place.vessel_id, act)


def confirm_event(context: Context, hand: Hand, place: Place, event_id: str, reason: str = "") -> Answer:
    """Let happen what another person asked for.

    Raises:
        NotAllowed: by nobody known, by the one who asked, or someone who is neither chief engineer nor office. NotFound: no such
            event. Clash: confirmed, turned down or undone before. Refused: nothing was asked for by that event.
    """
    person_acting(context, hand.actor, AUTHORITY, gettext("confirm that hours are taken away"))

    def act(session: Session) -> Answer:
        row = counter_row(session, place)
        events, event = _find(session, row, event_id)
        if event.kind not in ASKED:
            raise Refused(gettext("This is the event {kind}; there is nothing to confirm.", kind=f"{event.kind!r}"))
        told = _told(event)
        says = gettext(
            "{actor} asked for this and cannot confirm it; another person, chief engineer or office, does.",
            actor=event.actor,
        )
        asked_by = Person(str(told["asked_by_id"]), event.actor)
        side = Side(place.vessel_id, f"counter event {event.id} asked", asked_by)
        must_be_another(context, session, side, hand.actor, says)
        _not_undone(session, row, events, event)
        for other in events:
            if _told(other).get("asked") == event.id:
                raise Clash(gettext("This was confirmed by {actor} already.", actor=other.actor))
        if "undoes" in told:
            _not_undone(session, row, events, next(e for e in events if e.id == told["undoes"]))
        detail = {name: value for name, value in told.items() if name != "asked_by_id"}
        detail |= {"asked": event.id, "asked_by": event.actor}
        words = f"{event.reason}; {reason}" if reason.strip() else event.reason
        return keep_event(context, session, hand, place, row, ASKED[event.kind], event.at_s, detail, words)

    return hand_action(context, hand, place.vessel_id, act)


def _find(session: Session, row: CounterRow, event_id: str) -> tuple[list[CounterEventRow], CounterEventRow]:
    assert row.no is not None
    events = counter_event_rows(session, row.no)
    event = next((event for event in events if event.id == event_id), None)
    if event is None:
        raise NotFound(
            gettext(
                "{counter_words} has no event {event_id}. The counters page shows them.",
                counter_words=counter_words(session, row),
                event_id=f"{event_id[:80]!r}",
            )
        )
    return events, event


def _told(event: CounterEventRow) -> dict[str, Any]:
    told: dict[str, Any] = json.loads(event.detail)
    return told


def _not_undone(session: Session, row: CounterRow, events: list[CounterEventRow], event: CounterEventRow) -> None:
    undo_id = undone_by(events).get(event.id)
    if undo_id is not None:
        undo = next(e for e in events if e.id == undo_id)
        when = instant(undo.recorded_s)
        said = moment(when, clock_of(session, row.vessel_id, when))
        raise Clash(
            gettext(
                "This was undone by {actor} on {said} already. Record anew what should count again.",
                actor=undo.actor,
                said=said,
            )
        )


def _not_waiting(events: list[CounterEventRow], event: CounterEventRow) -> None:
    done = {_told(e).get("asked") for e in events} | set(undone_by(events))
    for other in events:
        if other.kind == ASKED_UNDO and _told(other)["undoes"] == event.id and other.id not in done:
            raise Clash(gettext("{actor} asked for this undo already; another person confirms it.", actor=other.actor))
