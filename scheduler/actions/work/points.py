"""Isolation points that a pump has not: said beforehand by one with a reason, signed by another as office or master."""

from typing import Any

from scheduler.actions.base.context import Answer, Context, Hand, hand_action, utc_text
from scheduler.actions.people.sides import ASKS, Side, must_be_another, person_acting, remember_side
from scheduler.actions.vessel.document import document_of, plant_of
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.base.enums import Role
from scheduler.domain.people.persons import Person
from scheduler.domain.vessel.isolation import PointRole
from scheduler.errors import Clash, NotFound, Refused
from scheduler.language import gettext
from scheduler.storage.database import Session
from scheduler.storage.paging import PageAsked
from scheduler.storage.record import append_record
from scheduler.storage.work import NotFittedRow, not_fitted_rows
from scheduler.wording.figures import capital

AS = ("office", "master")


def say_not_fitted(context: Context, hand: Hand, place: Place, point: str, reason: str) -> Answer:
    """Say that a pump has not a point of the sheet. It counts once signed, and never for a job begun on the day of signing.

    Raises:
        Refused: no such point, the supply breaker (never), or no reason. Clash: said already. NotAllowed: by nobody known.
    """
    by = person_acting(context, hand.actor, ASKS, gettext("say that a point is not fitted"))
    if not reason.strip():
        raise Refused(
            gettext("Say why it is not fitted; the reason is empty."), faults=[("/reason", gettext("this is empty"))]
        )

    def act(session: Session) -> Answer:
        vessel, _ = document_of(session, place.vessel_id)
        points = {one.name: one for one in plant_of(vessel, place.plant_id).points}
        if point not in points:
            says = gettext("one of {points} was expected", points=", ".join(points))
            raise Refused(f"point: {says}.", faults=[("/point", says)])
        if points[point].role is PointRole.SUPPLY:
            says = gettext("the supply breaker is always fitted: without it nobody opens a pump")
            raise Refused(f"point: {says}.", faults=[("/point", says)])
        before = not_fitted_rows(session, place.vessel_id, place.id)
        if any(row.point == point and row.withdrawn_at is None for row in before):
            raise Clash(
                gettext(
                    "{point} is said to be not fitted already. Sign that one, or withdraw it.",
                    point=capital(point),
                )
            )
        numbers = [row.number for row in not_fitted_rows(session, place.vessel_id)]
        row = NotFittedRow(
            vessel_id=place.vessel_id,
            number=max(numbers, default=0) + 1,
            plant_id=place.plant_id,
            pump_id=place.id,
            point=point,
            reason=reason.strip(),
            asked_by_id=by.id,
            asked_by=by.name,
            asked_at=context.now(),
        )
        remember_side(session, place.vessel_id, f"point {row.number} said", hand.actor)
        return _kept(session, context, row, "point not fitted, said", 201, hand.actor.name)

    return hand_action(context, hand, place.vessel_id, act)


def sign_not_fitted(context: Context, hand: Hand, place: Place, number: int, *, as_: str) -> Answer:
    """Sign it as office or as master, each in the own sign-in or with the own key.

    Raises:
        NotFound: no such number. Clash: signed or withdrawn. NotAllowed: by nobody known, who has not that role, or who said it.
    """
    if as_ not in AS:
        raise Refused(gettext("as: office or master was expected."), faults=[("/as", gettext("office or master"))])
    by = person_acting(context, hand.actor, frozenset({Role(as_)}), gettext("sign as {signed_as}", signed_as=as_))

    def act(session: Session) -> Answer:
        row = _standing(session, place, number)
        if row.signed_at is not None:
            raise Clash(
                gettext("Number {number} is signed already, by {signed_by}.", number=number, signed_by=row.signed_by)
            )
        said_by = Person(row.asked_by_id, row.asked_by)
        says = gettext("{asked_by} said it: another person signs it.", asked_by=row.asked_by)
        must_be_another(context, session, Side(place.vessel_id, f"point {number} said", said_by), hand.actor, says)
        row.signed_as, row.signed_by_id, row.signed_by, row.signed_at = as_, by.id, by.name, context.now()
        return _kept(session, context, row, f"point not fitted, signed as {as_}", 200, hand.actor.name)

    return hand_action(context, hand, place.vessel_id, act)


def withdraw_not_fitted(context: Context, hand: Hand, place: Place, number: int) -> Answer:
    """Take it back: from now on the point is asked for. Raises NotFound, Clash when it was withdrawn."""

    def act(session: Session) -> Answer:
        row = _standing(session, place, number)
        row.withdrawn_by, row.withdrawn_at = hand.actor.name, context.now()
        return _kept(session, context, row, "point not fitted, withdrawn", 200, hand.actor.name)

    return hand_action(context, hand, place.vessel_id, act)


def points_listed(context: Context, place: Place, page: PageAsked | None = None) -> list[dict[str, Any]]:
    """What a pump is said not to have, newest first."""
    with context.db.read() as session:
        return [_told(row) for row in reversed(not_fitted_rows(session, place.vessel_id, place.id, page))]


def _standing(session: Session, place: Place, number: int) -> NotFittedRow:
    row = next((one for one in not_fitted_rows(session, place.vessel_id, place.id) if one.number == number), None)
    if row is None:
        raise NotFound(gettext("No point of this pump is said to be not fitted under number {number}.", number=number))
    if row.withdrawn_at is not None:
        raise Clash(
            gettext(
                "Number {number} was withdrawn already, by {withdrawn_by}.",
                number=number,
                withdrawn_by=row.withdrawn_by,
            )
        )
    return row


def _kept(session: Session, context: Context, row: NotFittedRow, what: str, status: int, by: str) -> Answer:
    session.add(row)
    session.flush()
    record, _ = append_record(session, row.vessel_id, what, context.now(), {**_told(row), "by": by})
    return Answer(status, {**_told(row), "record": record})


def _told(row: NotFittedRow) -> dict[str, Any]:
    state = "withdrawn" if row.withdrawn_at else "signed" if row.signed_at else "said"
    return {
        "not_fitted": row.number,
        "pump": row.pump_id,
        "point": row.point,
        "reason": row.reason,
        "state": state,
        "said_by": row.asked_by,
        "said_at": utc_text(row.asked_at),
        "signed_as": row.signed_as,
        "signed_by": row.signed_by,
        "signed_at": utc_text(row.signed_at),
        "withdrawn_by": row.withdrawn_by,
        "withdrawn_at": utc_text(row.withdrawn_at),
    }
