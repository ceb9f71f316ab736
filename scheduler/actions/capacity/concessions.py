"""Concessions: a lower minimum asked for a stretch of time. It counts once chief engineer and second signer have both signed."""

from datetime import datetime
from typing import Any

from scheduler.actions.base.context import Answer, Context, Hand, hand_action, utc_text
from scheduler.actions.base.pending import ask_plan
from scheduler.actions.people.sides import ASKS, Side, must_be_another, person_acting, remember_side
from scheduler.actions.plant_state.load import load_plant
from scheduler.actions.vessel.fleet import Place, clock_of
from scheduler.domain.base.enums import Role
from scheduler.domain.capacity.concessions import SECOND_SIGNERS, Lower, lower_faults
from scheduler.domain.capacity.minimum import litres_up
from scheduler.domain.due.deciding import DECIDES, Decider, signing_objections
from scheduler.domain.people.persons import Person
from scheduler.errors import Clash, NotAllowed, NotFound, Refused
from scheduler.language import gettext
from scheduler.storage.capacity import ConcessionRow, concession_row, concession_rows, next_concession_number
from scheduler.storage.database import Session
from scheduler.storage.paging import PageAsked
from scheduler.storage.record import append_record
from scheduler.wording.deciding import unfit_words
from scheduler.wording.figures import moment

SIDES = DECIDES | {Role(second) for second in SECOND_SIGNERS}
"""Roles that sign for one side or the other."""


def ask_concession(context: Context, hand: Hand, place: Place, asked: Lower) -> Answer:
    """Ask for a lower minimum. It changes nothing until both have signed.

    Raises:
        Refused: no reason, a time that is past or too long, or a figure that is not lower. NotAllowed: by nobody known.
    """
    asker = person_acting(context, hand.actor, ASKS, gettext("ask for a lower minimum"))

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
            asked_by_id=asker.id,
            asked_by=hand.actor.name,
            asked_at=context.now(),
            second_as=now.plant.second_signer,
        )
        remember_side(session, place.vessel_id, f"concession {row.number} asked", hand.actor)
        return _kept(session, context, row, "concession asked", 201, hand.actor.name)

    return hand_action(context, hand, place.vessel_id, act)


def sign_concession(context: Context, hand: Hand, place: Place, number: int, *, as_: str) -> Answer:
    """Sign the own side: the chief engineer's (as chief, as office, or as master while the link to the office is down), or that
    of the second signer (whom the ship names: hotel, chief officer, master).

    Args:
        as_: the side: chief, or the second signer's.

    Raises:
        NotFound: no such concession. Clash: signed so already, withdrawn, or past. NotAllowed: by nobody known, who has not that
            role, who asked, or one person for both. Refused: another side than these two.
    """
    person = person_acting(context, hand.actor, SIDES, gettext("sign a lower minimum"))

    def act(session: Session) -> Answer:
        row = _open(session, place, number, context.now())
        if as_ not in ("chief", row.second_as):
            says = f"chief or {row.second_as}"
            raise Refused(
                gettext("as: {signed_as}: {says} was expected.", signed_as=f"{as_[:40]!r}", says=says),
                faults=[("/as", says)],
            )
        chief_side = as_ == "chief"
        own, other = _signer(row, chief_side), _signer(row, not chief_side)
        if own is not None:
            raise Clash(
                gettext(
                    "Concession {number} is signed as {signed_as} already, by {name}.",
                    number=number,
                    signed_as=as_,
                    name=own.name,
                )
            )
        by, asked_by = Decider(person, hand.actor.role), Person(row.asked_by_id, row.asked_by)
        second_as = None if chief_side else row.second_as
        against = signing_objections(second_as=second_as, by=by, asked_by=asked_by, other=other)
        if against:
            raise NotAllowed(unfit_words(against))
        for act_of, first in (("asked", asked_by), ("second" if chief_side else "chief", other)):
            if first is not None:
                side = Side(place.vessel_id, f"concession {number} {act_of}", first)
                says = gettext("{name} gave another side of it already: it takes two people.", name=first.name)
                must_be_another(context, session, side, hand.actor, says)
        mine = f"concession {number} {'chief' if chief_side else 'second'}"
        remember_side(session, place.vessel_id, mine, hand.actor)
        if chief_side:
            row.chief_by_id, row.chief_by, row.chief_at = person.id, person.name, context.now()
            row.chief_as = by.role.value
        else:
            row.hotel_by_id, row.hotel_by, row.hotel_at = person.id, person.name, context.now()
        if other is not None:
            ask_plan(session, place.vessel_id, row.plant_id, context.now())
        return _kept(session, context, row, f"concession signed as {as_}", 200, hand.actor.name)

    return hand_action(context, hand, place.vessel_id, act)


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
        raise NotFound(gettext("There is no concession {number} for this plant.", number=number))
    if row.withdrawn_at is not None:
        raise Clash(
            gettext(
                "Concession {number} was withdrawn already, by {withdrawn_by}. Ask for a new one.",
                number=number,
                withdrawn_by=row.withdrawn_by,
            )
        )
    if row.to_at <= now:
        ended = moment(row.to_at, clock_of(session, place.vessel_id, now), now)
        raise Clash(gettext("Concession {number} ended on {ended}. Ask for a new one.", number=number, ended=ended))
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
