"""Whole calendars, put together from stored texts and kept as they are sent: each vessel's, the fleet's, by scope.

Nothing is rendered here but the frame and the fleet's own status. What is kept is the last good one.
"""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime

from scheduler.actions.base.context import Context, seconds
from scheduler.actions.base.pending import FLEET_CALENDAR
from scheduler.actions.vessel.document import document_of
from scheduler.actions.vessel.fleet import clock_of
from scheduler.domain.base.enums import JobState
from scheduler.domain.feed.entries import PLAN_STATUS_KEY, fleet_entry
from scheduler.domain.feed.reminding import evening_before
from scheduler.domain.feed.revision import CalendarEntry, Feed, StoredEvent, republish
from scheduler.domain.feed.scope import LATE_RANK, MOST_EVENTS, MOST_OCTETS, OUT, OVER_RANK, Piece, Scope, fitting
from scheduler.domain.vessel.document import Vessel
from scheduler.domain.vessel.naming import ship_names
from scheduler.shiptime import ShipOffset
from scheduler.storage.database import Session
from scheduler.storage.feed import (
    AddressRow,
    FeedBodyRow,
    FeedEventRow,
    FleetChoice,
    address_rows,
    address_rows_of,
    event_states,
    feed_bodies_written_at,
    feed_body_row,
    feed_body_rows,
    feed_body_tag,
    most_urgent_events,
    newest_status_s,
    status_events,
)
from scheduler.storage.tasks import ask_pending, end_pending, open_pending, task_is_pending
from scheduler.storage.vessel import revision_of, vessel_names

FLEET = ""
"""Under which the fleet's calendars are kept, in place of a vessel's id."""
FLEET_SECONDS = 60
_FRAME_OCTETS = 3000
MOST_STATUSES = MOST_EVENTS // 2
"""Of the vessels' own status events in a fleet's calendar, those of the oldest plans: each of the others has hers in her own."""
_PLAIN = Scope(vessel_id=None)
_FIRM, _ALL_DAY = "\r\nSTATUS:CONFIRMED\r\n", "\r\nDTSTART;VALUE=DATE:"
"""In the text of an event that is planned or past due; of one that stands on a date."""
_NOTHING_TO_DO = ("", JobState.DONE.value, JobState.WITHDRAWN.value)

Publish = Callable[[StoredEvent | None, CalendarEntry, str, datetime], tuple[str, StoredEvent]]
"""(event as kept, entry, vessel id, now) to (uid, event to keep); renders only what changed."""
Compose = Callable[[str, Iterable[str], str, str], bytes]
"""(name, texts, what it is, path of the page about it) to the calendar's bytes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CalendarWriter:
    """How calendars are written: handed in, since this side knows no iCalendar.

    alarm: (text, instant) to a text with a reminder at that instant. name: (text, vessel's name) to a text that says whose job
    it is. withdrawn: what an address that is no longer good serves (vessel name, date, since when, vessel id, tasks=).
    """

    publish: Publish
    compose: Compose
    tag: Callable[[bytes], str]
    alarm: Callable[[str, datetime], str]
    name: Callable[[str, str], str]
    withdrawn: Callable[..., bytes]


@dataclass(frozen=True, slots=True)
class StoredCalendar:
    """A calendar as it is sent."""

    body: bytes
    etag: str
    changed_at: datetime
    made_at: datetime
    revision: int


def last_good(context: Context, scope: Scope) -> StoredCalendar | None:
    """The calendar as last written, or none before the first."""
    with context.db.read() as session:
        row = feed_body_row(session, scope.vessel_id or FLEET, scope.name)
        return None if row is None else _body(row)


def stored_tag(context: Context, scope: Scope) -> tuple[str, datetime] | None:
    """Tag of the calendar as last written and when it last changed, by one key and without its body; none before the first."""
    with context.db.read() as session:
        return feed_body_tag(session, scope.vessel_id or FLEET, scope.name)


def vessel_bodies(
    session: Session,
    writer: CalendarWriter,
    vessel_id: str,
    at: datetime,
    rows: Sequence[FeedEventRow],
    also: Scope | None = None,
) -> dict[Scope, bytes]:
    """A vessel's calendars, all that are in use and `also`. rows: her events. Nothing is written."""
    vessel, _ = document_of(session, vessel_id)
    rows = sorted(rows, key=lambda row: (row.occurrence_key != PLAN_STATUS_KEY, row.starts_s, row.occurrence_key))
    clock, now_s = clock_of(session, vessel_id, at), seconds(at)
    made: dict[Scope, bytes] = {}
    for scope in in_use(session, vessel_id, at, also):
        texts = [
            _text(writer, row, scope, clock)
            for row in rows
            if row.occurrence_key == PLAN_STATUS_KEY or _stands(row, scope, now_s)
        ]
        whole = f"Planned maintenance of the vacuum plant of {vessel.name}."
        about = _about(whole, scope, _kind_names(vessel))
        made[scope] = writer.compose(vessel.name, texts, about, f"/vessels/{vessel_id}/plan")
    return made


def write_vessel(
    session: Session, writer: CalendarWriter, vessel_id: str, at: datetime, bodies: Mapping[Scope, bytes]
) -> StoredCalendar:
    """Store a vessel's calendars in place of all of hers; one that stands so already keeps every byte. Returns the plain one."""
    revision = revision_of(session, vessel_id)
    made = {scope.name: _keep(session, writer, scope, body, at, revision) for scope, body in bodies.items()}
    _forget(session, vessel_id, made)
    return made[_PLAIN.name]


def write_fleet(context: Context, writer: CalendarWriter, also: Scope | None = None) -> None:
    """Write anew what changed of the fleet's calendars, if any is in use or `also` is asked for.

    In a transaction of its own, and from what is stored of the vessels alone. What was asked for until it began is done with it.
    """
    with context.db.write(FLEET) as session:
        asked, at = open_pending(session, FLEET_CALENDAR), context.now()
        scopes = in_use(session, None, at, also)
        names = vessel_names(session) if scopes else {}
        made: dict[str, StoredCalendar] = {}
        for scope in scopes:
            body, status = _fleet_body(session, writer, scope, names, at)
            made[scope.name] = _keep(session, writer, scope, body, at, 0, status)
        _forget(session, FLEET, made)
        for row in asked:  # last, so that no vessel that asks waits longer than for the commit
            end_pending(session, FLEET_CALENDAR, row.vessel_id, "", row.asked, at)


def ask_fleet(session: Session, vessel_id: str, at: datetime) -> None:
    """Ask for the fleet's calendar anew, since an event of that vessel changed: by a row of hers, so that nobody waits for another."""
    ask_pending(session, FLEET_CALENDAR, vessel_id, "", at)


def fleet_is_behind(context: Context, most_age_s: int) -> bool:
    """Whether the fleet's calendar is to be written now: something changed, but at most once each `FLEET_SECONDS`; or it is as old
    as `most_age_s`."""
    with context.db.read() as session:
        written = min(feed_bodies_written_at(session, FLEET), default=None)
        age_s = None if written is None else context.now_s() - seconds(written)
        if task_is_pending(session, FLEET_CALENDAR):
            return age_s is None or age_s >= FLEET_SECONDS or age_s < 0
        return age_s is not None and age_s >= most_age_s


def kept_scopes(session: Session, at: datetime) -> list[tuple[str, Scope]]:
    """(hash of the secret, scope) of every address that is good now, as events and as tasks."""
    return [
        (row.sha256, scope_of(row, tasks))
        for row in address_rows(session)
        if row.revoked_at is None and (row.expires_at is None or row.expires_at > at)
        for tasks in (False, True)
    ]


def scope_of(row: AddressRow, tasks: bool) -> Scope:
    """What an address as stored shows."""
    kinds = None if row.kinds is None else tuple(row.kinds)
    return Scope(
        vessel_id=row.vessel_id,
        alarms=row.alarms,
        kinds=kinds,
        tasks=tasks,
        alarm_hour=row.alarm_hour,
        days_ahead=row.days_ahead,
    )


def in_use(session: Session, vessel_id: str | None, at: datetime, also: Scope | None = None) -> list[Scope]:
    """What addresses of a vessel (none: of the fleet) show, a vessel's plain calendar and `also`, by name."""
    found = {
        scope
        for row in address_rows_of(session, vessel_id)
        if row.expires_at is None or row.expires_at > at
        for scope in (scope_of(row, False), scope_of(row, True))
    }
    if vessel_id is not None:
        found.add(Scope(vessel_id=vessel_id))
    if also is not None:
        found.add(also)
    return sorted(found, key=lambda scope: scope.name)


def _text(writer: CalendarWriter, row: FeedEventRow, scope: Scope, clock: ShipOffset, ship: str = "") -> str:
    """ship: to be named before the title, in a calendar of many."""
    text = row.task if scope.tasks else row.text
    text = writer.name(text, ship) if ship else text
    rings = scope.alarms and row.state not in _NOTHING_TO_DO and not row.occurrence_key.startswith(OUT)
    if not rings or _FIRM not in row.text:  # what is only forecast rings nowhere, as an event or as a task
        return text
    return writer.alarm(text, evening_before(row.starts_s, scope.alarm_hour, clock, all_day=_ALL_DAY in row.text))


def _stands(row: FeedEventRow, scope: Scope, now_s: int) -> bool:
    """Whether a job or a pump out belongs in it now."""
    over = row.occurrence_key.startswith(OUT) and row.ends_s <= now_s and scope.days_ahead is not None
    return not over and scope.takes(row.occurrence_key) and scope.shows(row.state, row.starts_s, now_s)


def _about(whole: str, scope: Scope, kind_names: Mapping[str, str]) -> str:
    lines = [whole]
    if scope.kinds is not None:
        lines.append(f"Only: {', '.join(kind_names.get(code, code) for code in scope.kinds)}.")
    if scope.days_ahead is not None:
        lines.append(f"Only the next {scope.days_ahead} days and what is past due.")
    lines.append("No alarm: programs fetch it late.")
    return " ".join(lines)


def _kind_names(vessel: Vessel) -> dict[str, str]:
    return {kind.code: kind.name for plant in vessel.plants for kind in plant.job_kinds}


def _fleet_kind_names(session: Session, scope: Scope, vessels: Iterable[str]) -> Mapping[str, str]:
    """The names of the kinds it shows, from as few documents as have them all."""
    found: dict[str, str] = {}
    for vessel_id in vessels:
        if not set(scope.kinds or ()) - found.keys():
            break
        found = {**_kind_names(document_of(session, vessel_id)[0]), **found}
    return found


def _choice(scope: Scope, now_s: int) -> FleetChoice:
    """As `_stands`, for the database."""
    ahead = scope.days_ahead
    return FleetChoice(
        kinds=scope.kinds,
        out=(OUT, scope.kinds is None and not scope.tasks),
        late=LATE_RANK,
        over=OVER_RANK,
        over_s=None if ahead is None else now_s,
        until_s=None if ahead is None else now_s + ahead * 86_400,
    )


def _fleet_body(
    session: Session, writer: CalendarWriter, scope: Scope, names: Mapping[str, str], at: datetime
) -> tuple[bytes, str]:
    """names: of the vessels, by id."""
    ships, choice, clocks = ship_names(names), _choice(scope, seconds(at)), dict[str, ShipOffset]()

    def piece(row: FeedEventRow) -> Piece:
        if scope.alarms and row.vessel_id not in clocks:
            clocks[row.vessel_id] = clock_of(session, row.vessel_id, at)
        text = _text(writer, row, scope, clocks.get(row.vessel_id, ShipOffset(0)), ships[row.vessel_id])
        return Piece(state=row.state, starts_s=row.starts_s, key=f"{row.vessel_id} {row.occurrence_key}", text=text)

    statuses = [piece(row) for row in status_events(session, MOST_STATUSES)]
    taken = sum(len(one.text.encode()) for one in statuses) + _FRAME_OCTETS
    most = MOST_EVENTS - 1 - len(statuses)
    urgent = [piece(row) for row in most_urgent_events(session, choice, most)]
    kept, _ = fitting(urgent, most=most, octets=MOST_OCTETS - taken)
    states = event_states(session, choice)
    newest_s = newest_status_s(session)
    entry = fleet_entry(
        on=datetime.fromtimestamp(at.timestamp() if newest_s is None else newest_s, UTC).date(),
        vessels=len(names),
        states=states,
        left_out=sum(states.values()) - len(kept),
    )
    before = feed_body_row(session, FLEET, scope.name)
    old = None if before is None or before.status is None else _status_from(before.status)
    event = writer.publish(old, entry, FLEET, at)[1]
    first = event.task if scope.tasks else event.text
    whole = f"Planned maintenance of the vacuum plants of {len(names)} vessels."
    about = _about(whole, scope, _fleet_kind_names(session, scope, names))
    texts = [first, *(one.text for one in (*statuses, *kept))]
    return writer.compose("Fleet", texts, about, "/?all=1"), _status_text(event)


def _status_text(event: StoredEvent) -> str:
    kept = {**asdict(event), "created_at": event.created_at.isoformat(), "changed_at": event.changed_at.isoformat()}
    return json.dumps(kept)


def _status_from(text: str) -> StoredEvent:
    kept = json.loads(text)
    for name in ("created_at", "changed_at"):
        kept[name] = datetime.fromisoformat(kept[name])
    return StoredEvent(**kept)


def _keep(
    session: Session,
    writer: CalendarWriter,
    scope: Scope,
    body: bytes,
    at: datetime,
    revision: int,
    status: str | None = None,
) -> StoredCalendar:
    row = feed_body_row(session, scope.vessel_id or FLEET, scope.name)
    before = None if row is None else Feed(body=row.body.encode(), changed_at=row.changed_at)
    feed = republish(before, body, at)
    if row is None:
        row = FeedBodyRow(
            vessel_id=scope.vessel_id or FLEET, name=scope.name, body="", etag="", changed_at=at, made_at=at, revision=0
        )
    if feed is not before:
        row.body, row.etag, row.changed_at = body.decode(), writer.tag(body), feed.changed_at
    row.made_at, row.revision, row.status = at, revision, status
    session.add(row)
    return _body(row)


def _forget(session: Session, vessel_id: str, made: dict[str, StoredCalendar]) -> None:
    """A calendar nobody has an address of is not kept: it would grow old, and be served old to the next who asks."""
    for row in feed_body_rows(session, vessel_id):
        if row.name not in made:
            session.delete(row)


def _body(row: FeedBodyRow) -> StoredCalendar:
    return StoredCalendar(row.body.encode(), row.etag, row.changed_at, row.made_at, row.revision)
