"""The calendar feed as bytes: one event as text, the whole calendar joined from stored texts, and its HTTP answer.

Events are rendered by the icalendar library once, when they change; a request only joins stored texts or answers 304.
"""

import gzip
import hashlib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from email.utils import format_datetime, parsedate_to_datetime
from functools import lru_cache
from urllib.parse import quote
from uuid import NAMESPACE_URL, uuid5

from icalendar import Calendar, Component, Event, Todo

from scheduler.domain.history import canonical
from scheduler.domain.revision import CalendarEntry, StoredEvent, revise
from scheduler.domain.words import State
from scheduler.errors import Refused

PRODID = "-//Leadline//Planned maintenance by running hours//EN"
MEDIA_TYPE = "text/calendar; charset=utf-8"
RENDERER = "1"
"""Part of every fingerprint: raise it when the same entry would render to another text."""
_END = "END:VCALENDAR\r\n"
_STATUSES = frozenset({"TENTATIVE", "CONFIRMED", "CANCELLED"})
# What RFC 5545 3.1 and 3.3.11 keep out of a text value, and what XML-minded clients choke on; tab and line feed stay.
_UNWANTED = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff\ud800-\udfff]")
_COLOURS = {
    State.AHEAD: "slategray",
    State.WINDOW_OPEN: "steelblue",
    State.PAST_DUE: "darkgoldenrod",
    State.PAST_LIMIT: "darkred",
    State.POSTPONED: "rosybrown",
    State.DONE: "gray",
    State.WITHDRAWN: "lightgray",
}
_PLAIN_COLOUR = "navy"


def uid_for(vessel_id: str, key: str, role: str) -> str:
    """The UID of an occurrence's event: the same in every installation that holds this vessel, stable through replans.

    Source: RFC 9562 5.5 (UUID version 5), RFC 7986 5.3 (UID as a UUID).
    """
    vessel = uuid5(NAMESPACE_URL, f"leadline:vessel:{vessel_id}")
    return str(uuid5(vessel, f"{role}\n{key}"))


def fingerprint(entry: CalendarEntry, base_url: str) -> str:
    """Hex SHA-256 of everything a reader sees of the entry; equal exactly when the rendered texts agree."""
    shown: dict[str, object] = {
        "summary": _clean(entry.summary),
        "description": _clean(entry.description),
        "location": _clean(entry.location),
        "categories": [_clean(word) for word in entry.categories],
        "path": _clean(entry.path),
        "starts": entry.starts,
        "ends": entry.ends,
        "state": entry.state,
        "status": entry.status,
        "opaque": entry.opaque,
        "base_url": base_url,
        "renderer": RENDERER,
    }
    return hashlib.sha256(canonical(shown).encode("ascii")).hexdigest()


def publish(
    old: StoredEvent | None, entry: CalendarEntry, *, vessel_id: str, base_url: str, at: datetime
) -> StoredEvent:
    """The event to keep: `old` itself when nothing visible changed, else revised by the rule and rendered anew."""
    kept = revise(old, entry, fingerprint(entry, base_url), at)
    if kept is old and kept.text:
        return kept
    uid = uid_for(vessel_id, entry.key, entry.role)
    text = render_event(entry, uid, kept.sequence, kept.changed_at, kept.created_at, base_url)
    return replace(kept, text=text)


def render_event(
    entry: CalendarEntry, uid: str, sequence: int, changed_at: datetime, created_at: datetime, base_url: str
) -> str:
    """One VEVENT with its line ends, ready to be joined.

    DTSTAMP is the time of the last visible change, as a calendar without METHOD asks (RFC 5545 3.8.7.2).

    Raises:
        Refused: an unknown status, a time without offset, or an end that is not after its start (RFC 5545 3.8.2.2).
    """
    event = Event()
    _common(event, entry, uid, sequence, changed_at, created_at, base_url)
    starts, ends = _span(entry)
    event.add("DTSTART", starts)
    event.add("DTEND", ends)
    if entry.status not in _STATUSES:
        raise Refused(f"Event {entry.key} has status {entry.status!r}; expected one of {', '.join(sorted(_STATUSES))}.")
    event.add("STATUS", entry.status)
    event.add("TRANSP", "OPAQUE" if entry.opaque else "TRANSPARENT")
    return _written(event)


def render_task(
    entry: CalendarEntry, uid: str, sequence: int, changed_at: datetime, created_at: datetime, base_url: str
) -> str:
    """One VTODO for tasks.ics, due when the event ends: at the slot's end, or at the end of its date.

    An all-day DUE is the date itself (it is not exclusive, unlike DTEND); no DTSTART, so no rule binds the two.
    """
    task = Todo()
    _common(task, entry, uid, sequence, changed_at, created_at, base_url)
    ends = _span(entry)[1]
    task.add("DUE", ends if isinstance(ends, datetime) else ends - timedelta(days=1))
    if entry.status == "CANCELLED":
        task.add("STATUS", "CANCELLED")
    elif entry.state is State.DONE:
        task.add("STATUS", "COMPLETED")
        task.add("PERCENT-COMPLETE", 100)
    else:
        task.add("STATUS", "NEEDS-ACTION")
    return _written(task)


def with_alarm(event_text: str, before: timedelta = timedelta(hours=12)) -> str:
    """The event with a reminder, for a feed that asks for it; an event nobody can act on gets none.

    Source: RFC 5545 3.6.6 (a DISPLAY alarm carries ACTION, DESCRIPTION and TRIGGER).
    """
    if "\r\nSTATUS:CONFIRMED\r\n" not in event_text or "\r\nSUMMARY:DONE " in event_text:
        return event_text
    if not event_text.endswith("END:VEVENT\r\n"):
        raise Refused("Only an event takes an alarm; this text does not end one.")
    minutes = int(before.total_seconds() // 60)
    alarm = (
        f"BEGIN:VALARM\r\nACTION:DISPLAY\r\nDESCRIPTION:Planned maintenance\r\nTRIGGER:-PT{minutes}M\r\nEND:VALARM\r\n"
    )
    return event_text.removesuffix("END:VEVENT\r\n") + alarm + "END:VEVENT\r\n"


def calendar_body(
    vessel_name: str, texts: Iterable[str], *, url: str | None = None, description: str | None = None
) -> bytes:
    """The whole calendar around stored event texts; byte for byte what the library would render.

    Args:
        texts: of `render_event` (or `render_task`), at least one: some clients drop a calendar without components.
        url: of the plan page; never the feed's own secret address.

    Raises:
        Refused: no text at all.
    """
    joined = "".join(texts)
    if not joined:
        raise Refused("A calendar without an event empties some calendars; give at least the plan-status event.")
    frame = _written(calendar_frame(vessel_name, url=url, description=description))
    return (frame.removesuffix(_END) + joined + _END).encode()


def calendar_frame(vessel_name: str, *, url: str | None = None, description: str | None = None) -> Calendar:
    """The VCALENDAR without components: no METHOD, no UID (one sync program then keeps one event only), no time zone.

    Source: RFC 5545 3.6 and 3.7, RFC 7986 5 (NAME, DESCRIPTION, COLOR, REFRESH-INTERVAL, URL).
    """
    name = f"{_clean(vessel_name)}: planned maintenance"
    about = _clean(
        description or f"Planned maintenance of the vacuum plant of {vessel_name}. No alarm: programs fetch it late."
    )
    calendar = Calendar()
    calendar.add("PRODID", PRODID)
    calendar.add("VERSION", "2.0")
    calendar.add("CALSCALE", "GREGORIAN")
    calendar.add("NAME", name)
    calendar.add("X-WR-CALNAME", name)
    calendar.add("DESCRIPTION", about)
    calendar.add("X-WR-CALDESC", about)
    calendar.add("COLOR", _PLAIN_COLOUR)
    calendar.add("REFRESH-INTERVAL", timedelta(hours=1), parameters={"VALUE": "DURATION"})
    calendar.add("X-PUBLISHED-TTL", "PT1H")
    if url is not None:
        calendar.add("URL", url)
    return calendar


def etag_of(body: bytes) -> str:
    """The weak entity tag of a body: it stays the same when the body is sent compressed. Source: RFC 9110 8.8.3."""
    return f'W/"{hashlib.sha256(body).hexdigest()[:32]}"'


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedAnswer:
    """Status, headers and content of an answer; a HEAD sends the same without the content."""

    status: int
    headers: dict[str, str]
    content: bytes


def conditional(request_headers: Mapping[str, str], etag: str, changed_at: datetime) -> bool:
    """True when the asker holds this version, so that a 304 is due.

    If-None-Match outranks If-Modified-Since; tags are compared weakly; a date that cannot be read is ignored.
    Source: RFC 9110 13.1.2, 13.1.3, 13.2.2.

    Args:
        request_headers: looked up by lower-case name (Starlette's headers are case-insensitive).
    """
    tags = request_headers.get("if-none-match")
    if tags is not None:
        held = {tag.strip().removeprefix("W/") for tag in tags.split(",")}
        return tags.strip() == "*" or etag.removeprefix("W/") in held
    since = request_headers.get("if-modified-since")
    if since is None:
        return False
    try:
        at = parsedate_to_datetime(since)
    except (ValueError, TypeError, OverflowError):
        return False
    return changed_at <= (at if at.tzinfo else at.replace(tzinfo=UTC))


def answer(
    request_headers: Mapping[str, str],
    body: bytes,
    changed_at: datetime,
    *,
    etag: str | None = None,
    compress: bool = True,
    download_name: str | None = None,
) -> FeedAnswer:
    """The 200 or 304 for a feed, with every header it needs.

    Args:
        etag: kept with the body; none: computed.
        compress: gzip for those who ask (the `feed_gzip` setting).
        download_name: ASCII file name for `?download=1`.
    """
    tag = etag_of(body) if etag is None else etag
    headers = {
        "ETag": tag,
        "Last-Modified": format_datetime(changed_at.astimezone(UTC).replace(microsecond=0), usegmt=True),
        "Cache-Control": "private, no-cache",
        "Vary": "Accept-Encoding",
        "Referrer-Policy": "no-referrer",
        "X-Robots-Tag": "noindex",
        "X-Content-Type-Options": "nosniff",
    }
    if conditional(request_headers, tag, changed_at):
        return FeedAnswer(status=304, headers=headers, content=b"")
    headers["Content-Type"] = MEDIA_TYPE
    if download_name is not None:
        headers["Content-Disposition"] = f'attachment; filename="{re.sub(r"[^A-Za-z0-9._-]+", "-", download_name)}"'
    content = body
    if compress and _takes_gzip(request_headers.get("accept-encoding", "")):
        content = _zipped(body)
        headers["Content-Encoding"] = "gzip"
    headers["Content-Length"] = str(len(content))
    return FeedAnswer(status=200, headers=headers, content=content)


@lru_cache(maxsize=32)
def _zipped(body: bytes) -> bytes:
    return gzip.compress(body, compresslevel=6, mtime=0)


def withdrawn_body(vessel_name: str, on: date, revoked_at: datetime, vessel_id: str) -> bytes:
    """The calendar a revoked address serves for 30 days: one all-day event that says so."""
    entry = CalendarEntry(
        key="feed-withdrawn",
        role="feed withdrawn",
        summary="This calendar address was withdrawn",
        description="Ask aboard or the office for a new address. The jobs are no longer shown here.",
        starts=on,
        ends=on + timedelta(days=1),
        state=None,
        status="CONFIRMED",
        opaque=False,
        categories=("plan status",),
        path="",
        location=vessel_name,
    )
    uid = uid_for(vessel_id, entry.key, entry.role)
    return calendar_body(vessel_name, [render_event(entry, uid, 0, revoked_at, revoked_at, "")])


def _common(
    component: Event | Todo,
    entry: CalendarEntry,
    uid: str,
    sequence: int,
    changed_at: datetime,
    created_at: datetime,
    base_url: str,
) -> None:
    component.add("UID", uid)
    changed = _instant(changed_at, "the time of its change")
    component.add("DTSTAMP", changed)
    component.add("LAST-MODIFIED", changed)
    component.add("CREATED", _instant(created_at, "the time it was made"))
    component.add("SEQUENCE", sequence)
    component.add("SUMMARY", _clean(entry.summary))
    component.add("DESCRIPTION", _clean(entry.description))
    component.add("LOCATION", _clean(entry.location))
    component.add("CATEGORIES", [_clean(word) for word in entry.categories])
    component.add("COLOR", _PLAIN_COLOUR if entry.state is None else _COLOURS[entry.state])
    if entry.path and base_url:
        component.add("URL", base_url.rstrip("/") + quote(_clean(entry.path), safe="/:"))


def _written(component: Component) -> str:
    return bytes(component.to_ical()).decode()


def _span(entry: CalendarEntry) -> tuple[date | datetime, date | datetime]:
    starts, ends = entry.starts, entry.ends
    if isinstance(starts, datetime) and isinstance(ends, datetime):
        starts, ends = _instant(starts, "its start"), _instant(ends, "its end")
        good = starts < ends
    else:
        good = not isinstance(starts, datetime) and not isinstance(ends, datetime) and starts < ends
    if not good:
        raise Refused(f"Event {entry.key} runs from {starts} to {ends}; expected two dates or two instants, in order.")
    return starts, ends


def _instant(at: datetime, what: str) -> datetime:
    if at.tzinfo is None:
        raise Refused(f"An event gives {what} as {at} without an offset; expected an instant in UTC.")
    return at.astimezone(UTC).replace(microsecond=0)


def _clean(text: str) -> str:
    """The text without what a calendar line may not hold; CR LF and CR become a line feed."""
    return _UNWANTED.sub("", text.replace("\r\n", "\n").replace("\r", "\n"))


def _takes_gzip(accepts: str) -> bool:
    """Whether gzip is named with a weight above 0. Source: RFC 9110 12.5.3; `*` alone is not taken as asking."""
    for item in accepts.lower().split(","):
        name, _, weight = item.partition(";")
        if name.strip() in ("gzip", "x-gzip"):
            value = weight.strip().removeprefix("q=").strip() or "1"
            try:
                return float(value) > 0
            except ValueError:
                return False
    return False
