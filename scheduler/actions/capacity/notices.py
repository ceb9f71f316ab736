"""Who was told that a pump stopped: recorded by one tap, listed by stop."""

import json
from datetime import datetime

from scheduler.actions.base.context import AHEAD, Answer, Context, Hand, hand_action, utc_text
from scheduler.actions.capacity.outages import down_row
from scheduler.actions.vessel.document import document_of, plant_of
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.capacity.notices import STOP_NOTICE, Notified, StopNotice, notices_of
from scheduler.errors import Clash, Refused
from scheduler.language import gettext
from scheduler.storage.database import Session
from scheduler.storage.paging import PageAsked
from scheduler.storage.record import append_record, newest_records

MOST = 200
"""Newest notices of a vessel that are looked through: far more than stand while pumps are out."""


def record_notice(context: Context, hand: Hand, place: Place, *, whom: Notified, at: datetime) -> Answer:
    """Record that somebody was told at `at` that a pump is out; telling again is another record.

    Raises:
        Clash: the pump is not out. Refused: an instant to come, or before the stop.
    """
    if at > context.now() + AHEAD:
        raise Refused(
            gettext("This is still to come; give the time of the call."), faults=[("/at", gettext("still to come"))]
        )

    def act(session: Session) -> Answer:
        down = down_row(session, place)
        if down is None:
            raise Clash(gettext("This pump is not out. There is no stop to tell of."))
        if at < down.from_at:
            raise Refused(gettext("This is before the stop."), faults=[("/at", gettext("this is before the stop"))])
        plant = plant_of(document_of(session, place.vessel_id)[0], place.plant_id)
        payload = {
            "pump": place.id,
            "serial": next(one.serial for one in plant.pumps if one.id == place.id),
            "stopped_at": down.from_at,
            "whom": whom,
            "at": at,
            "by": hand.actor.name,
        }
        number, _ = append_record(session, place.vessel_id, STOP_NOTICE, context.now(), payload)
        session.flush()
        told = [notice_members(one) for one in _notices(session, place, down.from_at)]
        return Answer(201, {"pump": place.id, "stopped_at": utc_text(down.from_at), "notices": told, "record": number})

    return hand_action(context, hand, place.vessel_id, act)


def notice_members(one: StopNotice) -> dict[str, str | int | None]:
    """A notice as answers have it."""
    return {"whom": one.whom.value, "at": utc_text(one.at), "by": one.by, "record": one.record}


def stop_notices(context: Context, place: Place) -> tuple[datetime | None, tuple[StopNotice, ...]]:
    """Since when a pump is out (none: it is not), and who was told of that stop, in order of recording."""
    with context.db.read() as session:
        down = down_row(session, place)
        return (None, ()) if down is None else (down.from_at, _notices(session, place, down.from_at))


def _notices(session: Session, place: Place, stopped_at: datetime) -> tuple[StopNotice, ...]:
    kept = newest_records(session, place.vessel_id, STOP_NOTICE, PageAsked(MOST))
    return notices_of([(one.number, json.loads(one.text)) for one in kept], place.id, stopped_at)
