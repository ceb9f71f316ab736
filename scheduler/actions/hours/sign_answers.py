"""Answer what the hours say, and take an answer back once. A record each; nothing else is moved by it."""

from dataclasses import dataclass
from datetime import date

from scheduler.actions.base.context import Answer, Context, Hand, hand_action
from scheduler.actions.hours.signs import OneSign, day_of, epoch_date, folded_plant
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.hours.sign_values import SignEnd
from scheduler.errors import Clash, NotFound, Refused
from scheduler.language import gettext
from scheduler.storage.database import Session
from scheduler.storage.hours.signs import SignAnswerRow, sign_answer_rows, sign_row, touch_signs
from scheduler.storage.record import append_record
from scheduler.wording.signs import CAUSES

LONGEST_TEXT, LONGEST_REASON = 500, 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerAsked:
    """What a person says of a sign. cause: of `CAUSES`. until_on: last day of a known cause; none for good."""

    cause: str
    text: str = ""
    until_on: date | None = None


def answer_sign(context: Context, hand: Hand, place: Place, number: int, asked: AnswerAsked) -> Answer:
    """Record the answer to an open sign.

    Raises:
        NotFound: the plant has no such sign. Clash: it is closed already. Refused: a cause, text or date that cannot be.
    """
    if asked.cause not in CAUSES:
        says = gettext(
            '"{cause}" is no answer: one of {causes} was expected.', cause=asked.cause[:40], causes=", ".join(CAUSES)
        )
        raise Refused(f"cause: {says}", faults=[("/cause", says)])
    if len(asked.text) > LONGEST_TEXT:
        says = gettext("{count} letters: {most} at most were expected.", count=len(asked.text), most=LONGEST_TEXT)
        raise Refused(f"text: {says}", faults=[("/text", says)])
    end = SignEnd(CAUSES[asked.cause][0])
    if asked.until_on is not None and (end is not SignEnd.KNOWN or asked.until_on < epoch_date(day_of(context.now()))):
        says = gettext("a last day that is not past was expected, and only of a known cause; leave it out for good.")
        raise Refused(f"until_on: {says}", faults=[("/until_on", says)])
    numbers = {one.number: one for one in folded_plant(context, place.vessel_id, place.plant_id).signs}

    def act(session: Session) -> Answer:
        one = numbers.get(number)
        if one is None:
            raise _unknown(number)
        before = sign_answer_rows(session, place.vessel_id, [number])
        if one.sign.end is not None:
            raise Clash(
                gettext("Sign {number} is closed already: {end}.", number=number, end=gettext(one.sign.end.value))
            )
        if any(row.undone_at is None and day_of(row.at) > (one.sign.asked_again_day or 0) for row in before):
            raise Clash(
                gettext(
                    "Sign {number} was answered already by {by}; take that back first.", number=number, by=before[-1].by
                )
            )
        session.add(
            SignAnswerRow(
                vessel_id=place.vessel_id,
                sign=number,
                number=len(before) + 1,
                answer=end.value,
                cause=asked.cause,
                text=asked.text.strip(),
                until_on=asked.until_on,
                by=hand.actor.name,
                at=context.now(),
            )
        )
        payload = _payload(place, number, one) | {
            "answer": end.value,
            "cause": CAUSES[asked.cause][1],
            "text": asked.text.strip(),
            "until_on": None if asked.until_on is None else asked.until_on.isoformat(),
            "by": hand.actor.name,
        }
        record, _ = append_record(session, place.vessel_id, "sign answered", context.now(), payload)
        return Answer(201, {"sign": number, "answer": end.value, "record": record})

    return hand_action(context, hand, place.vessel_id, act)


def undo_sign_answer(context: Context, hand: Hand, place: Place, number: int, reason: str) -> Answer:
    """Take the newest answer to a sign back; both stay on record, and it is taken back once.

    Raises:
        NotFound: no such sign. Clash: nobody answered it, or it was taken back already. Refused: no reason.
    """
    if not reason.strip() or len(reason) > LONGEST_REASON:
        says = gettext("say why in a few words, it stays in the record.")
        raise Refused(f"reason: {says}", faults=[("/reason", says)])
    numbers = {one.number: one for one in folded_plant(context, place.vessel_id, place.plant_id).signs}

    def act(session: Session) -> Answer:
        row = sign_row(session, place.vessel_id, number)
        if row is None or row.plant_id != place.plant_id:
            raise _unknown(number)
        answers = sign_answer_rows(session, place.vessel_id, [number])
        newest = answers[-1] if answers else None
        if newest is None:
            raise Clash(gettext("Nobody answered sign {number}, so there is nothing to take back.", number=number))
        if newest.undone_at is not None:
            raise Clash(
                gettext(
                    "{undone_by} took that answer back already. Answer anew what is so.", undone_by=newest.undone_by
                )
            )
        newest.undone_by, newest.undone_at = hand.actor.name, context.now()
        session.add(newest)
        touch_signs(session, place.vessel_id, place.plant_id, day_of(newest.at))
        one = numbers.get(number)
        payload = ({"sign": number, "plant": place.plant_id} if one is None else _payload(place, number, one)) | {
            "answer": newest.answer,
            "answered_by": newest.by,
            "reason": reason.strip(),
            "by": hand.actor.name,
        }
        record, _ = append_record(session, place.vessel_id, "sign answer taken back", context.now(), payload)
        return Answer(200, {"sign": number, "answer": None, "record": record})

    return hand_action(context, hand, place.vessel_id, act)


def _payload(place: Place, number: int, one: OneSign) -> dict[str, object]:
    return {
        "sign": number,
        "plant": place.plant_id,
        "position": one.position or "",
        "began_on": epoch_date(one.sign.began_day).isoformat(),
        "seen_on": epoch_date(one.sign.seen_day).isoformat(),
        "percent": one.sign.direction * one.sign.percent,
    }


def _unknown(number: int) -> NotFound:
    return NotFound(
        gettext("There is no sign {number} of this plant. Its signs are listed with their numbers.", number=number)
    )
