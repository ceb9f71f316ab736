"""The calendar feed as stored: events revised only where something visible changed, the whole body kept as last good."""

import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from scheduler.actions.documents import held
from scheduler.actions.fleet import offset_minutes
from scheduler.actions.house import House, instant, seconds
from scheduler.actions.ledger import derive_vessel
from scheduler.actions.situation import Situation, load
from scheduler.domain.agenda import Agenda, agenda, status_entry
from scheduler.domain.due import Occurrence
from scheduler.domain.entry import DoneJob, WithdrawnJob
from scheduler.domain.fleet import JobKind
from scheduler.domain.quoting import PlannedSlot
from scheduler.domain.revision import CalendarEntry, Feed, StoredEvent, republish
from scheduler.domain.words import State, Trigger
from scheduler.storage import feed_rows, fleet_rows, work_rows
from scheduler.storage.database import Session
from scheduler.storage.tables import FeedBodyRow, FeedEventRow, JobRow

PLAN_FEED = "plan"
_DAY_S = 86_400
_KEEP_DAYS = 40

Publish = Callable[[StoredEvent | None, CalendarEntry, str, datetime], tuple[str, StoredEvent]]
"""(event as kept, entry, vessel id, now) to (uid, event to keep); renders only what changed."""
Compose = Callable[[str, Iterable[str]], bytes]
"""(vessel name, event texts) to the calendar's bytes."""
Tag = Callable[[bytes], str]


@dataclass(frozen=True, slots=True)
class Pen:
    """How calendars are written: handed in, since this side knows no iCalendar."""

    publish: Publish
    compose: Compose
    tag: Tag


@dataclass(frozen=True, slots=True)
class FeedBody:
    """A calendar as it is sent."""

    body: bytes
    etag: str
    changed_at: datetime
    made_at: datetime
    revision: int


def refresh(house: House, pen: Pen, vessel_id: str) -> FeedBody:
    """Bring a vessel's calendar up to date; events that show nothing new keep every byte."""
    derive_vessel(house, vessel_id)
    with house.db.write(vessel_id) as session:
        vessel, _ = held(session, vessel_id)
        plants = [load(session, house, vessel_id, plant.id) for plant in vessel.plants]
        old = {row.occurrence_key: row for row in feed_rows.events(session, vessel_id)}
        at = house.now()
        wanted = _agenda(session, plants, old, at)
        texts = []
        for entry in wanted.entries:
            row = old.pop(entry.key, None)
            uid, event = pen.publish(None if row is None else _event(row, entry.role), entry, vessel_id, at)
            if row is None or row.text != event.text or row.fingerprint != event.mark():
                session.add(_row(row, vessel_id, uid, plants, entry, event))
            texts.append(event.text)
        for row in old.values():
            session.delete(row)
        body = pen.compose(vessel.name, texts)
        kept = feed_rows.body(session, vessel_id, PLAN_FEED)
        before = None if kept is None else Feed(body=kept.body.encode(), changed_at=instant(kept.changed_s))
        feed = republish(before, body, at)
        revision = fleet_rows.revision(session, vessel_id)
        if kept is None:
            kept = FeedBodyRow(vessel_id=vessel_id, name=PLAN_FEED, body="", etag="", changed_s=0, made_s=0, revision=0)
        kept.body, kept.etag, kept.changed_s = body.decode(), pen.tag(body), seconds(feed.changed_at)
        kept.made_s, kept.revision = seconds(at), revision
        session.add(kept)
        return _body(kept)


def last_good(house: House, vessel_id: str) -> FeedBody | None:
    """The calendar as last written, or none before the first."""
    with house.db.read() as session:
        row = feed_rows.body(session, vessel_id, PLAN_FEED)
        return None if row is None else _body(row)


def stale_vessels(house: House, most_age_s: int) -> list[str]:
    """Vessels whose calendar is older than their last change, or than `most_age_s`."""
    now_s = house.now_s()
    with house.db.read() as session:
        found = []
        for row in fleet_rows.vessels(session):
            kept = feed_rows.body(session, row.id, PLAN_FEED)
            if (
                kept is None
                or kept.revision != fleet_rows.revision(session, row.id)
                or now_s - kept.made_s >= most_age_s
            ):
                found.append(row.id)
        return found


def _agenda(session: Session, plants: Sequence[Situation], old: dict[str, FeedEventRow], at: datetime) -> Agenda:
    first = plants[0]
    vessel_id = first.vessel.id
    jobs = {job.occurrence.key: job for now in plants for job in now.jobs}
    shown = [(now.plant, [j for j in now.jobs if j.renewed_by is None or j.state is not State.AHEAD]) for now in plants]
    since_s = seconds(at) - _KEEP_DAYS * _DAY_S
    rows = [row for now in plants for row in work_rows.jobs(session, vessel_id, now.plant.id, closed_since_s=since_s)]
    _withdraw(session, plants, old, set(jobs), {row.key for row in rows}, at)
    session.flush()
    rows = [row for now in plants for row in work_rows.jobs(session, vessel_id, now.plant.id, closed_since_s=since_s)]
    slots = {}
    for now in plants:
        if now.taken is None:
            continue
        times = now.taken.times()
        for slot in now.taken.plan.slots:
            start_at, end_at = times[slot.key]
            margin = slot.least_margin_litres_per_h / 1000 if slot.pump else None
            slots[slot.key] = PlannedSlot(start_at=start_at, end_at=end_at, least_margin_swept_m3_per_h=margin)
    published = {key: event.quoted for key, row in old.items() if (event := _event(row, "")).quoted is not None}
    plan_at = max((now.taken.made_at for now in plants if now.taken), default=None)
    as_of = min((read for now in plants if (read := now.hours_as_of()) is not None), default=None)
    return agenda(
        vessel=first.vessel,
        plants=shown,
        slots=slots,
        done=[_done(first, plants, row) for row in rows if row.state == State.DONE.value],
        withdrawn=[_gone(plants, row) for row in rows if row.state == State.WITHDRAWN.value],
        offset_minutes=first.offset_minutes,
        at=at,
        plan_at=plan_at,
        hours_as_of=as_of,
        published=published,
    )


def _withdraw(
    session: Session,
    plants: Sequence[Situation],
    old: dict[str, FeedEventRow],
    open_keys: set[str],
    closed_keys: set[str],
    at: datetime,
) -> None:
    """Note as withdrawn what stood in the calendar and is due on nothing any more (its part went ashore, its kind is gone).

    What was withdrawn and is due again is withdrawn no more.
    """
    for gone in work_rows.withdrawn(session, plants[0].vessel.id):
        if gone.key in open_keys:
            session.delete(gone)
            closed_keys.discard(gone.key)
    session.flush()
    subjects = {(job.occurrence.kind, job.occurrence.subject) for now in plants for job in now.jobs}
    for key, row in old.items():
        kind, _, rest = key.partition(":")
        subject, _, sequence = rest.rpartition(":")
        if not sequence or key in open_keys or key in closed_keys or (kind, subject) in subjects:
            continue
        if row.state in (State.DONE.value, State.WITHDRAWN.value):
            continue
        shown_on = datetime.fromtimestamp(row.starts_s, UTC).date()
        session.add(
            JobRow(
                key=key,
                vessel_id=row.vessel_id,
                plant_id=row.plant_id,
                kind=kind,
                subject_id=subject,
                sequence=int(sequence),
                state=State.WITHDRAWN.value,
                due_s=row.starts_s,
                window_s=row.starts_s,
                limit_s=row.ends_s,
                trigger=Trigger.CALENDAR,
                closed_s=seconds(at),
                detail=json.dumps({"shown_on": shown_on.isoformat(), "reason": "due on nothing aboard any more"}),
            )
        )


def _kind(plants: Sequence[Situation], row: JobRow) -> JobKind | None:
    """The job's kind as set up now; none when the document has it no more."""
    kinds = (kind for now in plants if now.plant.id == row.plant_id for kind in now.plant.job_kinds)
    return next((kind for kind in kinds if kind.code == row.kind), None)


def _done(first: Situation, plants: Sequence[Situation], row: JobRow) -> DoneJob:
    detail = json.loads(row.detail)
    kind = _kind(plants, row)
    return DoneJob(
        occurrence=Occurrence(kind=row.kind, subject=row.subject_id, sequence=row.sequence),
        kind_name=kind.name if kind else row.kind,
        position=row.position_id,
        takes_pump_out=kind.takes_pump_out if kind else False,
        done_at=instant(row.closed_s or 0),
        utc_offset_minutes=first.offset_minutes,
        running_seconds=detail.get("running_seconds"),
        record_number=detail.get("record"),
    )


def _gone(plants: Sequence[Situation], row: JobRow) -> WithdrawnJob:
    detail = json.loads(row.detail)
    kind = _kind(plants, row)
    return WithdrawnJob(
        occurrence=Occurrence(kind=row.kind, subject=row.subject_id, sequence=row.sequence),
        kind_name=kind.name if kind else row.kind,
        position=row.position_id,
        takes_pump_out=kind.takes_pump_out if kind else False,
        withdrawn_at=instant(row.closed_s or 0),
        shown_on=date.fromisoformat(detail["shown_on"]),
        reason=detail.get("reason", ""),
    )


def _event(row: FeedEventRow, role: str) -> StoredEvent:
    return StoredEvent.kept(
        key=row.occurrence_key,
        role=role,
        mark=row.fingerprint,
        text=row.text,
        sequence=row.sequence,
        created_at=instant(row.created_s),
        changed_at=instant(row.changed_s),
    )


def _row(
    row: FeedEventRow | None,
    vessel_id: str,
    uid: str,
    plants: Sequence[Situation],
    entry: CalendarEntry,
    event: StoredEvent,
) -> FeedEventRow:
    shown: dict[str, Any] = {
        "text": event.text,
        "fingerprint": event.mark(),
        "sequence": event.sequence,
        "changed_s": seconds(event.changed_at),
        "created_s": seconds(event.created_at),
        "starts_s": _second(entry.starts),
        "ends_s": _second(entry.ends),
        "state": entry.state.value if entry.state else "",
        "closed_s": seconds(event.changed_at) if entry.state in (State.DONE, State.WITHDRAWN) else None,
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


def _body(row: FeedBodyRow) -> FeedBody:
    return FeedBody(row.body.encode(), row.etag, instant(row.changed_s), instant(row.made_s), row.revision)


def bare(house: House, pen: Pen, vessel_id: str) -> FeedBody:
    """A calendar with the plan-status entry alone, for when none could be written yet; it is not kept."""
    with house.db.read() as session:
        vessel, _ = held(session, vessel_id)
        offset = offset_minutes(session, vessel_id, house.now())
    at = house.now()
    entry = status_entry(vessel=vessel, jobs=(), plan_at=None, hours_as_of=None, offset_minutes=offset, at=at)
    _, event = pen.publish(None, entry, vessel_id, at)
    body = pen.compose(vessel.name, [event.text])
    return FeedBody(body, pen.tag(body), at, at, -1)
