"""What a vessel's calendars hold, from plant states and stored jobs."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from scheduler.actions.base.context import instant
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.plant_state.stored import outage_of
from scheduler.domain.base.enums import JobState, Trigger
from scheduler.domain.capacity.returning import planned_back
from scheduler.domain.due.last_done import JobId
from scheduler.domain.feed.entries import DONE_DAYS, CalendarContent, PumpOut, calendar_content
from scheduler.domain.feed.revision import StoredEvent
from scheduler.domain.feed.stability import PlannedSlot
from scheduler.domain.feed.words import DoneJob, WithdrawnJob
from scheduler.domain.record.closed_job import Verdict
from scheduler.domain.vessel.job_kinds import BREAKDOWN, JobKind
from scheduler.shiptime import minutes_at, ship_time
from scheduler.storage.capacity import OutageRow, OutageStatus, outage_rows
from scheduler.storage.database import Session
from scheduler.storage.feed import FeedEventRow
from scheduler.storage.work import JobRow, job_rows, withdrawn_rows

_NEVER = datetime.max.replace(tzinfo=UTC)


_KEEP_DAYS = 40


@dataclass(frozen=True, slots=True)
class Withdrawing:
    """Jobs to be noted as withdrawn, since they stood in the calendar and are due on nothing any more (their part went ashore,
    their kind is gone); and those withdrawn before that are due again."""

    gone: Sequence[JobRow] = ()
    again: Sequence[JobRow] = ()


def withdrawing(
    session: Session,
    plants: Sequence[PlantState],
    old: Mapping[str, FeedEventRow],
    closed: Sequence[JobRow],
    at: datetime,
) -> Withdrawing:
    """What is withdrawn now. old: the calendar's events as stored, by key. closed: as of `closed_rows`. Nothing is written."""
    open_keys = {job.job_id.key for now in plants for job in (*now.jobs, *now.breakdowns)}
    again = [row for row in withdrawn_rows(session, plants[0].vessel.id) if row.key in open_keys]
    closed_keys = {row.key for row in closed} - {row.key for row in again}
    subjects = {(job.job_id.kind, job.job_id.subject) for now in plants for job in now.jobs}
    gone = []
    for key, row in old.items():
        kind, _, rest = key.partition(":")
        subject, _, sequence = rest.rpartition(":")
        if not sequence or key in open_keys or key in closed_keys or (kind, subject) in subjects:
            continue
        if row.state in (JobState.DONE.value, JobState.WITHDRAWN.value):
            continue
        shown_at = instant(row.starts_s)
        all_day = "DTSTART;VALUE=DATE:" in row.text
        shown_on = ship_time(shown_at, 0 if all_day else plants[0].offset_minutes).date()
        gone.append(
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
    return Withdrawing(gone, again)


def closed_rows(session: Session, plants: Sequence[PlantState], at: datetime) -> list[JobRow]:
    """Jobs of all plants done or withdrawn so lately that they may stand in a calendar."""
    since = at - timedelta(days=_KEEP_DAYS)
    return [row for now in plants for row in job_rows(session, now.vessel.id, now.plant.id, closed_since=since)]


def content_of(
    session: Session,
    plants: Sequence[PlantState],
    old: Mapping[str, FeedEventRow],
    closed: Sequence[JobRow],
    at: datetime,
    withdrawn: Withdrawing,
) -> CalendarContent:
    """What the vessel's calendars hold. closed: of `closed_rows`. withdrawn: to be stored with them. Nothing is written."""
    first = plants[0]
    shown = [
        (now.plant, [*(j for j in now.shown if j.renewed_by is None or j.state is not JobState.AHEAD), *now.breakdowns])
        for now in plants
    ]
    again = {row.key for row in withdrawn.again}
    rows = [row for row in closed if row.key not in again]
    rows += [row for row in withdrawn.gone if any(row.plant_id == now.plant.id for now in plants)]
    slots = {}
    for now in plants:
        if now.taken is None:
            continue
        times, uncovered = now.taken.times(), now.taken.uncovered
        for slot in now.taken.plan.slots:
            start_at, end_at = times[slot.key]
            margin = slot.least_margin_litres_per_h / 1000 if slot.pump else None
            slots[slot.key] = PlannedSlot(
                start_at=start_at,
                end_at=end_at,
                least_margin_swept_m3_per_h=margin,
                covered=slot.key not in uncovered,
            )
    published = {key: event.quoted for key, row in old.items() if (event := event_of_row(row, "")).quoted is not None}
    plan_at = max((now.taken.made_at for now in plants if now.taken), default=None)
    as_of = min((read for now in plants if (read := now.hours_as_of()) is not None), default=None)
    return calendar_content(
        vessel=first.vessel,
        plants=shown,
        slots=slots,
        done=[_done(plants, row) for row in rows if row.state == JobState.DONE.value],
        withdrawn=[_gone(plants, row) for row in rows if row.state == JobState.WITHDRAWN.value],
        offset_minutes=first.offset_minutes,
        plan_offset_minutes=None if plan_at is None else minutes_at(first.offset_minutes, plan_at),
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


def _kind(plants: Sequence[PlantState], row: JobRow) -> JobKind | None:
    """The job's kind as set up now; none when the document has it no more."""
    kinds = (kind for now in plants if now.plant.id == row.plant_id for kind in (*now.plant.job_kinds, BREAKDOWN))
    return next((kind for kind in kinds if kind.code == row.kind), None)


def _done(plants: Sequence[PlantState], row: JobRow) -> DoneJob:
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
        utc_offset_minutes=minutes_at(plants[0].offset_minutes, done_at),
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


def event_of_row(row: FeedEventRow, role: str) -> StoredEvent:
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
