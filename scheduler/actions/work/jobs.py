"""Jobs: read one, close one. The tool takes facts; what cannot be true is asked again in words."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import ceil
from typing import Any

from scheduler.actions.base.actor import Actor, person_of
from scheduler.actions.base.context import AHEAD, Answer, Context, Hand, hand_action, seconds, utc_text
from scheduler.actions.base.pending import ask_plan
from scheduler.actions.capacity.outages import returned
from scheduler.actions.hours.ledger import derive_vessel
from scheduler.actions.plant_state.load import PlantState, hours_then, load_plant, outage_of
from scheduler.actions.plant_state.open_jobs import kind_of, open_job
from scheduler.actions.plant_state.work import (
    StoredStep,
    begun_at,
    must_be_newest,
    procedure_of,
    require_no_tag,
    state_of,
    steps_of,
    work_summary,
)
from scheduler.actions.vessel.fleet import Place
from scheduler.actions.work.nonconformities import open_about, open_for
from scheduler.domain.base.enums import JobState, Subject, Test
from scheduler.domain.capacity.minimum import check_outage
from scheduler.domain.due.jobs import DueJob, JobId
from scheduler.domain.due.subjects import in_place_since, renewals, where
from scheduler.domain.hours.running import RunningHours
from scheduler.domain.people.persons import same_name
from scheduler.domain.record.closed_job import (
    LAST_NOT_KNOWN,
    NO_DUE_POINT,
    ClosedJob,
    DuePoint,
    HoursSource,
    Verdict,
    due_point_of,
)
from scheduler.domain.vessel.document import BREAKDOWN, JobKind
from scheduler.domain.work.against import Against, Objection, to_plain
from scheduler.domain.work.closing import ASKED, Skipped, measures_left, skipped
from scheduler.domain.work.locks import on_permit
from scheduler.domain.work.rules import close_objections
from scheduler.domain.work.testing import serves_as_periodic
from scheduler.errors import Clash, NotFound, Refused
from scheduler.shiptime import ship_time
from scheduler.storage.capacity import outage_rows
from scheduler.storage.database import Session
from scheduler.storage.record import append_record
from scheduler.storage.vessel import AssetKind, asset_row
from scheduler.storage.work import DoneRow, JobRow, job_row
from scheduler.wording.figures import moment
from scheduler.wording.names import subject_words
from scheduler.wording.work import against_words, skipped_words

MOST_HOURS_OPEN = 24 * 366
"""Longer than this no pump is open for a job; the margin meanwhile is not worked out."""


HOURS_APART = 24
"""Hours by hand may differ this much from the ledger at that time before the record says so."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Close:
    """A job's close as told. running_hours: of the subject at done_at, none: the ledger's.

    checked_by: who is asked to check it; it stands "not checked" until that person signs. company, answers_for: of a contractor,
    and the person aboard who answers for the job. from_paper: the work was done before and is told from its sheet: what the
    sheet does not show was not seen there, and is no breach.
    """

    done_at: datetime
    done_by: str
    test: Test
    checked_by: str | None = None
    company: str = ""
    answers_for: str = ""
    from_paper: bool = False
    opened_at: datetime | None = None
    running_hours: float | None = None
    findings: str = ""
    permit_no: str | None = None
    reason: str = ""


def job_place(context: Context, actor: Actor, key: str) -> tuple[Place, JobId]:
    """Where that occurrence belongs.

    Raises:
        NotFound: the key is not `kind:subject:sequence`, or names nothing this actor reaches.
    """
    kind, _, rest = key.partition(":")
    subject, _, number = rest.rpartition(":")
    missing = NotFound(
        f"There is no job {key[:200]!r} here. A key reads kind:subject:number, as the due list shows it."
    )
    if not (kind and subject and number.isascii() and number.isdigit() and 0 < len(number) < 10):
        raise missing
    with context.db.read() as session:
        row = asset_row(session, subject)
    if row is None or row.kind is AssetKind.COUNTER:
        raise missing
    actor.must_reach(row.vessel_id, f"job {key}")
    return Place(subject, row.vessel_id, row.plant_id or row.id, row.kind), JobId(
        kind=kind, subject=subject, sequence=int(number)
    )


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

    def act(session: Session) -> Answer:
        now = load_plant(session, context, place.vessel_id, place.plant_id)
        kind = kind_of(now.plant, job_id)
        job = open_job(session, now, job_id)
        _people(closing)
        _when(now, kind, job_id, closing)
        kept = steps_of(session, place.vessel_id, job_id.key)
        must_be_newest(kept, if_match)
        _finished(kept, closing, now.offset_minutes)
        ran, source, remark = _hours(session, now, kind, job_id, closing)
        lacks = _lacks(session, now, kind, job_id, closing, kept)
        return _close(session, hand, now, kind, job, _with_steps(closing, kept), kept, ran, source, remark, lacks)

    return hand_action(context, hand, place.vessel_id, act)


@dataclass(frozen=True, slots=True)
class Lacks:
    """What a close lacks: what was never recorded of the work, and what else stands against it."""

    skipped: tuple[Skipped, ...]
    against: tuple[Objection, ...]
    breach: bool
    """Work on an open pump was skipped, and it is not told from paper."""

    def words(self, offset_minutes: int, *, from_paper: bool) -> list[str]:
        """Its flags, in words."""
        said = [against_words(one, offset_minutes) for one in self.against]
        if self.skipped:
            lead = "Not seen on paper" if from_paper else "Never recorded"
            said.append(f"{lead}: {'; '.join(map(skipped_words, self.skipped))}.")
        return said


def _lacks(
    session: Session, now: PlantState, kind: JobKind, job_id: JobId, closing: Close, kept: Sequence[StoredStep]
) -> Lacks:
    pump = where(now.plant, kind.subject, job_id.subject, closing.done_at)[0] if kind.takes_pump_out else None
    begun = begun_at(kept, closing.opened_at or closing.done_at)
    procedure = procedure_of(session, now.vessel.id, now.plant, kind, pump, begun, now.offset_minutes)
    steps = [one.step for one in kept]
    missing = tuple(skipped(steps, procedure, kind.measures, takes_pump_out=kind.takes_pump_out))
    work = state_of(kept)
    against = measures_left(work)
    if closing.company.strip() and kept and not on_permit(work, closing.company):
        against.append(Objection(Against.COMPANY_NOT_ON_PERMIT, {"company": closing.company.strip()}))
    breach = kind.takes_pump_out and not closing.from_paper and any(one.act in ASKED for one in missing)
    return Lacks(missing, tuple(against), breach)


def _finished(kept: Sequence[StoredStep], closing: Close, offset_minutes: int) -> None:
    """A job whose work was recorded step by step is closed when that work is at its end; a failed test needs no end."""
    work = state_of(kept)
    against = close_objections(work) if kept and closing.test is not Test.FAILED else []
    if closing.test is Test.PASSED and not work.tests:
        against = [one for one in against if one.code not in (Against.TEST_FAILED, Against.NOT_RETURNED)]
    elif closing.test is Test.PASSED and work.test is Test.NONE:  # a test is on record, and it proved nothing
        against.append(Objection(Against.TEST_NOT_PASSED))
    if against:
        said = [against_words(one, offset_minutes) for one in against]
        told_so = [{**to_plain(one), "says": says} for one, says in zip(against, said, strict=True)]
        raise Clash(" ".join(said), more={"objections": told_so})


def _with_steps(closing: Close, kept: Sequence[StoredStep]) -> Close:
    """What the steps say already need not be told again: test, permit, when it was opened."""
    work = state_of(kept)
    opened = min((one.step.at for one in kept if one.step.kind in ("tag placed", "opened")), default=None)
    return replace(
        closing,
        test=work.test if work.tests and closing.test is not Test.FAILED else closing.test,
        permit_no=closing.permit_no or ", ".join(permit.number for permit in work.permits) or None,
        opened_at=closing.opened_at or opened,
    )


def _people(closing: Close) -> None:
    if not closing.done_by.strip():
        raise Refused(
            "Say who did the job; done_by is empty.", faults=[("/done_by", "this is empty; a name is expected.")]
        )
    if closing.company.strip() and (not closing.answers_for.strip() or same_name(closing.answers_for, closing.done_by)):
        says = "a contractor did it: name the person aboard who answers for the job."
        raise Refused(f"answers_for: {says}", faults=[("/answers_for", says)])
    if closing.checked_by is not None and same_name(closing.checked_by, closing.done_by):
        says = "the checker is the doer; name someone else, or leave it empty."
        raise Refused(f"checked_by: {says}", faults=[("/checked_by", says)])


def _when(now: PlantState, kind: JobKind, job_id: JobId, closing: Close) -> None:
    def refuse(says: str) -> None:
        raise Refused(f"done_at: {says}", faults=[("/done_at", says)])

    if closing.done_at > now.at + AHEAD:
        refuse("this is still to come; give the instant at which the job was finished.")
    begun = in_place_since(now.plant, kind.subject, job_id.subject)
    if begun is not None and closing.done_at < begun:
        refuse(
            f"this is before {subject_words(now.plant, now.at, job_id.subject)} was fitted on "
            f"{moment(begun, now.offset_minutes, now.at)}. Check the date, or that this is the right pump."
        )
    before = now.done.get((job_id.kind, job_id.subject))
    if before is not None and closing.done_at <= before.done_at:
        done = moment(before.done_at, now.offset_minutes, now.at)
        refuse(f"this is not after the one before, done on {done}. Check the date and the job.")
    if closing.opened_at is not None and closing.opened_at > closing.done_at:
        says = "this is after done_at; give the instant at which the pump was taken out."
        raise Refused(f"opened_at: {says}", faults=[("/opened_at", says)])


def _hours(
    session: Session, now: PlantState, kind: JobKind, job_id: JobId, closing: Close
) -> tuple[RunningHours | None, HoursSource | None, str]:
    """Hours of the subject when done, where they came from, and a remark when hand and ledger differ."""
    if kind.subject is Subject.PLANT:
        return None, None, ""
    then = hours_then(session, now, kind.subject, job_id.subject, closing.done_at)
    if closing.running_hours is None:
        return then, HoursSource.ESTIMATED if then.estimated else HoursSource.COUNTER, ""
    given = closing.running_hours
    at_most = now.hours[kind.subject, job_id.subject]
    silent_h = 0.0 if at_most.as_of is None else max(0.0, (now.at - at_most.as_of) / timedelta(hours=1))
    if given < 0 or given > at_most.hours + silent_h + 1:
        says = (
            f"{given:g} h is more than {subject_words(now.plant, now.at, job_id.subject)} can have run by now "
            f"({at_most.hours:.0f} h by its "
            "counter). Give its hours when the job was done, or leave them out."
        )
        raise Refused(f"running_hours: {says}", faults=[("/running_hours", says)])
    apart = abs(given - then.hours)
    remark = f"by hand {given:g} h, by the ledger {then.hours:.1f} h at that time" if apart > HOURS_APART else ""
    return RunningHours(seconds=round(given * 3600), as_of=closing.done_at), HoursSource.BY_HAND, remark


def _close(
    session: Session,
    hand: Hand,
    now: PlantState,
    kind: JobKind,
    job: DueJob,
    closing: Close,
    kept: Sequence[StoredStep],
    ran: RunningHours | None,
    source: HoursSource | None,
    remark: str,
    lacks: Lacks,
) -> Answer:
    vessel_id, plant, key = now.vessel.id, now.plant, job.job_id.key
    pump, position = where(plant, kind.subject, job.job_id.subject, closing.done_at)
    work = work_summary(kept)
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
        "not_recorded": [{"act": one.act, "names": list(one.names)} for one in lacks.skipped],
    }
    number, stamp = append_record(session, vessel_id, words, now.at, payload)
    if not failed and record.verdict is Verdict.LATE:
        open_for(session, now, job, hand.actor.name)
    if not failed and (lacks.breach or lacks.against):
        named = tuple(name for one in lacks.skipped if one.act in ASKED for name in (one.act, *one.names))
        gone = [Objection(Against.NEVER_RECORDED, {"names": named})] if lacks.breach else []
        open_about(session, now, key, "closing the job", [*gone, *lacks.against], hand.actor.name)
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
            if other.takes_pump_out or serves_as_periodic(plant, state_of(kept)):
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
    return f"not checked, asked of {closing.checked_by.strip()}" if closing.checked_by else "not checked"


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


def closed_job(context: Context, place: Place, job_id: JobId) -> dict[str, Any] | None:
    """A closed job as kept, or none."""
    with context.db.read() as session:
        row = job_row(session, place.vessel_id, job_id.key)
    if row is None or row.closed_at is None:
        return None
    at = utc_text(row.closed_at)
    return {
        "job": row.key,
        "kind": row.kind,
        "subject": row.subject_id,
        "sequence": row.sequence,
        "state": row.state,
        "closed_at": at,
        "version": row.version,
        **row.detail,
    }
