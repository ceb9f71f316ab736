"""A job closed: what it lacks, when and at what hours it was done, what it renews, what goes on record."""

from collections.abc import Sequence
from datetime import timedelta
from math import ceil
from typing import Any

from scheduler.actions.base.actor import person_of
from scheduler.actions.base.context import Answer, Context, Hand, hand_action, seconds, utc_text
from scheduler.actions.base.pending import ask_plan
from scheduler.actions.capacity.outages import returned
from scheduler.actions.hours.ledger import derive_vessel
from scheduler.actions.people.sides import remember_side
from scheduler.actions.plant_state.load import PlantState, hours_then, load_plant
from scheduler.actions.plant_state.open_jobs import kind_of, open_job
from scheduler.actions.plant_state.stored import outage_of
from scheduler.actions.plant_state.work import StoredStep, require_no_tag, state_of, steps_of
from scheduler.actions.vessel.fleet import Place
from scheduler.actions.work.closing_checks import (
    Close,
    Lacks,
    hours_at_close,
    lacks_of,
    must_be_finished,
    must_be_named,
    must_fit_in_time,
    with_steps,
)
from scheduler.actions.work.nonconformities import open_about, open_for
from scheduler.actions.work.so_far import must_be_newest, work_summary
from scheduler.domain.base.enums import JobState, Subject, Test
from scheduler.domain.capacity.minimum import check_outage
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.last_done import JobId
from scheduler.domain.due.subjects import renewals, where
from scheduler.domain.hours.running import RunningHours
from scheduler.domain.record.closed_job import (
    LAST_NOT_KNOWN,
    NO_DUE_POINT,
    ClosedJob,
    DuePoint,
    HoursSource,
    Verdict,
    due_point_of,
)
from scheduler.domain.record.period import NOT_CHECKED
from scheduler.domain.vessel.job_kinds import BREAKDOWN, JobKind
from scheduler.domain.work.against import Against, Objection
from scheduler.domain.work.closing import ASKED
from scheduler.domain.work.paper import PaperAct
from scheduler.domain.work.state import WorkState
from scheduler.domain.work.testing import serves_as_periodic
from scheduler.shiptime import ship_time
from scheduler.storage.capacity import outage_rows
from scheduler.storage.database import Session
from scheduler.storage.record import append_record
from scheduler.storage.vessel import AssetKind
from scheduler.storage.work import DoneRow, JobRow, job_row

CLOSE_FLAGGED = "closing the job"
"""What a non-conformity is about that a close with something missing opened."""
MOST_HOURS_OPEN = 24 * 366
"""Longer than this no pump is open for a job; the margin meanwhile is not worked out."""


def close_job(
    context: Context, hand: Hand, place: Place, job_id: JobId, closing: Close, *, if_match: int | None = None
) -> Answer:
    """Close an occurrence, or record that its test failed (it stays open then and its pump counts nothing).

    Passed: the pump counts in full again. None: the job is closed, the pump is returned but not proved. What the kind
    renews starts anew.

    Raises:
        Clash: closed before. Stale: the work has gone on since `if_match`. Refused: a later turn than the open one, an
            instant to come, before the subject was in place or before the turn before, hours that the counter has not
            reached, nobody named, the checker is the doer.
    """
    derive_vessel(context, place.vessel_id)
    return hand_action(
        context,
        hand,
        place.vessel_id,
        lambda session: record_close(session, context, hand, place, job_id, closing, if_match=if_match),
    )


def record_close(
    session: Session,
    context: Context,
    hand: Hand,
    place: Place,
    job_id: JobId,
    closing: Close,
    *,
    if_match: int | None = None,
) -> Answer:
    """A close within a transaction; the vessel's hours are derived before it. Raises as `close_job` does."""
    now = load_plant(session, context, place.vessel_id, place.plant_id)
    kept = steps_of(session, place.vessel_id, job_id.key)
    work = state_of(kept)
    kind = kind_of(now.plant, job_id)
    job = open_job(session, now, job_id)
    must_be_named(closing)
    must_fit_in_time(now, kind, job_id, closing)
    must_be_newest(kept, if_match)
    must_be_finished(kept, work, closing, now.offset_minutes)
    ran, source, remark = hours_at_close(session, now, kind, job_id, closing)
    lacks = lacks_of(session, now, kind, job_id, closing, kept, work)
    return _close(
        session, hand, now, kind, job, with_steps(closing, kept, work), kept, work, ran, source, remark, lacks
    )


def _close(
    session: Session,
    hand: Hand,
    now: PlantState,
    kind: JobKind,
    job: DueJob,
    closing: Close,
    kept: Sequence[StoredStep],
    done: WorkState,
    ran: RunningHours | None,
    source: HoursSource | None,
    remark: str,
    lacks: Lacks,
) -> Answer:
    vessel_id, plant, key = now.vessel.id, now.plant, job.job_id.key
    pump, position = where(plant, kind.subject, job.job_id.subject, closing.done_at)
    work = work_summary(kept, done)
    least = _least_margin(session, now, pump, closing) if pump is not None and kind.takes_pump_out else None
    record = ClosedJob(
        vessel=now.vessel.name,
        position=now.position_name(position),
        pump_serial=now.serial_of(pump) or None,
        job_kind=kind.name,
        job_no=key,
        due=_due_point(kind, job),
        done_at=closing.done_at,
        utc_offset_minutes=now.offset_minutes,
        running_seconds=None if ran is None else ran.seconds,
        hours_source=source,
        done_by=closing.done_by.strip(),
        checked_by=None,
        recorded_by=hand.actor.name,
        findings="; ".join(filter(None, (closing.findings, work["findings"], remark))),
        test=closing.test,
        opened_at=closing.opened_at,
        least_margin_swept_m3_per_h=least,
        opened_as_shown=_opened_as_shown(now, key, closing),
        permit_no=closing.permit_no,
        tags=work["tags"],
        parts_used=work["parts_used"],
        measures=work["measures"],
        lowest_vacuum_kpa=work["lowest_vacuum_kpa"],
    )
    failed = closing.test is Test.FAILED
    words = "test failed, job stays open" if failed else ClosedJob.KIND
    flags = lacks.words(now.offset_minutes, from_paper=closing.from_paper)
    payload = {
        **record.payload(),
        "reason": closing.reason,
        "company": closing.company.strip(),
        "answers_for": closing.answers_for.strip(),
        "from_paper": closing.from_paper,
        "opened_as_shown": record.opened_as_shown,
        "check": _check_words(closing),
        "tests": work["tests"],
        "flags": flags,
        **({"on_paper": [_on_paper(one) for one in closing.on_paper]} if closing.on_paper else {}),
        "not_recorded": [{"act": one.act, "names": list(one.names)} for one in lacks.skipped],
    }
    number, stamp = append_record(session, vessel_id, words, now.at, payload)
    if not failed and record.verdict is Verdict.LATE:
        open_for(session, now, job, hand.actor.name)
    if not failed and (lacks.breach or lacks.against):
        named = tuple(name for one in lacks.skipped if one.act in ASKED for name in (one.act, *one.names))
        gone = [Objection(Against.NEVER_RECORDED, {"names": named})] if lacks.breach else []
        open_about(session, now, key, CLOSE_FLAGGED, [*gone, *lacks.against], hand.actor.name)
    if pump is not None and kind.takes_pump_out:
        require_no_tag(session, vessel_id, pump, now.plant, now.at)
        place = Place(pump, vessel_id, plant.id, AssetKind.PUMP)
        reason = closing.reason or f"{kind.name}, {key}"
        broken = any(one.job_id.subject == pump for one in now.breakdowns) and kind.code != BREAKDOWN.code
        if not (broken and closing.test is Test.NONE):  # without a test another job does not bring back what broke down
            returned(session, plant, place, closing.done_at, reason, closing.test, None, hand.actor.name, now.at)
    renewed: list[str] = []
    if not failed:
        _mark_done(
            session,
            hand,
            now,
            job,
            closing,
            0 if ran is None else ran.seconds,
            source is HoursSource.ESTIMATED,
            number,
            flags,
            verdict=record.verdict,
        )
        for code, subject in renewals(plant, kind, job.job_id.subject, closing.done_at):
            other = plant.kind(code)
            if other.takes_pump_out or serves_as_periodic(plant, done):
                renewed += _renew(session, hand, now, other, subject, closing, key, number)
    ask_plan(session, vessel_id, plant.id, now.at)
    after = _after(closing.test, pump is not None and kind.takes_pump_out)
    return Answer(
        200,
        {
            "job": key,
            "closed": not failed,
            "verdict": None if failed else record.verdict.value,
            "pump": pump,
            "pump_state": after,
            "renewed": renewed,
            "running_hours": None if ran is None else round(ran.hours, 2),
            "hours_source": source and source.value,
            "remark": remark,
            "flags": flags,
            "check": payload["check"],
            "record": number,
            "stamp": stamp,
        },
    )


def _on_paper(one: PaperAct) -> dict[str, Any]:
    return {"act": one.act, "at": utc_text(one.at), **one.particulars}


def _due_point(kind: JobKind, job: DueJob) -> DuePoint:
    if kind is BREAKDOWN:
        return NO_DUE_POINT
    if job.state is JobState.NOT_KNOWN:
        return LAST_NOT_KNOWN
    return due_point_of(
        kind,
        trigger=job.trigger,
        due_running_seconds=job.due_running_seconds,
        calendar_due_at=job.calendar_due_at,
        postponed_to_at=job.postponed_to,
        limit_from="tolerance of the job kind" if job.first_set_at is None else "first date set by the chief engineer",
    )


def _least_margin(session: Session, now: PlantState, pump: str, closing: Close) -> float | None:
    """Smallest available minus minimum while the pump was out, swept m3/h, of the outages that truly were; none when it is not
    known since when it was out."""
    if closing.opened_at is None:
        return None
    rows = outage_rows(session, now.vessel.id, now.plant.id, since_at=closing.opened_at)
    hours = max(1, ceil((closing.done_at - closing.opened_at) / timedelta(hours=1)))
    if hours > MOST_HOURS_OPEN:
        return None
    found = check_outage(
        now.plant,
        [outage_of(row) for row in rows],
        pump,
        at=closing.opened_at,
        hours=hours,
        offset_minutes=now.offset_minutes,
        whole=now.capacities,
        look_ahead_days=0,
        concessions=now.concessions,
    )
    return found.least_margin_litres_per_h / 1000


def _opened_as_shown(now: PlantState, key: str, closing: Close) -> bool:
    """Whether the work began on the ship's day that the plan aboard, and the calendar, had for it."""
    slot = None if now.taken is None else now.taken.times().get(key)
    began = closing.opened_at or closing.done_at
    clock = now.offset_minutes
    return slot is not None and ship_time(slot[0], clock).date() == ship_time(began, clock).date()


def _check_words(closing: Close) -> str:
    """How the check of the work stands at the close: "not checked" until the person asked signs."""
    if closing.from_paper and closing.checked_by:
        return f"as on sheet: {closing.checked_by.strip()}"
    return f"{NOT_CHECKED}, asked of {closing.checked_by.strip()}" if closing.checked_by else NOT_CHECKED


def _after(test: Test, out: bool) -> str | None:
    if not out:
        return None
    return {Test.PASSED: "proved", Test.NONE: "returned, not proved", Test.FAILED: "down: the test failed"}[test]


def _mark_done(
    session: Session,
    hand: Hand,
    now: PlantState,
    job: DueJob,
    closing: Close,
    ran_s: int,
    estimated: bool,
    record: int,
    flags: Sequence[str] = (),
    by: str | None = None,
    verdict: Verdict | None = None,
) -> None:
    job_id = job.job_id
    session.add(
        DoneRow(
            vessel_id=now.vessel.id,
            kind=job_id.kind,
            subject_id=job_id.subject,
            sequence=job_id.sequence,
            at=closing.done_at,
            running_seconds=ran_s,
            estimated=estimated,
            job_key=by or job_id.key,
        )
    )
    detail: dict[str, Any] = {
        "done_by": closing.done_by,
        "checked_by": None,
        "check": _check_words(closing),
        "check_asked_of": closing.checked_by,
        "company": closing.company.strip(),
        "answers_for": closing.answers_for.strip(),
        "from_paper": closing.from_paper,
        "flags": list(flags),
        "test": closing.test.value,
        "findings": closing.findings,
        "permit_no": closing.permit_no,
        "running_seconds": ran_s if job.interval_seconds is not None else None,
        "record": record,
        "verdict": None if verdict is None else verdict.value,
        "renewed_by": by,
        "recorded_by": hand.actor.name,
        "recorded_by_id": person_of(hand.actor).id,
        "recorded_s": seconds(now.at),
    }
    remember_side(session, now.vessel.id, f"job {job_id.key} closed", hand.actor)
    row = job_row(session, now.vessel.id, job_id.key)
    if row is None:
        row = JobRow(
            key=job_id.key,
            vessel_id=now.vessel.id,
            plant_id=now.plant.id,
            kind=job_id.kind,
            subject_id=job_id.subject,
            sequence=job_id.sequence,
            state=JobState.DONE.value,
            due_at=job.due_at,
            window_at=job.window_opens_at,
            limit_at=job.limit_at or job.due_at,
            trigger=job.trigger,
            version=0,
        )
    row.pump_id, row.position_id = job.pump, job.position
    row.state, row.closed_at, row.detail = JobState.DONE.value, closing.done_at, detail
    row.version += 1
    session.add(row)


def _renew(
    session: Session, hand: Hand, now: PlantState, kind: JobKind, subject: str, closing: Close, by: str, record: int
) -> list[str]:
    """The open turn of what this job renews is done with it; its key, or nothing when it is not due on anything."""
    job = next((j for j in now.jobs if j.first and (j.job_id.kind, j.job_id.subject) == (kind.code, subject)), None)
    before = now.done.get((kind.code, subject))
    if job is None or (before is not None and closing.done_at <= before.done_at):
        return []
    ran = (
        0 if kind.subject is Subject.PLANT else hours_then(session, now, kind.subject, subject, closing.done_at).seconds
    )
    _mark_done(session, hand, now, job, closing, ran, estimated=True, record=record, by=by)
    return [job.job_id.key]
