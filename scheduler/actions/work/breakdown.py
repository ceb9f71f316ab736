"""A pump that failed: put out, its repair opened as a job, planned anew at once. And clogs, noted without any job."""

import json
from datetime import datetime
from typing import Any

from scheduler.actions.base.context import AHEAD, Answer, Context, Hand, hand_action, seconds, utc_text
from scheduler.actions.base.pending import ask_plan
from scheduler.actions.capacity.outages import begin_outage, end_outage, margin_left, must_be_ahead, set_down
from scheduler.actions.plan import planning
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.plant_state.work import require_no_tag
from scheduler.actions.vessel.document import document_of, plant_of
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.base.enums import JobState, Trigger
from scheduler.domain.capacity.minimum import Outage, Swept
from scheduler.domain.capacity.returning import planned_back
from scheduler.domain.due.last_done import JobId
from scheduler.domain.vessel.job_kinds import BREAKDOWN
from scheduler.errors import Clash, Refused, SchedulerError
from scheduler.language import gettext
from scheduler.storage.capacity import OutageStatus, open_outage_rows, outages_ended_at
from scheduler.storage.database import Session
from scheduler.storage.paging import PageAsked
from scheduler.storage.record import append_record, newest_records
from scheduler.storage.work import DoneRow, JobRow, job_row, job_rows, last_sequence, step_rows
from scheduler.wording.names import pump_words

CLOG = "clog noted"
LONGEST = 200


def open_breakdown(
    context: Context, hand: Hand, place: Place, *, at: datetime, reason: str, expected_at: datetime | None = None
) -> Answer:
    """Put a pump out since `at` and open the job of its repair; the answer states the margin that is left.

    A pump that is down already stays so, and the job is opened for it.

    Args:
        expected_at: when it is expected back; none: not known. Plans then assume a time, and say so.

    Raises:
        Clash: a repair of it is open already. Refused: an instant to come, an empty reason, or a return that is past.
    """
    must_be_ahead(context, expected_at)
    if not reason.strip():
        raise Refused(
            gettext("Say in a few words what failed; the reason is empty."),
            faults=[("/reason", gettext("this is empty"))],
        )
    if at > context.now() + AHEAD:
        raise Refused(gettext("That time is still to come; give the instant at which the pump failed."))

    def act(session: Session) -> Answer:
        vessel, _ = document_of(session, place.vessel_id)
        plant = plant_of(vessel, place.plant_id)
        rows = [
            row
            for row in job_rows(session, place.vessel_id, place.plant_id)
            if (row.kind, row.subject_id) == (BREAKDOWN.code, place.id)
        ]
        if rows:
            name = pump_words(plant, at, place.id)
            more = {"job": rows[0].key}
            raise Clash(gettext("A repair of {name} is open already. Go on with that one.", name=name), more=more)
        outages = open_outage_rows(session, place.vessel_id, place.id)
        was_down = any(row.status is OutageStatus.DOWN for row in outages)
        if not was_down:
            for row in outages:
                end_outage(session, row, at)
            set_down(session, place, at, reason.strip(), hand.actor.name, context.now(), expected_at)
        elif expected_at is not None:
            for row in outages:
                row.expected_at = expected_at
                session.add(row)
        done = last_sequence(session, place.vessel_id, BREAKDOWN.code, place.id)
        job_id = JobId(kind=BREAKDOWN.code, subject=place.id, sequence=done + 1)
        session.add(
            JobRow(
                key=job_id.key,
                vessel_id=place.vessel_id,
                plant_id=place.plant_id,
                kind=BREAKDOWN.code,
                subject_id=place.id,
                sequence=job_id.sequence,
                pump_id=place.id,
                position_id=plant.position_of(place.id, at),
                state=JobState.WINDOW_OPEN.value,
                due_at=at,
                window_at=at,
                limit_at=at,
                trigger=Trigger.CALENDAR,
                detail={"reason": reason.strip()},
            )
        )
        session.flush()
        payload = {
            "job_no": job_id.key,
            "pump": place.id,
            "serial": next(p.serial for p in plant.pumps if p.id == place.id),
            "at": at,
            "reason": reason.strip(),
            "was_down": was_down,
            "expected_at": expected_at,
            "by": hand.actor.name,
        }
        number, _ = append_record(session, place.vessel_id, "breakdown opened", context.now(), payload)
        ask_plan(session, place.vessel_id, place.plant_id, context.now())
        told = margin_left(session, plant, place.vessel_id, context.now())
        back = planned_back(
            Outage(pump=place.id, from_at=at, to_at=None, counts_for=Swept(0.0), reason="", expected_at=expected_at),
            context.now(),
        )
        planned = {
            "plan_has_it_back_at": back and utc_text(back.at),
            "assumed": back is None or back.assumed,
        }
        return Answer(201, {"job": job_id.key, "pump": place.id, "state": "down", **told, **planned, "record": number})

    return hand_action(context, hand, place.vessel_id, act)


def runs_after_all(context: Context, hand: Hand, place: Place, *, at: datetime, reason: str = "") -> Answer:
    """A pump that was put out runs after all, untouched: the stop stays on record with its minutes, its repair is withdrawn.

    It counts again as it did before the stop.

    Raises:
        Clash: no repair of it is open, or work on it was recorded: then it comes back by its acts. Refused: an instant to
            come, or before the stop.
    """
    if at > context.now() + AHEAD:
        raise Refused(
            gettext("This is still to come; give the instant at which it ran again."),
            faults=[("/at", gettext("still to come"))],
        )

    def act(session: Session) -> Answer:
        row = next(
            (
                one
                for one in job_rows(session, place.vessel_id, place.plant_id)
                if (one.kind, one.subject_id) == (BREAKDOWN.code, place.id)
            ),
            None,
        )
        outages = open_outage_rows(session, place.vessel_id, place.id)
        down = next((one for one in outages if one.status is OutageStatus.DOWN), None)
        if row is None or down is None:
            raise Clash(gettext("This pump is not out with a repair open."))
        if step_rows(session, place.vessel_id, row.key):
            raise Clash(
                gettext("Work on its repair is on record: bring it back by its acts, from the locks to the test.")
            )
        plant = plant_of(document_of(session, place.vessel_id)[0], place.plant_id)
        require_no_tag(session, place.vessel_id, place.id, plant, at)
        if at < down.from_at:
            raise Refused(gettext("This is before the stop."), faults=[("/at", gettext("this is before the stop"))])
        minutes = (seconds(at) - seconds(down.from_at)) // 60
        end_outage(session, down, at)
        for before in outages_ended_at(session, place.vessel_id, place.id, down.from_at):
            begin_outage(
                session,
                place,
                at,
                before.status,
                before.counts_for_litres_per_h,
                reason=before.reason,
                by=hand.actor.name,
                now=context.now(),
            )
        detail = {**row.detail, "ran_after_all_minutes": minutes}
        row.state, row.closed_at, row.detail = JobState.WITHDRAWN.value, at, detail
        row.version += 1
        session.add(row)
        done = last_sequence(session, place.vessel_id, BREAKDOWN.code, place.id)
        if done < row.sequence:  # the number is used: the next breakdown gets another
            session.add(
                DoneRow(
                    vessel_id=place.vessel_id,
                    kind=BREAKDOWN.code,
                    subject_id=place.id,
                    sequence=row.sequence,
                    at=at,
                    running_seconds=0,
                    estimated=True,
                    job_key=row.key,
                )
            )
        payload = {
            "job_no": row.key,
            "pump": place.id,
            "stopped_at": down.from_at,
            "ran_again_at": at,
            "minutes": minutes,
            "reason": reason.strip(),
            "by": hand.actor.name,
        }
        number, _ = append_record(session, place.vessel_id, "runs after all", context.now(), payload)
        ask_plan(session, place.vessel_id, place.plant_id, context.now())
        says = f"It runs after all; the stop of {minutes} min stays on record."
        return Answer(200, {"job": row.key, "pump": place.id, "minutes": minutes, "record": number, "says": says})

    return hand_action(context, hand, place.vessel_id, act)


def plan_again(context: Context, place: Place, *, soon: bool = False) -> str:
    """Plan the plant at once instead of at the next tick; in words how it went. What is asked for stays asked for.

    soon: wait no longer than a moment.
    """
    try:
        if soon and planning.propose_soon(context, place) is not None:
            return "The new plan is still being made."
        held_plan = planning.propose(context, place.vessel_id, place.plant_id)
    except SchedulerError as error:
        return f"The new plan is still being made: {error.says}"
    lost = len(held_plan.plan.shortfalls)
    short = f", {lost} job{'' if lost == 1 else 's'} without a place" if lost else ""
    return f"Planned anew{short}; look at the plan and take it."


def note_clog(
    context: Context,
    hand: Hand,
    vessel_id: str,
    *,
    at: datetime,
    object_found: str,
    riser: str,
    deck: str,
    text: str = "",
) -> Answer:
    """Note a clog that was cleared: what it was, on which riser and deck. It needs no job.

    Raises:
        Refused: no object, neither riser nor deck, too long, or an instant to come.
    """
    hand.actor.must_reach(vessel_id, f"vessel {vessel_id}")
    faults = []
    if not object_found.strip():
        faults.append(("/object", gettext("this is empty; say what it was, or unknown")))
    if not (riser.strip() or deck.strip()):
        faults.append(("/riser", gettext("give the riser or the deck")))
    for name, said in (("object", object_found), ("riser", riser), ("deck", deck), ("text", text)):
        if len(said) > LONGEST:
            faults.append((f"/{name}", gettext("at most {longest} letters are expected", longest=LONGEST)))
    if at > context.now() + AHEAD:
        faults.append(("/at", gettext("this is still to come")))
    if faults:
        raise Refused("; ".join(f"{place.lstrip('/')}: {says}" for place, says in faults) + ".", faults=faults)

    def act(session: Session) -> Answer:
        document_of(session, vessel_id)
        payload = {
            "at": at,
            "object": object_found.strip(),
            "riser": riser.strip(),
            "deck": deck.strip(),
            "text": text.strip(),
            "by": hand.actor.name,
        }
        number, _ = append_record(session, vessel_id, CLOG, context.now(), payload)
        return Answer(201, {"record": number, "says": f"Noted as record {number}."})

    return hand_action(context, hand, vessel_id, act)


def clogs_of(context: Context, vessel_id: str, page: PageAsked | None = None) -> list[dict[str, Any]]:
    """A vessel's clog notes, newest first."""
    with context.db.read() as session:
        document_of(session, vessel_id)
        kept = newest_records(session, vessel_id, CLOG, page)
    wanted = ("at", "object", "riser", "deck", "text", "by")
    return [{"record": one.number, **{name: json.loads(one.text).get(name) for name in wanted}} for one in kept]


def ran_words(context: Context, now: PlantState, pump_id: str) -> str:
    """That a pump was put out and ran after all, with the minutes it stood; empty when none such is on record."""
    if not any(one.id == pump_id for one in now.plant.pumps):
        return ""
    with context.db.read() as session:
        newest = last_sequence(session, now.vessel.id, BREAKDOWN.code, pump_id)
        key = JobId(kind=BREAKDOWN.code, subject=pump_id, sequence=newest).key
        row = job_row(session, now.vessel.id, key)
    minutes = None if row is None or row.state != JobState.WITHDRAWN.value else row.detail.get("ran_after_all_minutes")
    if minutes is None:
        return ""
    return gettext(
        "{pump} runs after all. The stop of {minutes} min stays on record.",
        pump=pump_words(now.plant, now.at, pump_id),
        minutes=minutes,
    )
