"""The calendar feed as stored: events revised only where something visible changed; what an address serves."""

import logging
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

from scheduler.actions.base.context import Context, instant, seconds
from scheduler.actions.feed.addresses import AddressOpened
from scheduler.actions.feed.calendars import FLEET, CalendarWriter, StoredCalendar, last_good, write_fleet, write_vessel
from scheduler.actions.hours.ledger import derive_vessel
from scheduler.actions.plant_state import published as plant_state_published
from scheduler.actions.plant_state.load import PlantState, load_plant, outage_of
from scheduler.actions.vessel.document import document_of
from scheduler.actions.vessel.fleet import offset_minutes
from scheduler.domain.base.enums import JobState, Trigger
from scheduler.domain.capacity.returning import planned_back
from scheduler.domain.due.jobs import JobId
from scheduler.domain.feed.entries import (
    DONE_DAYS,
    CalendarContent,
    PumpOut,
    calendar_content,
    fleet_entry,
    status_entry,
)
from scheduler.domain.feed.revision import CalendarEntry, StoredEvent
from scheduler.domain.feed.scope import Scope
from scheduler.domain.feed.stability import PlannedSlot
from scheduler.domain.feed.words import DoneJob, WithdrawnJob
from scheduler.domain.record.closed_job import Verdict
from scheduler.domain.vessel.document import BREAKDOWN, JobKind
from scheduler.errors import Busy, SchedulerError
from scheduler.planning.judge.cover import slots_uncovered
from scheduler.shiptime import ship_time
from scheduler.storage.base import TaskRunRow, task_row, task_rows
from scheduler.storage.capacity import OutageRow, OutageStatus, outage_rows
from scheduler.storage.database import Session
from scheduler.storage.feed import FeedEventRow, feed_body_row, feed_event_rows, vessels_behind
from scheduler.storage.vessel import vessel_rows
from scheduler.storage.work import JobRow, job_rows, withdrawn_rows

_NEVER = datetime.max.replace(tzinfo=UTC)
_KEEP_DAYS = 40
_TROUBLE = "calendar"
"""Task under which the last failure to write a calendar is noted, by vessel."""

log = logging.getLogger("leadline")


def refresh(context: Context, writer: CalendarWriter, vessel_id: str) -> StoredCalendar:
    """Bring a vessel's published dates and calendars up to date, and the fleet's calendar.

    Dates that moved are listed (`publishing`); events that show nothing new keep every byte. Returns the vessel's plain calendar.
    """
    derive_vessel(context, vessel_id)
    with context.db.write(vessel_id) as session:
        vessel, _ = document_of(session, vessel_id)
        plants = [load_plant(session, context, vessel_id, plant.id) for plant in vessel.plants]
        old = {row.occurrence_key: row for row in feed_event_rows(session, vessel_id)}
        at = context.now()
        for now in plants:
            plant_state_published.keep_published(
                session, vessel_id, now.plant.id, now.posted, offset_minutes=now.offset_minutes, at=at
            )
        wanted = _agenda(session, plants, old, at)
        for entry in {entry.key: entry for entry in wanted.entries}.values():
            row = old.pop(entry.key, None)
            uid, event = writer.publish(None if row is None else _event(row, entry.role), entry, vessel_id, at)
            if row is None or (row.text, row.task, row.fingerprint) != (event.text, event.task, event.mark()):
                session.add(_row(row, vessel_id, uid, plants, entry, event))
        for row in old.values():
            session.delete(row)
        session.flush()
        body = write_vessel(session, writer, vessel_id, at)
    write_fleet(context, writer)
    _well_again(context, vessel_id)
    return body


def renew(context: Context, writer: CalendarWriter, vessel_id: str) -> bool:
    """As `refresh`, for those whose own work must not fail with it: what went wrong is logged and noted for readiness
    and page, and the last good calendars go on being served."""
    try:
        refresh(context, writer, vessel_id)
    except Exception as error:
        says = f"failed: {type(error).__name__}: {error}"[:300]
        if trouble(context).get(vessel_id, ("", ""))[0] != says:
            log.exception("the calendar of %s could not be written; the last good one is served", vessel_id)
            with suppress(SchedulerError), context.db.write(vessel_id) as session:
                row = task_row(session, _TROUBLE, vessel_id)
                row = row or TaskRunRow(task=_TROUBLE, period=vessel_id, vessel_id=vessel_id, started_at=context.now())
                row.started_at = row.ended_at = context.now()
                row.outcome = says
                session.add(row)
        return False
    return True


def trouble(context: Context) -> dict[str, tuple[str, datetime]]:
    """By vessel, what went wrong when her calendar was last written, and since when; empty while all is well."""
    with context.db.read() as session:
        return {
            row.period: (row.outcome or "", row.started_at)
            for row in task_rows(session, _TROUBLE)
            if row.outcome not in (None, "done")
        }


def _well_again(context: Context, vessel_id: str) -> None:
    if vessel_id in trouble(context):
        with context.db.write(vessel_id) as session:
            row = task_row(session, _TROUBLE, vessel_id)
            if row is not None:
                session.delete(row)


def served(context: Context, writer: CalendarWriter, opened: AddressOpened, *, tasks: bool) -> StoredCalendar:
    """The calendar that an address serves now: as last written; put together from stored texts when it never was.

    When that fails too there is the plan-status entry alone, which is not kept.
    """
    scope = replace(opened.scope, tasks=tasks)
    if opened.ended_at is not None:
        return _withdrawn(context, writer, scope, opened.ended_at)
    kept = last_good(context, scope)
    if kept is not None:
        return kept
    try:
        return _first(context, writer, scope)
    except Exception:
        log.exception("the first calendar %s of %s could not be written", scope.name, scope.vessel_id or "the fleet")
        return bare(context, writer, scope)


def _first(context: Context, writer: CalendarWriter, scope: Scope) -> StoredCalendar:
    with context.db.read() as session:
        vessels = [row.id for row in vessel_rows(session, scope.vessel_id)]
        never = [one for one in vessels if feed_body_row(session, one, Scope(vessel_id=one).name) is None]
    for vessel_id in never:
        refresh(context, writer, vessel_id)
    if scope.vessel_id is None:
        write_fleet(context, writer, scope)
    else:
        with context.db.write(scope.vessel_id) as session:
            write_vessel(session, writer, scope.vessel_id, context.now(), scope)
    kept = last_good(context, scope)
    if kept is None:  # another server forgot it in this moment
        raise Busy("The calendar is being written; try again in a second.")
    return kept


def _withdrawn(context: Context, writer: CalendarWriter, scope: Scope, ended_at: datetime) -> StoredCalendar:
    name, offset = "Fleet", 0
    if scope.vessel_id is not None:
        with context.db.read() as session:
            name = document_of(session, scope.vessel_id)[0].name
            offset = offset_minutes(session, scope.vessel_id, ended_at)
    on = ship_time(ended_at, offset).date()
    body = writer.withdrawn(name, on, ended_at, scope.vessel_id or FLEET, tasks=scope.tasks)
    return StoredCalendar(body, writer.tag(body), ended_at, ended_at, -1)


def stale_vessels(context: Context, most_age_s: int) -> list[str]:
    """Vessels whose calendar is older than their last change, or than `most_age_s`."""
    with context.db.read() as session:
        return vessels_behind(session, Scope(vessel_id=None).name, context.now() - timedelta(seconds=most_age_s))


def _agenda(
    session: Session, plants: Sequence[PlantState], old: dict[str, FeedEventRow], at: datetime
) -> CalendarContent:
    first = plants[0]
    vessel_id = first.vessel.id
    jobs = {job.job_id.key: job for now in plants for job in (*now.jobs, *now.breakdowns)}
    shown = [
        (now.plant, [*(j for j in now.shown if j.renewed_by is None or j.state is not JobState.AHEAD), *now.breakdowns])
        for now in plants
    ]
    since = at - timedelta(days=_KEEP_DAYS)
    rows = [row for now in plants for row in job_rows(session, vessel_id, now.plant.id, closed_since=since)]
    _withdraw(session, plants, old, set(jobs), {row.key for row in rows}, at)
    session.flush()
    rows = [row for now in plants for row in job_rows(session, vessel_id, now.plant.id, closed_since=since)]
    slots = {}
    for now in plants:
        if now.taken is None:
            continue
        times, uncovered = now.taken.times(), slots_uncovered(now.taken.problem, now.taken.plan)
        for slot in now.taken.plan.slots:
            start_at, end_at = times[slot.key]
            margin = slot.least_margin_litres_per_h / 1000 if slot.pump else None
            slots[slot.key] = PlannedSlot(
                start_at=start_at,
                end_at=end_at,
                least_margin_swept_m3_per_h=margin,
                covered=slot.key not in uncovered,
            )
    published = {key: event.quoted for key, row in old.items() if (event := _event(row, "")).quoted is not None}
    plan_at = max((now.taken.made_at for now in plants if now.taken), default=None)
    as_of = min((read for now in plants if (read := now.hours_as_of()) is not None), default=None)
    return calendar_content(
        vessel=first.vessel,
        plants=shown,
        slots=slots,
        done=[_done(session, plants, row) for row in rows if row.state == JobState.DONE.value],
        withdrawn=[_gone(plants, row) for row in rows if row.state == JobState.WITHDRAWN.value],
        offset_minutes=first.offset_minutes,
        plan_offset_minutes=None if plan_at is None else offset_minutes(session, vessel_id, plan_at),
        at=at,
        plan_at=plan_at,
        hours_as_of=as_of,
        published=published,
        out=[one for now in plants for one in _out(session, now, at)],
        silent=[
            (now.position_name(counter.position), counter.newest_at)
            for now in plants
            for counter in now.counters
            if counter.silent and counter.primary
        ],
        taken_at=max((now.taken.taken_at for now in plants if now.taken and now.taken.taken_at), default=None),
    )


def _out(session: Session, now: PlantState, at: datetime) -> list[PumpOut]:
    """Pumps of a plant that are out, and those that were in the days that done jobs are shown for. What a planned job puts out is
    shown by the job; of two outages from one second the longer stands."""
    since = at - timedelta(days=DONE_DAYS)
    rows: dict[tuple[str, datetime], OutageRow] = {}
    for row in outage_rows(session, now.vessel.id, now.plant.id, since_at=since):
        planned = row.job_key and not row.job_key.startswith(f"{BREAKDOWN.code}:")
        over = row.to_at is not None and (row.to_at <= row.from_at or row.status is OutageStatus.NOT_PROVED)
        if planned or over or row.from_at > at:
            continue
        other = rows.get((row.pump_id, row.from_at))
        if other is None or (row.to_at or _NEVER) > (other.to_at or _NEVER):
            rows[row.pump_id, row.from_at] = row
    found = []
    for row in rows.values():
        outage = outage_of(row)
        back = planned_back(outage, at)
        found.append(
            PumpOut(
                pump=row.pump_id,
                position=now.plant.position_of(row.pump_id, outage.from_at),
                from_at=outage.from_at,
                to_at=outage.to_at,
                back_at=None if back is None else back.at,
                assumed=back is not None and back.assumed,
                expected_at=outage.expected_at,
                reason=row.reason,
                plant=now.plant.id,
                waits_for_test=row.status is OutageStatus.NOT_PROVED,
            )
        )
    return found


def _withdraw(
    session: Session,
    plants: Sequence[PlantState],
    old: dict[str, FeedEventRow],
    open_keys: set[str],
    closed_keys: set[str],
    at: datetime,
) -> None:
    """Note as withdrawn what stood in the calendar and is due on nothing any more (its part went ashore, its kind is gone).

    What was withdrawn and is due again is withdrawn no more.
    """
    for gone in withdrawn_rows(session, plants[0].vessel.id):
        if gone.key in open_keys:
            session.delete(gone)
            closed_keys.discard(gone.key)
    session.flush()
    subjects = {(job.job_id.kind, job.job_id.subject) for now in plants for job in now.jobs}
    for key, row in old.items():
        kind, _, rest = key.partition(":")
        subject, _, sequence = rest.rpartition(":")
        if not sequence or key in open_keys or key in closed_keys or (kind, subject) in subjects:
            continue
        if row.state in (JobState.DONE.value, JobState.WITHDRAWN.value):
            continue
        shown_at = instant(row.starts_s)
        all_day = "DTSTART;VALUE=DATE:" in row.text
        shown_on = ship_time(shown_at, 0 if all_day else offset_minutes(session, row.vessel_id, shown_at)).date()
        session.add(
            JobRow(
                key=key,
                vessel_id=row.vessel_id,
                plant_id=row.plant_id,
                kind=kind,
                subject_id=subject,
                sequence=int(sequence),
                state=JobState.WITHDRAWN.value,
                due_at=shown_at,
                window_at=shown_at,
                limit_at=instant(row.ends_s),
                trigger=Trigger.CALENDAR,
                closed_at=at,
                detail={"shown_on": shown_on.isoformat(), "reason": "due on nothing aboard any more"},
            )
        )


def _kind(plants: Sequence[PlantState], row: JobRow) -> JobKind | None:
    """The job's kind as set up now; none when the document has it no more."""
    kinds = (kind for now in plants if now.plant.id == row.plant_id for kind in (*now.plant.job_kinds, BREAKDOWN))
    return next((kind for kind in kinds if kind.code == row.kind), None)


def _done(session: Session, plants: Sequence[PlantState], row: JobRow) -> DoneJob:
    """Its date is that of the ship's clock when it was done, wherever she is now."""
    done_at = row.closed_at or plants[0].at
    detail = row.detail
    kind = _kind(plants, row)
    return DoneJob(
        job_id=JobId(kind=row.kind, subject=row.subject_id, sequence=row.sequence),
        kind_name=kind.name if kind else row.kind,
        position=row.position_id,
        takes_pump_out=kind.takes_pump_out if kind else False,
        done_at=done_at,
        utc_offset_minutes=offset_minutes(session, row.vessel_id, done_at),
        running_seconds=detail.get("running_seconds"),
        record_number=detail.get("record"),
        verdict=Verdict(detail["verdict"]) if detail.get("verdict") else None,
        done_by=str(detail.get("done_by") or ""),
        plant=row.plant_id,
    )


def _gone(plants: Sequence[PlantState], row: JobRow) -> WithdrawnJob:
    detail = row.detail
    kind = _kind(plants, row)
    return WithdrawnJob(
        job_id=JobId(kind=row.kind, subject=row.subject_id, sequence=row.sequence),
        kind_name=kind.name if kind else row.kind,
        position=row.position_id or _last_position(plants, row),
        takes_pump_out=kind.takes_pump_out if kind else False,
        withdrawn_at=row.closed_at or plants[0].at,
        shown_on=date.fromisoformat(detail["shown_on"])
        if "shown_on" in detail  # a breakdown that was none stood on the day it began
        else ship_time(row.due_at, plants[0].offset_minutes).date(),
        reason=detail.get("reason", ""),
        plant=row.plant_id,
    )


def _last_position(plants: Sequence[PlantState], row: JobRow) -> str | None:
    """Where the job's subject stood last, none for a plant or where nothing tells."""
    plant = next((now.plant for now in plants if now.plant.id == row.plant_id), None)
    if plant is None:
        return None
    if any(position.id == row.subject_id for position in plant.positions):
        return row.subject_id
    fitted = max((f for f in plant.fittings if f.part == row.subject_id), key=lambda f: f.from_at, default=None)
    pump = fitted.pump if fitted else row.subject_id
    stay = max((s for s in plant.stays if s.pump == pump), key=lambda s: s.from_at, default=None)
    return stay.position if stay else None


def _event(row: FeedEventRow, role: str) -> StoredEvent:
    return StoredEvent.kept(
        key=row.occurrence_key,
        role=role,
        mark=row.fingerprint,
        text=row.text,
        task=row.task,
        sequence=row.sequence,
        created_at=row.created_at,
        changed_at=row.changed_at,
    )


def _row(
    row: FeedEventRow | None,
    vessel_id: str,
    uid: str,
    plants: Sequence[PlantState],
    entry: CalendarEntry,
    event: StoredEvent,
) -> FeedEventRow:
    shown: dict[str, Any] = {
        "text": event.text,
        "task": event.task,
        "fingerprint": event.mark(),
        "sequence": event.sequence,
        "changed_at": event.changed_at,
        "created_at": event.created_at,
        "starts_s": _second(entry.starts),
        "ends_s": _second(entry.ends),
        "state": entry.state.value if entry.state else "",
        "closed_at": event.changed_at if entry.state in (JobState.DONE, JobState.WITHDRAWN) else None,
    }
    if row is not None:
        for name, value in shown.items():
            setattr(row, name, value)
        return row
    plant = next((now.plant.id for now in plants if now.job(entry.key) is not None), plants[0].plant.id)
    return FeedEventRow(vessel_id=vessel_id, uid=uid, plant_id=plant, occurrence_key=entry.key, **shown)


def _second(moment: date | datetime) -> int:
    if isinstance(moment, datetime):
        return seconds(moment)
    return seconds(datetime(moment.year, moment.month, moment.day, tzinfo=UTC))


def bare(context: Context, writer: CalendarWriter, scope: Scope) -> StoredCalendar:
    """A calendar with the plan-status entry alone, for when none could be written yet; it is not kept."""
    at = context.now()
    if scope.vessel_id is None:
        name, path = "Fleet", "/?all=1"
        entry = fleet_entry(on=at.date(), vessels=0, states=(), left_out=0)
    else:
        with context.db.read() as session:
            vessel, _ = document_of(session, scope.vessel_id)
            offset = offset_minutes(session, scope.vessel_id, at)
        name, path = vessel.name, f"/vessels/{vessel.id}/plan"
        entry = status_entry(vessel=vessel, jobs=(), plan_at=None, hours_as_of=None, offset_minutes=offset, at=at)
    _, event = writer.publish(None, entry, scope.vessel_id or FLEET, at)
    about = "The calendar could not be written; the pages aboard have the jobs."
    body = writer.compose(name, [event.task if scope.tasks else event.text], about, path)
    return StoredCalendar(body, writer.tag(body), at, at, -1)
