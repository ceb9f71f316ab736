"""The calendar feed as bytes: one event or task as text, and the whole calendar joined from stored texts.

Events are rendered by the icalendar library once, when they change; afterwards stored texts are only joined.
"""

import hashlib
import re
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from urllib.parse import quote
from uuid import NAMESPACE_URL, uuid5

from icalendar import Calendar, Component, Event, Parameters, Todo, vCategory, vText
from icalendar.parser import Contentline

from scheduler.domain.base.canonical import canonical
from scheduler.domain.base.enums import JobState
from scheduler.domain.feed.revision import STATUS_ROLE, CalendarEntry, StoredEvent, revise
from scheduler.errors import Refused
from scheduler.wording.invisible import visible_text

PRODID = "-//Leadline//Planned maintenance by running hours//EN"
RENDERER = "2"
"""Part of every fingerprint: raise it when the same entry would render to another text."""
_END = "END:VCALENDAR\r\n"
_ENDS = {"END:VEVENT\r\n": "\r\nSTATUS:CONFIRMED\r\n", "END:VTODO\r\n": "\r\nSTATUS:NEEDS-ACTION\r\n"}
_TITLE = re.compile(r"\r\nSUMMARY:((?:[^\r]|\r\n )*)\r\n(?! )")
"""The title of a component, escaped and folded as it stands there."""
_STATUSES = frozenset({"TENTATIVE", "CONFIRMED", "CANCELLED"})
# What RFC 5545 3.1 and 3.3.11 keep out of a text value, and what XML-minded clients choke on; tab and line feed stay.
_UNWANTED = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff\ud800-\udfff]")
_COLOURS = {
    JobState.AHEAD: "slategray",
    JobState.WINDOW_OPEN: "steelblue",
    JobState.PAST_DUE: "darkgoldenrod",
    JobState.PAST_LIMIT: "darkred",
    JobState.POSTPONED: "rosybrown",
    JobState.NOT_KNOWN: "mediumpurple",
    JobState.DONE: "gray",
    JobState.WITHDRAWN: "lightgray",
}
_PLAIN_COLOUR = "navy"
_PRIORITIES = {
    JobState.PAST_LIMIT: 1,
    JobState.PAST_DUE: 2,
    JobState.NOT_KNOWN: 3,
    JobState.WINDOW_OPEN: 5,
    JobState.POSTPONED: 6,
    JobState.AHEAD: 7,
}
"""Of a task, 1 the highest (RFC 5545 3.8.1.9)."""


class _LiteralText(vText):
    """A TEXT value escaped by the letter; the library takes a backslash before an N for a line end, as in C:\\New.

    Source: RFC 5545 3.3.11.
    """

    def to_ical(self) -> bytes:
        """The value as it stands in a line."""
        escaped = self.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,").replace("\n", "\\n")
        return escaped.encode()


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
        "completed_at": entry.completed_at,
        "base_url": base_url,
        "renderer": RENDERER,
    }
    return hashlib.sha256(canonical(shown).encode("ascii")).hexdigest()


def published_event(
    old: StoredEvent | None, entry: CalendarEntry, *, vessel_id: str, base_url: str, at: datetime
) -> StoredEvent:
    """The event to keep: `old` itself when nothing visible changed, else revised by the rule and rendered anew.

    Event and task have UIDs of their own, since a program may hold both calendars.
    """
    kept = revise(old, entry, fingerprint(entry, base_url), at)
    if kept is old and kept.text and kept.task:
        return kept
    revision = kept.sequence, kept.changed_at, kept.created_at, base_url
    text = kept.text or render_event(entry, uid_for(vessel_id, entry.key, entry.role), *revision)
    task = kept.task or render_task(entry, uid_for(vessel_id, entry.key, f"{entry.role} as a task"), *revision)
    return replace(kept, text=text, task=task)


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

    An all-day DUE is the date itself (it is not exclusive, unlike DTEND) and comes without DTSTART, so no rule binds the two; a
    planned one starts with its slot. The plan status is nothing to do: it comes completed, and keeps a list of tasks from ever
    being empty.

    Source: RFC 5545 3.8.1.9 (PRIORITY, 1 the highest), 3.8.2.1 (COMPLETED, an instant in UTC), 3.8.2.3 (DUE).
    """
    task = Todo()
    _common(task, entry, uid, sequence, changed_at, created_at, base_url)
    starts, ends = _span(entry)
    if isinstance(starts, datetime):
        task.add("DTSTART", starts)
    task.add("DUE", ends if isinstance(ends, datetime) else ends - timedelta(days=1))
    if entry.state in _PRIORITIES:
        task.add("PRIORITY", _PRIORITIES[entry.state])
    if entry.status == "CANCELLED":
        task.add("STATUS", "CANCELLED")
    elif entry.state is JobState.DONE or entry.role == STATUS_ROLE:
        task.add("STATUS", "COMPLETED")
        task.add("PERCENT-COMPLETE", 100)
        if entry.completed_at is not None:
            task.add("COMPLETED", _instant(entry.completed_at, "when it was done"))
    else:
        task.add("STATUS", "NEEDS-ACTION")
    return _written(task)


def with_alarm(text: str, rings_at: datetime) -> str:
    """The event or task with a reminder at an instant, for a calendar that asks for it; it says what the title says. What is only
    forecast, or withdrawn, gets none.

    Source: RFC 5545 3.6.6 (a DISPLAY alarm carries ACTION, DESCRIPTION and TRIGGER), 3.8.6.3 (a trigger may be an instant in UTC).
    """
    end = next((one for one in _ENDS if text.endswith(one)), None)
    if end is None:
        raise Refused("Only an event or a task takes an alarm; this text does not end one.")
    if _ENDS[end] not in text:
        return text
    title = _TITLE.search(text)
    alarm = (
        f"BEGIN:VALARM\r\nACTION:DISPLAY\r\nDESCRIPTION:\r\n {title[1] if title else 'Planned maintenance'}\r\n"
        f"TRIGGER;VALUE=DATE-TIME:{_instant(rings_at, 'its reminder'):%Y%m%dT%H%M%SZ}\r\nEND:VALARM\r\n"
    )
    return text.removesuffix(end) + alarm + end


def with_vessel(text: str, vessel_name: str) -> str:
    """The event or task with the vessel's name before its summary, for a calendar of many vessels.

    The name is put before a fold (RFC 5545 3.1 allows one anywhere), so that nothing behind it is folded anew.
    """
    return text.replace("\r\nSUMMARY:", _vessel_prefix(vessel_name), 1)


@lru_cache(maxsize=1024)
def _vessel_prefix(vessel_name: str) -> str:
    name = " ".join(_clean(vessel_name).split())
    line = Contentline.from_parts("SUMMARY", Parameters(), _LiteralText(name), sorted=False).to_ical().decode()
    return f"\r\n{line}\r\n : "


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
    vessel_name = " ".join(_clean(vessel_name).split())
    name = f"{vessel_name}: planned maintenance"
    about = _clean(
        description or f"Planned maintenance of the vacuum plant of {vessel_name}. No alarm: programs fetch it late."
    )
    calendar = Calendar()
    calendar.add("PRODID", PRODID)
    calendar.add("VERSION", "2.0")
    calendar.add("CALSCALE", "GREGORIAN")
    calendar.add("NAME", _LiteralText(name))
    calendar.add("X-WR-CALNAME", _LiteralText(name))
    calendar.add("DESCRIPTION", _LiteralText(about))
    calendar.add("X-WR-CALDESC", _LiteralText(about))
    calendar.add("COLOR", _PLAIN_COLOUR)
    calendar.add("REFRESH-INTERVAL", timedelta(hours=1), parameters={"VALUE": "DURATION"})
    calendar.add("X-PUBLISHED-TTL", "PT1H")
    if url is not None:
        calendar.add("URL", url)
    return calendar


def withdrawn_body(vessel_name: str, on: date, ended_at: datetime, vessel_id: str, *, tasks: bool = False) -> bytes:
    """The calendar that an address serves for a while after it was withdrawn or ran out: one entry that says so."""
    entry = CalendarEntry(
        key="feed-withdrawn",
        role="feed withdrawn",
        summary="This calendar address was withdrawn",
        description="Ask aboard or the office for a new address, then delete this calendar. No jobs are shown here.",
        starts=on,
        ends=on + timedelta(days=1),
        state=None,
        status="CONFIRMED",
        opaque=False,
        categories=("plan status",),
        path="",
        location=vessel_name,
    )
    uid = uid_for(vessel_id, entry.key, f"{entry.role} as a task" if tasks else entry.role)
    text = (render_task if tasks else render_event)(entry, uid, 0, ended_at, ended_at, "")
    return calendar_body(vessel_name, [text])


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
    component.add("SUMMARY", _LiteralText(_clean(entry.summary)))
    component.add("DESCRIPTION", _LiteralText(_clean(entry.description)))
    if place := _clean(entry.location):
        component.add("LOCATION", _LiteralText(place))
    categories = vCategory([])
    categories.cats = [_LiteralText(_clean(word)) for word in entry.categories]
    component.add("CATEGORIES", categories)
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
    """The text without what a calendar line may not hold, what nobody sees shown; CR LF and CR become a line feed."""
    return visible_text(_UNWANTED.sub("", text.replace("\r\n", "\n").replace("\r", "\n")))
