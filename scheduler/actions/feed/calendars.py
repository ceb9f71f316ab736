"""Whole calendars, put together from stored texts and kept as they are sent: each vessel's, the fleet's, by scope.

Nothing is rendered here but the frame and the fleet's own status. What is kept is the last good one.
"""

import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime

from scheduler.actions.base.context import Context, seconds
from scheduler.actions.vessel.document import document_of
from scheduler.actions.vessel.fleet import clock_of
from scheduler.domain.base.enums import JobState
from scheduler.domain.feed.entries import PLAN_STATUS_KEY, fleet_entry
from scheduler.domain.feed.reminding import evening_before
from scheduler.domain.feed.revision import CalendarEntry, Feed, StoredEvent, republish
from scheduler.domain.feed.scope import MOST_EVENTS, MOST_OCTETS, OUT, Piece, Scope, fitting
from scheduler.domain.vessel.document import Vessel
from scheduler.domain.vessel.naming import ship_names
from scheduler.shiptime import ShipOffset
from scheduler.storage.database import Session
from scheduler.storage.feed import (
    AddressRow,
    FeedBodyRow,
    FeedEventRow,
    address_rows,
    address_rows_of,
    feed_body_row,
    feed_body_rows,
    feed_event_rows,
)
from scheduler.storage.vessel import revision_of, vessel_rows

FLEET = ""
"""Under which the fleet's calendars are kept, in place of a vessel's id."""
_FRAME_OCTETS = 3000
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


def write_vessel(
    session: Session, writer: CalendarWriter, vessel_id: str, at: datetime, also: Scope | None = None
) -> StoredCalendar:
    """Write anew what changed of a vessel's calendars, all that are in use and `also`; returns the plain one."""
    vessel, _ = document_of(session, vessel_id)
    rows = feed_event_rows(session, vessel_id)
    rows.sort(key=lambda row: row.occurrence_key != PLAN_STATUS_KEY)
    clock, now_s = clock_of(session, vessel_id, at), seconds(at)
    made: dict[str, StoredCalendar] = {}
    for scope in _in_use(session, vessel_id, at, also):
        texts = [
            _text(writer, row, scope, clock)
            for row in rows
            if row.occurrence_key == PLAN_STATUS_KEY or _stands(row, scope, now_s)
        ]
        whole = f"Planned maintenance of the vacuum plant of {vessel.name}."
        about = _about(whole, scope, [vessel])
        body = writer.compose(vessel.name, texts, about, f"/vessels/{vessel_id}/plan")
        made[scope.name] = _keep(session, writer, scope, body, at, revision_of(session, vessel_id))
    _forget(session, vessel_id, made)
    return made[_PLAIN.name]


def write_fleet(context: Context, writer: CalendarWriter, also: Scope | None = None) -> None:
    """Write anew what changed of the fleet's calendars, if any is in use or `also` is asked for.

    In a transaction of its own: of vessels written at the same time, the last to come here sees all of them.
    """
    with context.db.read() as session:
        if also is None and not address_rows_of(session, None) and not feed_body_rows(session, FLEET):
            return
    with context.db.write(FLEET) as session:
        at = context.now()
        vessels = {row.id: document_of(session, row.id)[0] for row in vessel_rows(session)}
        rows = [row for row in feed_event_rows(session, None) if row.vessel_id in vessels]
        made: dict[str, StoredCalendar] = {}
        for scope in _in_use(session, None, at, also):
            body, status = _fleet_body(session, writer, scope, vessels, rows, at)
            made[scope.name] = _keep(session, writer, scope, body, at, 0, status)
        _forget(session, FLEET, made)


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


def _in_use(session: Session, vessel_id: str | None, at: datetime, also: Scope | None) -> list[Scope]:
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


def _about(whole: str, scope: Scope, vessels: Iterable[Vessel]) -> str:
    lines = [whole]
    if scope.kinds is not None:
        names = {kind.code: kind.name for vessel in vessels for plant in vessel.plants for kind in plant.job_kinds}
        lines.append(f"Only: {', '.join(names.get(code, code) for code in scope.kinds)}.")
    if scope.days_ahead is not None:
        lines.append(f"Only the next {scope.days_ahead} days and what is past due.")
    lines.append("No alarm: programs fetch it late.")
    return " ".join(lines)


def _fleet_body(
    session: Session,
    writer: CalendarWriter,
    scope: Scope,
    vessels: dict[str, Vessel],
    rows: Sequence[FeedEventRow],
    at: datetime,
) -> tuple[bytes, str]:
    named: dict[bool, list[Piece]] = {True: [], False: []}
    ships = ship_names({vessel_id: vessel.name for vessel_id, vessel in vessels.items()})
    clocks = {vessel_id: clock_of(session, vessel_id, at) for vessel_id in vessels} if scope.alarms else {}
    utc = ShipOffset(0)
    for row in rows:
        status = row.occurrence_key == PLAN_STATUS_KEY
        if status or _stands(row, scope, seconds(at)):
            text = _text(writer, row, scope, clocks.get(row.vessel_id, utc), ships[row.vessel_id])
            key = f"{row.vessel_id} {row.occurrence_key}"
            named[status].append(Piece(state=row.state, starts_s=row.starts_s, key=key, text=text))
    taken = sum(len(one.text.encode()) for one in named[True]) + _FRAME_OCTETS
    kept, left_out = fitting(named[False], most=MOST_EVENTS - 1 - len(named[True]), octets=MOST_OCTETS - taken)
    newest_s = max((one.starts_s for one in named[True]), default=at.timestamp())
    entry = fleet_entry(
        on=datetime.fromtimestamp(newest_s, UTC).date(),
        vessels=len(vessels),
        states=[one.state for one in named[False]],
        left_out=left_out,
    )
    before = feed_body_row(session, FLEET, scope.name)
    old = None if before is None or before.status is None else _status_from(before.status)
    event = writer.publish(old, entry, FLEET, at)[1]
    first = event.task if scope.tasks else event.text
    about = _about(f"Planned maintenance of the vacuum plants of {len(vessels)} vessels.", scope, vessels.values())
    texts = [first, *(one.text for one in (*named[True], *kept))]
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
