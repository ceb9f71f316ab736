"""Handover notes signed by both, and the month's review signed by the chief engineer."""

import json
import re
from collections.abc import Collection
from datetime import date, timedelta
from typing import Any

from scheduler.actions.base.context import Answer, Context, Hand, hand_action, utc_text
from scheduler.actions.people.sides import Side, must_be_another, person_acting, remember_side
from scheduler.actions.vessel.document import document_of
from scheduler.actions.vessel.fleet import offset_minutes
from scheduler.actions.work.carried import carried, hung_by
from scheduler.actions.work.handover_facts import WRITTEN, changed_since, facts_in
from scheduler.domain.base.enums import Role
from scheduler.domain.people.persons import Person
from scheduler.domain.record.period import REVIEW
from scheduler.errors import Clash, NotFound, Refused
from scheduler.language import gettext
from scheduler.storage.database import Session
from scheduler.storage.paging import PageAsked
from scheduler.storage.record import append_record, chain_head, newest_records
from scheduler.storage.vessel import first_stored_at
from scheduler.storage.work import HandoverRow, handover_row, handover_rows
from scheduler.wording.handover import handover_reasons_words

ABOARD = frozenset({Role.ENGINEER, Role.CHIEF})
"""Roles that hand over and take over."""
LONGEST_TEXT = 5000
_MONTH = re.compile(r"\d{4}-(0[1-9]|1[0-2])")


def write_handover(context: Context, hand: Hand, vessel_id: str, text: str) -> Answer:
    """Write and sign a handover note; who takes over signs it after.

    Raises:
        Refused: it is empty or too long. NotAllowed: by nobody known, or who hands over nothing aboard.
    """
    hand.actor.must_reach(vessel_id, f"vessel {vessel_id}")
    writer = person_acting(context, hand.actor, ABOARD, "hand over")
    if not text.strip() or len(text) > LONGEST_TEXT:
        says = gettext(
            "1 to {most} letters are expected; write what the one who takes over has to know",
            most=LONGEST_TEXT,
        )
        raise Refused(f"text: {says}.", faults=[("/text", says)])

    def act(session: Session) -> Answer:
        document_of(session, vessel_id)
        number = max((row.number for row in handover_rows(session, vessel_id)), default=0) + 1
        session.add(
            HandoverRow(
                vessel_id=vessel_id,
                number=number,
                text=text.strip(),
                written_by_id=writer.id,
                written_by=hand.actor.name,
                written_at=context.now(),
            )
        )
        remember_side(session, vessel_id, f"handover {number} written", hand.actor)
        open_now = carried(session, context, vessel_id)
        payload = {"handover": number, "text": text.strip(), "carries": open_now, "by": hand.actor.name}
        record, _ = append_record(session, vessel_id, WRITTEN, context.now(), payload)
        said = {"handover": number, "record": record, "says": "Written; who takes over signs it."}
        return Answer(201, {**said, "carries": open_now})

    return hand_action(context, hand, vessel_id, act)


def sign_handover(context: Context, hand: Hand, vessel_id: str, number: int, looked_at: Collection[str] = ()) -> Answer:
    """Sign a handover note as the one who takes over.

    Args:
        looked_at: the hanging tags that both looked at together, as `tag_mark` has them.

    Raises:
        NotFound: no such note. NotAllowed: by nobody known, by who takes over nothing aboard, or by the one who wrote it. Clash: it
            is signed; a point was not looked at, a permit not issued anew, or something changed since the first signature.
    """
    hand.actor.must_reach(vessel_id, f"vessel {vessel_id}")
    person_acting(context, hand.actor, ABOARD, "take over")

    def act(session: Session) -> Answer:
        row = handover_row(session, vessel_id, number)
        if row is None:
            raise NotFound(gettext("There is no handover note {number} on this vessel.", number=number))
        if row.signed_at is not None:
            raise Clash(
                gettext(
                    "Handover note {number} is signed already, by {signed_by}.", number=number, signed_by=row.signed_by
                )
            )
        writer = Person(row.written_by_id, row.written_by)
        says = gettext("A handover note is signed by two people: who takes over signs it, not who wrote it.")
        must_be_another(context, session, Side(vessel_id, f"handover {number} written", writer), hand.actor, says)
        hang = hung_by(session, vessel_id, writer)
        if hang:
            raise Clash(
                gettext(
                    "Locks of {written_by} hang at {hang}: nobody signs off with locks hanging. Take each over "
                    "with an own lock first; where there is no relief, the chief engineer does, on record.",
                    written_by=row.written_by,
                    hang=", ".join(hang),
                )
            )
        facts = facts_in(session, context, vessel_id)
        against = [*facts.against(looked_at), *changed_since(session, vessel_id, number, facts)]
        if against:
            raise Clash(handover_reasons_words(against))
        row.signed_by, row.signed_at = hand.actor.name, context.now()
        session.add(row)
        payload = {"handover": number, "written_by": row.written_by, "by": hand.actor.name}
        record, _ = append_record(session, vessel_id, "handover note signed", context.now(), payload)
        return Answer(200, {"handover": number, "record": record, "says": f"Signed by {hand.actor.name}."})

    return hand_action(context, hand, vessel_id, act)


def handovers_of(context: Context, vessel_id: str, page: PageAsked | None = None) -> list[dict[str, Any]]:
    """A vessel's handover notes, newest first."""
    with context.db.read() as session:
        rows = handover_rows(session, vessel_id, page)
    return [
        {
            "handover": row.number,
            "text": row.text,
            "written_by": row.written_by,
            "written_at": utc_text(row.written_at),
            "signed_by": row.signed_by,
            "signed_at": utc_text(row.signed_at),
        }
        for row in reversed(rows)
    ]


def sign_review(context: Context, hand: Hand, vessel_id: str, month: str, text: str) -> Answer:
    """The chief engineer signs the review of a month that is over; what it rests on is the record up to here.

    Raises:
        NotAllowed: by anybody else, or by nobody known. Refused: no month, or one that is not over. Clash: it is signed.
    """
    hand.actor.must_reach(vessel_id, f"vessel {vessel_id}")
    person_acting(context, hand.actor, frozenset({Role.CHIEF}), gettext("sign the month's review"))
    if not _MONTH.fullmatch(month):
        says = gettext("a month is expected, as 2026-10")
        raise Refused(f"month: {says}.", faults=[("/month", says)])
    if len(text) > LONGEST_TEXT:
        says = gettext("at most {most} letters are expected", most=LONGEST_TEXT)
        raise Refused(f"text: {says}.", faults=[("/text", says)])

    def act(session: Session) -> Answer:
        document_of(session, vessel_id)
        aboard = context.now() + timedelta(minutes=offset_minutes(session, vessel_id, context.now()))
        if month >= f"{aboard:%Y-%m}":
            says = gettext("{month} is not over yet; sign it when it is", month=month)
            raise Refused(f"month: {says}.", faults=[("/month", says)])
        before = next((one for one in _reviews(session, vessel_id) if one["month"] == month), None)
        if before is not None:
            raise Clash(gettext("The review of {month} was signed already, by {by}.", month=month, by=before["by"]))
        last, stamp = chain_head(session, vessel_id)
        payload = {
            "month": month,
            "text": text.strip(),
            "after_record": last,
            "after_stamp": stamp,
            "by": hand.actor.name,
        }
        record, _ = append_record(session, vessel_id, REVIEW, context.now(), payload)
        return Answer(201, {"month": month, "record": record, "says": f"Signed by {hand.actor.name}."})

    return hand_action(context, hand, vessel_id, act)


def month_to_sign(session: Session, vessel_id: str, on: date) -> date | None:
    """The first day of the month before a ship's day, where the vessel was known in it and its review is not signed; else none.

    Args:
        on: the ship's day now.
    """
    ended = on.replace(day=1)
    month = (ended - timedelta(days=1)).replace(day=1)
    since_at = first_stored_at(session, vessel_id)
    if since_at is None or since_at.date() >= ended:
        return None
    newest = _reviews(session, vessel_id, PageAsked(limit=3))
    return None if any(one["month"] == f"{month:%Y-%m}" for one in newest) else month


def reviews_of(context: Context, vessel_id: str, page: PageAsked | None = None) -> list[dict[str, Any]]:
    """A vessel's signed reviews, newest first."""
    with context.db.read() as session:
        return _reviews(session, vessel_id, page)


def _reviews(session: Session, vessel_id: str, page: PageAsked | None = None) -> list[dict[str, Any]]:
    told = []
    for record in newest_records(session, vessel_id, REVIEW, page):
        members = json.loads(record.text)
        told.append(
            {
                "month": members["month"],
                "text": members["text"],
                "by": members["by"],
                "record": record.number,
                "at": f"{record.recorded_at:%Y-%m-%dT%H:%M:%SZ}",
            }
        )
    return told
