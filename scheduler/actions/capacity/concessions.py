"""Concessions: a lower minimum asked for a stretch of time. It counts once chief engineer and second signer have both signed."""

from datetime import datetime
from typing import Any

from scheduler.actions.base.actor import Actor, person_of
from scheduler.actions.base.context import Answer, Context, Hand, hand_action, utc_text
from scheduler.actions.base.pending import ask_plan
from scheduler.actions.plant_state.load import load_plant
from scheduler.actions.vessel.fleet import Place, clock_of
from scheduler.domain.capacity.concessions import Lower, lower_faults
from scheduler.domain.capacity.minimum import litres_up
from scheduler.domain.due.deciding import OFFICE, Decider, signing_objections
from scheduler.domain.people.persons import Person
from scheduler.errors import Clash, NotAllowed, NotFound, Refused
from scheduler.storage.capacity import ConcessionRow, concession_row, concession_rows, next_concession_number
from scheduler.storage.database import Session
from scheduler.storage.paging import PageAsked
from scheduler.storage.record import append_record
from scheduler.wording.deciding import unfit_words
from scheduler.wording.figures import moment


def ask_concession(context: Context, hand: Hand, place: Place, asked: Lower) -> Answer:
    """Ask for a lower minimum. It changes nothing until both have signed.

    Raises:
        Refused: no reason, a time that is past or too long, or a figure that is not lower.
    """

    def act(session: Session) -> Answer:
        now = load_plant(session, context, place.vessel_id, place.plant_id)
        faults = lower_faults(now.plant, asked, offset_minutes=now.offset_minutes, now_at=now.at)
        if faults:
            raise Refused(f"{faults[0][0].lstrip('/')}: {faults[0][1]}", faults=faults)
        row = ConcessionRow(
            vessel_id=place.vessel_id,
            number=next_concession_number(session, place.vessel_id),
            plant_id=place.plant_id,
            from_at=asked.from_at,
            to_at=asked.to_at,
            minimum_litres_per_h=litres_up(asked.minimum),
            reason=asked.reason.strip(),
            asked_by_id=person_of(hand.actor).id,
            asked_by=hand.actor.name,
            asked_at=context.now(),
            second_as=now.plant.second_signer,
        )
        return _kept(session, context, row, "concession asked", 201, hand.actor.name)

    return hand_action(context, hand, place.vessel_id, act)


def sign_concession(
    context: Context, hand: Hand, place: Place, number: int, *, as_: str, name: str = "", master: str = ""
) -> Answer:
    """Sign as chief, or write down who signs second (whom the ship names: hotel, chief officer, master).

    Args:
        as_: chief, or the second signer's side. name: who signs second; the chief signs with the own name.
        master: name of the master, who signs the chief's side while the link to the office is down, told by somebody else.

    Raises:
        NotFound: no such concession. Clash: signed so already, withdrawn, or past. NotAllowed: the role does not sign
            as chief, the one who asked, or one person for both. Refused: no name, or another side than these two.
    """

    def act(session: Session) -> Answer:
        row = _open(session, place, number, context.now())
        if as_ not in ("chief", row.second_as):
            says = f"chief or {row.second_as}"
            raise Refused(f"as: {as_[:40]!r}: {says} was expected.", faults=[("/as", says)])
        chief_side = as_ == "chief"
        if not chief_side and not name.strip():
            raise Refused(f"name: say who signs as {as_}.", faults=[("/name", "this is empty")])
        own, other = _signer(row, chief_side), _signer(row, not chief_side)
        if own is not None:
            raise Clash(f"Concession {number} is signed as {as_} already, by {own.name}.")
        by = _decider(hand.actor, master if chief_side else name, by_master=chief_side and bool(master.strip()))
        asked_by = Person(row.asked_by_id, row.asked_by)
        against = signing_objections(chief_side=chief_side, by=by, asked_by=asked_by, other=other)
        if against:
            raise NotAllowed(unfit_words(against))
        if chief_side:
            row.chief_by_id, row.chief_by, row.chief_at = by.person.id, by.person.name, context.now()
            row.chief_as = "master" if by.master else "office" if by.role in OFFICE else "chief"
            row.chief_entered_by = hand.actor.name if by.master else ""
        else:
            row.hotel_by_id, row.hotel_by, row.hotel_at = by.person.id, by.person.name, context.now()
        if other is not None:
            ask_plan(session, place.vessel_id, row.plant_id, context.now())
        return _kept(session, context, row, f"concession signed as {as_}", 200, hand.actor.name)

    return hand_action(context, hand, place.vessel_id, act)


def _decider(actor: Actor, name: str, *, by_master: bool) -> Decider:
    """Who signs: the actor, or, by that name, whom the actor writes down."""
    person = person_of(actor)
    return Decider(Person(person.id, name.strip() or person.name), actor.role, by_master)


def withdraw_concession(context: Context, hand: Hand, place: Place, number: int) -> Answer:
    """Take a concession back: from now on the plant's own minimum holds, and a new plan is asked for if it counted.

    Raises:
        NotFound: no such concession. Clash: withdrawn already, or past.
    """

    def act(session: Session) -> Answer:
        row = _open(session, place, number, context.now())
        counted = _state(row) == "agreed"
        row.withdrawn_by, row.withdrawn_at = hand.actor.name, context.now()
        if counted:
            ask_plan(session, place.vessel_id, row.plant_id, context.now())
        return _kept(session, context, row, "concession withdrawn", 200, hand.actor.name)

    return hand_action(context, hand, place.vessel_id, act)


def concessions_listed(context: Context, place: Place, page: PageAsked | None = None) -> list[dict[str, Any]]:
    """A plant's concessions, newest first, as answers tell them."""
    with context.db.read() as session:
        rows = concession_rows(session, place.vessel_id, place.plant_id, page)
    return [_told(row) for row in reversed(rows)]


def _open(session: Session, place: Place, number: int, now: datetime) -> ConcessionRow:
    row = concession_row(session, place.vessel_id, number)
    if row is None or row.plant_id != place.plant_id:
        raise NotFound(f"There is no concession {number} for this plant.")
    if row.withdrawn_at is not None:
        raise Clash(f"Concession {number} was withdrawn already, by {row.withdrawn_by}. Ask for a new one.")
    if row.to_at <= now:
        ended = moment(row.to_at, clock_of(session, place.vessel_id, now), now)
        raise Clash(f"Concession {number} ended on {ended}. Ask for a new one.")
    return row


def _kept(session: Session, context: Context, row: ConcessionRow, what: str, status: int, by: str) -> Answer:
    """The row stored and what was done to it on record."""
    session.add(row)
    told = _told(row)
    record, _ = append_record(session, row.vessel_id, what, context.now(), {**told, "plant": row.plant_id, "by": by})
    lacking = [side for side, own in (("chief", True), (row.second_as, False)) if _signer(row, own) is None]
    says = {
        "asked": f"It counts once signed as {' and as '.join(lacking)}.",
        "agreed": "Both have signed: it counts, and a new plan is being made.",
        "withdrawn": "It no longer counts; the plant's own minimum holds.",
    }[_state(row)]
    return Answer(status, {**told, "record": record, "says": says})


def _signer(row: ConcessionRow, chief_side: bool) -> Person | None:
    by_id, name = (row.chief_by_id, row.chief_by) if chief_side else (row.hotel_by_id, row.hotel_by)
    return None if by_id is None or name is None else Person(by_id, name)


def _state(row: ConcessionRow) -> str:
    if row.withdrawn_at is not None:
        return "withdrawn"
    return "agreed" if row.chief_at is not None and row.hotel_at is not None else "asked"


def _told(row: ConcessionRow) -> dict[str, Any]:
    return {
        "concession": row.number,
        "from_at": utc_text(row.from_at),
        "to_at": utc_text(row.to_at),
        "minimum_swept_m3_per_h": row.minimum_litres_per_h / 1000,
        "reason": row.reason,
        "state": _state(row),
        "asked_by": row.asked_by,
        "asked_at": utc_text(row.asked_at),
        "chief": row.chief_by,
        "chief_at": utc_text(row.chief_at),
        "hotel": row.hotel_by,
        "hotel_at": utc_text(row.hotel_at),
        "chief_signed_as": row.chief_as,
        "chief_entered_by": row.chief_entered_by,
        "second_signer": row.second_as,
        "withdrawn_by": row.withdrawn_by,
        "withdrawn_at": utc_text(row.withdrawn_at),
    }
