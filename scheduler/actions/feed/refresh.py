"""The calendar feed as stored: events revised only where something visible changed; what an address serves."""

import logging
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

from scheduler.actions.base.context import Context, seconds
from scheduler.actions.feed.addresses import AddressOpened
from scheduler.actions.feed.calendars import (
    FLEET,
    CalendarWriter,
    StoredCalendar,
    ask_fleet,
    in_use,
    last_good,
    vessel_bodies,
    write_fleet,
    write_vessel,
)
from scheduler.actions.feed.content import Withdrawing, closed_rows, content_of, event_of_row, withdrawing
from scheduler.actions.feed.summary import form, keep_summary, summarise
from scheduler.actions.hours.ledger import derive_vessel
from scheduler.actions.plant_state import published as plant_state_published
from scheduler.actions.plant_state.load import PlantState, load_plant
from scheduler.actions.vessel.document import document_of
from scheduler.actions.vessel.fleet import offset_minutes
from scheduler.domain.base.enums import JobState
from scheduler.domain.feed.entries import PLAN_STATUS_KEY, fleet_entry, status_entry
from scheduler.domain.feed.revision import CalendarEntry, StoredEvent
from scheduler.domain.feed.scope import Scope, urgency
from scheduler.domain.feed.summary import PlantSummary
from scheduler.errors import Busy, SchedulerError
from scheduler.language import ENGLISH, in_language
from scheduler.shiptime import ship_time
from scheduler.storage.database import Session
from scheduler.storage.due import published_texts
from scheduler.storage.feed import (
    STATUS_RANK,
    FeedEventRow,
    feed_body_row,
    feed_event_marks,
    feed_event_rows,
    vessels_behind,
)
from scheduler.storage.shore.home import Writing
from scheduler.storage.shore.ships import heard_at
from scheduler.storage.summary import vessels_turned
from scheduler.storage.tasks import drop_pending, failed_pending, note_outcome
from scheduler.storage.vessel import revision_of, vessel_rows
from scheduler.storage.waking import CALENDAR

log = logging.getLogger("leadline")


TRIES = 3
"""So often a plant is loaded without holding up who wants to write; where it changes each time, it is loaded with the turn held."""


def refresh(context: Context, writer: CalendarWriter, vessel_id: str) -> StoredCalendar:
    """Bring a vessel's published dates and calendars up to date, and ask for the fleet's calendar where an event of hers changed.

    Dates that moved are listed (`publishing`); events that show nothing new keep every byte. Returns the vessel's plain calendar.
    """
    derive_vessel(context, vessel_id)
    body = None
    for _ in range(TRIES):
        with context.db.read() as session:
            rendered = _render(session, context, writer, vessel_id)
        with context.db.write(vessel_id, writing=Writing.WORKED_OUT) as session:
            if _mark(session, vessel_id, rendered.at) == rendered.mark:
                body = _store(session, writer, vessel_id, rendered)
        if body is not None:
            break
    if body is None:
        with context.db.write(vessel_id, writing=Writing.WORKED_OUT) as session:
            body = _store(session, writer, vessel_id, _render(session, context, writer, vessel_id))
    _well_again(context, vessel_id)
    return body


def _plants(session: Session, context: Context, vessel_id: str) -> list[PlantState]:
    vessel, _ = document_of(session, vessel_id)
    return [load_plant(session, context, vessel_id, plant.id) for plant in vessel.plants]


def _mark(session: Session, vessel_id: str, at: datetime) -> tuple[object, ...]:
    """Another one once anything was stored of the vessel, another date of hers was published, an event of hers was written, or
    another address is in use."""
    scopes = tuple(scope.name for scope in in_use(session, vessel_id, at))
    events = feed_event_marks(session, vessel_id)
    return revision_of(session, vessel_id), published_texts(session, vessel_id), events, scopes


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rendered:
    """A vessel's calendars as they are at an instant, ready to be stored. changed: events that show something new; over: uids of
    those that stand in no calendar any more. mark: of the state they were made of."""

    mark: tuple[object, ...]
    at: datetime
    plants: Sequence[PlantState]
    withdrawn: Withdrawing
    changed: Sequence[FeedEventRow]
    over: Sequence[str]
    bodies: Mapping[Scope, bytes]
    summaries: Sequence[PlantSummary]


def _render(session: Session, context: Context, writer: CalendarWriter, vessel_id: str) -> _Rendered:
    """All that takes time, done before anybody who wants to write has to wait for it. Nothing is written."""
    plants, at = _plants(session, context, vessel_id), context.now()
    old = {row.occurrence_key: row for row in feed_event_rows(session, vessel_id)}
    closed = closed_rows(session, plants, at)
    withdrawn = withdrawing(session, plants, old, closed, at)
    wanted = {entry.key: entry for entry in content_of(session, plants, old, closed, at, withdrawn).entries}
    rows, changed = [], []
    for entry in wanted.values():
        row = old.get(entry.key)
        stored = None if row is None else event_of_row(row, entry.role)
        uid, event = writer.publish(stored, entry, vessel_id, at)
        if row is None or (
            event is not stored and (row.text, row.task, row.fingerprint) != (event.text, event.task, event.mark())
        ):
            row = _row(vessel_id, uid, plants, entry, event, None if row is None else row.plant_id)
            changed.append(row)
        rows.append(row)
    return _Rendered(
        mark=_mark(session, vessel_id, at),
        at=at,
        plants=plants,
        withdrawn=withdrawn,
        changed=changed,
        over=[row.uid for key, row in old.items() if key not in wanted],
        bodies=vessel_bodies(session, writer, vessel_id, at, rows),
        summaries=[
            summarise(session, context, now, of_vessel=now is plants[0], alone=len(plants) == 1) for now in plants
        ],
    )


def _store(session: Session, writer: CalendarWriter, vessel_id: str, rendered: _Rendered) -> StoredCalendar:
    """Write what changed; the plain calendar."""
    if heard_at(session, vessel_id) is None:  # who writes aboard publishes and withdraws there
        for now in rendered.plants:
            plant_state_published.keep_published(
                session, vessel_id, now.plant.id, now.posted, offset_minutes=now.offset_minutes, at=rendered.at
            )
        for job in rendered.withdrawn.again:
            session.delete(session.merge(job))
        session.flush()
        session.add_all(rendered.withdrawn.gone)
    for event in rendered.changed:
        session.merge(event)
    for uid in rendered.over:
        session.delete(session.get_one(FeedEventRow, (vessel_id, uid)))
    if rendered.changed or rendered.over:
        ask_fleet(session, vessel_id, rendered.at)
    for now, summary in zip(rendered.plants, rendered.summaries, strict=True):
        keep_summary(session, vessel_id, now.plant.id, summary, revision_of(session, vessel_id), now.at)
    session.flush()
    return write_vessel(session, writer, vessel_id, rendered.at, rendered.bodies)


@in_language(ENGLISH)
def renew(context: Context, writer: CalendarWriter, vessel_id: str) -> bool:
    """As `refresh`, for those whose own work must not fail with it: what went wrong is logged and noted for readiness
    and page, and the last good calendars go on being served. vessel_id `FLEET`: the fleet's calendars, from what is stored."""
    try:
        if vessel_id == FLEET:
            write_fleet(context, writer)
            _well_again(context, FLEET)
        else:
            refresh(context, writer, vessel_id)
    except Exception as error:
        says = f"failed: {type(error).__name__}: {error}"[:300]
        if trouble(context).get(vessel_id, ("", ""))[0] != says:
            log.exception("the calendar of %s could not be written; the last good one is served", vessel_id)
            with suppress(SchedulerError), context.db.write(vessel_id, writing=Writing.WORKED_OUT) as session:
                note_outcome(session, CALENDAR, vessel_id, context.now(), says)
        return False
    return True


def trouble(context: Context) -> dict[str, tuple[str, datetime]]:
    """By vessel, what went wrong when her calendar was last written, and since when; empty while all is well."""
    with context.db.read() as session:
        return {
            row.vessel_id: (row.outcome or "", row.ended_at or row.asked_at)
            for row in failed_pending(session, CALENDAR)
        }


def _well_again(context: Context, vessel_id: str) -> None:
    if vessel_id in trouble(context):
        with context.db.write(vessel_id, writing=Writing.WORKED_OUT) as session:
            drop_pending(session, vessel_id, task=CALENDAR)


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
        with context.db.write(scope.vessel_id, writing=Writing.WORKED_OUT) as session:
            at, rows = context.now(), feed_event_rows(session, scope.vessel_id)
            bodies = vessel_bodies(session, writer, scope.vessel_id, at, rows, scope)
            write_vessel(session, writer, scope.vessel_id, at, bodies)
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


def stale_vessels(context: Context, most_age_s: int, only: str | None = None) -> list[str]:
    """Vessels, or that one, whose calendar and summaries are older than their last change or than `most_age_s`, or that the clock
    made others."""
    at = context.now()
    with context.db.read() as session:
        behind = vessels_behind(session, Scope(vessel_id=None).name, at - timedelta(seconds=most_age_s), only)
        return sorted({*behind, *vessels_turned(session, form(), at, only)})


def _row(
    vessel_id: str,
    uid: str,
    plants: Sequence[PlantState],
    entry: CalendarEntry,
    event: StoredEvent,
    plant_id: str | None,
) -> FeedEventRow:
    """plant_id: as stored, where it is there already."""
    state, starts_s = entry.state.value if entry.state else "", _second(entry.starts)
    rank, rank_s, _ = urgency(state, starts_s, entry.key)
    if entry.key == PLAN_STATUS_KEY:
        rank = STATUS_RANK
    found = next((now.plant.id for now in plants if now.job(entry.key) is not None), plants[0].plant.id)
    return FeedEventRow(
        vessel_id=vessel_id,
        uid=uid,
        plant_id=plant_id or found,
        occurrence_key=entry.key,
        text=event.text,
        task=event.task,
        fingerprint=event.mark(),
        sequence=event.sequence,
        changed_at=event.changed_at,
        created_at=event.created_at,
        starts_s=starts_s,
        ends_s=_second(entry.ends),
        state=state,
        rank=rank,
        rank_s=int(rank_s),
        closed_at=event.changed_at if entry.state in (JobState.DONE, JobState.WITHDRAWN) else None,
    )


def _second(moment: date | datetime) -> int:
    if isinstance(moment, datetime):
        return seconds(moment)
    return seconds(datetime(moment.year, moment.month, moment.day, tzinfo=UTC))


def bare(context: Context, writer: CalendarWriter, scope: Scope) -> StoredCalendar:
    """A calendar with the plan-status entry alone, for when none could be written yet; it is not kept."""
    at = context.now()
    if scope.vessel_id is None:
        name, path = "Fleet", "/?all=1"
        entry = fleet_entry(on=at.date(), vessels=0, states={}, left_out=0)
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
