"""A closed job: checked by its checker, in that person's own sign-in; or its close struck, as entered by mistake."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from scheduler.actions.base.actor import Actor, person_of
from scheduler.actions.base.context import Answer, Context, Hand, hand_action, instant
from scheduler.actions.base.pending import ask_plan
from scheduler.actions.capacity.outages import returned
from scheduler.actions.people.sides import AUTHORITY, Side, must_be_another, person_acting
from scheduler.actions.plant_state.load import load_plant
from scheduler.actions.plant_state.work import steps_of
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.base.enums import JobState, Role, Test
from scheduler.domain.due.last_done import JobId
from scheduler.domain.people.persons import Person, of_a_person, own_person, same_name, surely_same_name
from scheduler.domain.record.period import CLOSE_STRUCK, JOB_CHECKED
from scheduler.domain.vessel.job_kinds import BREAKDOWN
from scheduler.domain.work.striking import STRIKE_WITHIN
from scheduler.errors import Clash, NotAllowed, NotFound
from scheduler.language import gettext
from scheduler.storage.capacity import OutageStatus, open_outage_rows
from scheduler.storage.database import Session
from scheduler.storage.people import person_rows
from scheduler.storage.record import append_record
from scheduler.storage.vessel import AssetKind
from scheduler.storage.work import JobRow, done_rows_with, job_row, jobs_worked_on, last_sequence

CHECKS = AUTHORITY | {Role.ENGINEER}
"""Roles that sign a job as checked."""


def check_job(context: Context, hand: Hand, place: Place, job_id: JobId) -> Answer:
    """Sign a closed job as checked, as the one who was asked, or as anybody else than who did it or recorded it.

    Raises:
        NotFound: it is not closed. Clash: checked already. NotAllowed: by nobody known, by who did it, recorded it, worked on it
            or answers for a contractor, or by another than was asked.
    """
    actor = hand.actor
    person_acting(context, actor, CHECKS, gettext("sign a job as checked"))

    def act(session: Session) -> Answer:
        row = _closed(session, place, job_id)
        detail = row.detail
        if detail.get("checked_by"):
            raise Clash(gettext("This job was checked already, by {checked_by}.", checked_by=detail["checked_by"]))
        for did in ("done_by", "answers_for"):
            if same_name(str(detail.get(did) or ""), actor.name):
                raise NotAllowed(
                    gettext("{name} did it, or answers for it: another person checks it.", name=detail[did])
                )
        recorded_by = Person(str(detail.get("recorded_by_id") or ""), str(detail.get("recorded_by") or ""))
        if of_a_person(recorded_by):
            side = Side(place.vessel_id, f"job {row.key} closed", recorded_by)
            says = gettext("{name} recorded its close: another person checks it.", name=recorded_by.name)
            must_be_another(context, session, side, actor, says)
        if any(same_name(one.step.by, actor.name) for one in steps_of(session, place.vessel_id, row.key)):
            raise NotAllowed(gettext("{name} worked on it: another person checks it.", name=actor.name))
        asked_of = str(detail.get("check_asked_of") or "")
        if asked_of and asked_of != actor.person_id and not surely_same_name(asked_of, actor.name):
            raise NotAllowed(gettext("The check was asked of {asked_of}, who signs it.", asked_of=asked_of))
        row.detail = {**detail, "checked_by": actor.name, "checked_s": context.now_s(), "check": "checked"}
        row.version += 1
        session.add(row)
        payload = {
            "job_no": row.key,
            "checks_record": detail.get("record"),
            "checked_by": actor.name,
            "by": actor.name,
        }
        number, stamp = append_record(session, place.vessel_id, JOB_CHECKED, context.now(), payload)
        return Answer(200, {"job": row.key, "checked_by": actor.name, "record": number, "stamp": stamp})

    return hand_action(context, hand, place.vessel_id, act)


def who_may_check(context: Context, vessel_id: str, but: str) -> tuple[str, ...]:
    """Names of the ship's people who may sign a job as checked, without that one; in order."""
    with context.db.read() as session:
        aboard = [one for one in person_rows(session) if one.vessel_id == vessel_id and not one.withdrawn_at]
    return tuple(sorted({one.name for one in aboard if one.role in CHECKS and not same_name(one.name, but)}))


def strikeable_until(detail: Mapping[str, Any], actor: Actor, now: datetime) -> datetime | None:
    """Until when this person may strike a close, as its job is kept; none: no longer, checked meanwhile, or another's."""
    by = Person(str(detail.get("recorded_by_id") or ""), str(detail.get("recorded_by") or ""))
    until = instant(int(detail.get("recorded_s") or 0)) + STRIKE_WITHIN
    return until if own_person(by, person_of(actor)) and not detail.get("checked_by") and now <= until else None


def strike_close(context: Context, hand: Hand, place: Place, job_id: JobId, reason: str = "") -> Answer:
    """Strike a close entered by mistake: the job is open again, its pump returned and not proved until somebody looked.

    Raises:
        NotFound: it is not closed. NotAllowed: by another than who recorded it. Clash: more than ten minutes ago, checked
            meanwhile, or a later turn rests on it. What was flagged stays flagged.
    """

    def act(session: Session) -> Answer:
        now = load_plant(session, context, place.vessel_id, place.plant_id)
        row = _closed(session, place, job_id)
        detail = row.detail
        by = Person(str(detail.get("recorded_by_id") or ""), str(detail.get("recorded_by") or ""))
        if not own_person(by, person_of(hand.actor)):
            raise NotAllowed(
                gettext(
                    "A close is struck by who recorded it, {name}.",
                    name=by.name or gettext("who is not known any more"),
                )
            )
        recorded_at = instant(int(detail.get("recorded_s") or 0))
        if now.at - recorded_at > STRIKE_WITHIN:
            minutes = STRIKE_WITHIN // timedelta(minutes=1)
            raise Clash(
                gettext(
                    "A close is struck within {minutes} minutes of recording it. Correct it by a new record.",
                    minutes=minutes,
                )
            )
        if detail.get("checked_by"):
            raise Clash(
                gettext(
                    "{checked_by} signed it as checked since: a signature stays, and so does the close.",
                    checked_by=detail["checked_by"],
                )
            )
        if row.pump_id is not None and _acted_on(session, place.vessel_id, row.pump_id, recorded_at):
            raise Clash(gettext("Something was recorded of this pump since. Correct the close by a new record."))
        turns = done_rows_with(session, place.vessel_id, row.key)
        for turn in turns:
            if last_sequence(session, place.vessel_id, turn.kind, turn.subject_id) != turn.sequence:
                raise Clash(gettext("A later job rests on it by now. Correct it by a new record."))
        for turn in turns:
            key = JobId(kind=turn.kind, subject=turn.subject_id, sequence=turn.sequence).key
            other = job_row(session, place.vessel_id, key)
            if other is not None and key != row.key:
                session.delete(other)
            session.delete(turn)
        pump, closed_at = row.pump_id, row.closed_at or now.at
        if row.kind == BREAKDOWN.code:
            row.state, row.closed_at = JobState.WINDOW_OPEN.value, None
            row.version += 1
            session.add(row)
        else:
            session.delete(row)
        session.flush()
        kind = now.plant.kind(job_id.kind)
        if pump is not None and kind.takes_pump_out:
            there = Place(pump, place.vessel_id, place.plant_id, AssetKind.PUMP)
            why = "close struck, not known: go and look"
            returned(session, now.plant, there, closed_at, why, Test.NONE, None, hand.actor.name, now.at)
        payload = {
            "job_no": job_id.key,
            "strikes_record": detail.get("record"),
            "reason": reason,
            "by": hand.actor.name,
        }
        number, stamp = append_record(session, place.vessel_id, CLOSE_STRUCK, now.at, payload)
        ask_plan(session, place.vessel_id, place.plant_id, now.at)
        says = "Struck: the job is open again. What the pump is, is not known: go and look, then record it."
        return Answer(200, {"job": job_id.key, "record": number, "stamp": stamp, "says": says})

    return hand_action(context, hand, place.vessel_id, act)


def _acted_on(session: Session, vessel_id: str, pump_id: str, since: datetime) -> bool:
    """Whether the pump was put out, or worked on, since it was closed: nobody strikes what others have acted on."""
    down = any(
        one.status is OutageStatus.DOWN and one.recorded_at >= since
        for one in open_outage_rows(session, vessel_id, pump_id)
    )
    keys = jobs_worked_on(session, vessel_id, pump_id)
    return down or any(one.recorded_at > since for key in keys for one in steps_of(session, vessel_id, key))


def _closed(session: Session, place: Place, job_id: JobId) -> JobRow:
    row = job_row(session, place.vessel_id, job_id.key)
    if row is None or row.closed_at is None:
        raise NotFound(gettext("This job is not closed, so there is nothing to check or to strike."))
    return row
