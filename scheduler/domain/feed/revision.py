"""Calendar entries as published: what an event shows, and the revision rule that moves its numbers."""

import json
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

from scheduler.domain.base.canonical import canonical
from scheduler.domain.base.enums import JobState
from scheduler.domain.feed.stability import ShownFigures

STATUS_ROLE = "plan status"
"""Role of the entries that say how the plan stands; every other entry is something to do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CalendarEntry:
    """One event. starts and ends are both dates (all-day, end excluded) or both instants (timed).

    status: TENTATIVE, CONFIRMED or CANCELLED, the words of RFC 5545 3.8.1.11. opaque: it takes the reader's time.
    path: the page of the job below the server's address. quoted: what to hand back as `published` next time.
    """

    key: str
    role: str
    summary: str
    description: str
    starts: date | datetime
    ends: date | datetime
    state: JobState | None
    status: str
    opaque: bool
    categories: tuple[str, ...]
    path: str
    location: str
    takes_hours: int | None = None
    quoted: ShownFigures | None = None
    completed_at: datetime | None = None
    """When it was done."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredEvent:
    """An event as kept: what was published, under which revision. `content` is the fingerprint of what it shows.

    text, task: it as an event and as a task, rendered; empty when they are to be.
    """

    key: str
    role: str
    content: str
    starts: str
    ends: str
    status: str
    sequence: int
    created_at: datetime
    changed_at: datetime
    text: str = ""
    task: str = ""
    quoted: ShownFigures | None = None

    def mark(self) -> str:
        """One text for keeping: content, times, status and quoted figures; `StoredEvent.kept` reads it back."""
        return canonical(
            {
                "content": self.content,
                "starts": self.starts,
                "ends": self.ends,
                "status": self.status,
                "quoted": None if self.quoted is None else self.quoted.text(),
            }
        )

    @staticmethod
    def kept(
        *,
        key: str,
        role: str,
        mark: str,
        text: str,
        task: str = "",
        sequence: int,
        created_at: datetime,
        changed_at: datetime,
    ) -> "StoredEvent":
        """The event with that mark, as it was."""
        held = json.loads(mark)
        return StoredEvent(
            key=key,
            role=role,
            content=held["content"],
            starts=held["starts"],
            ends=held["ends"],
            status=held["status"],
            sequence=sequence,
            created_at=created_at,
            changed_at=changed_at,
            text=text,
            task=task,
            quoted=None if held["quoted"] is None else ShownFigures.read(held["quoted"]),
        )


def revise(old: StoredEvent | None, entry: CalendarEntry, content: str, at: datetime) -> StoredEvent:
    """The event to keep: `old` itself when nothing visible changed.

    A change of date, time or status raises the sequence by one; any other change only moves changed_at. changed_at is
    in whole seconds and always later than before, whatever the clock did.

    Args:
        content: everything the reader sees, rendered without revision, or a fingerprint of it.

    Source: RFC 5546 2.1.4 (SEQUENCE), RFC 5545 3.8.7.3 (LAST-MODIFIED).
    """
    now = at.astimezone(UTC).replace(microsecond=0)
    starts, ends, status = _written(entry.starts), _written(entry.ends), entry.status
    if old is None:
        return StoredEvent(
            key=entry.key,
            role=entry.role,
            content=content,
            starts=starts,
            ends=ends,
            status=status,
            sequence=0,
            created_at=now,
            changed_at=now,
            quoted=entry.quoted,
        )
    if old.content == content:
        return old
    moved = (starts, ends, status) != (old.starts, old.ends, old.status)
    return replace(
        old,
        content=content,
        starts=starts,
        ends=ends,
        status=status,
        sequence=old.sequence + moved,
        changed_at=max(now, old.changed_at + timedelta(seconds=1)),
        text="",
        task="",
        quoted=entry.quoted,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Feed:
    """A whole calendar as sent last; changed_at never goes back."""

    body: bytes
    changed_at: datetime


def republish(old: Feed | None, body: bytes, at: datetime) -> Feed:
    """The feed to send: `old` itself while the body is the same, else the new body with a later changed_at.

    An event that ages out or is deleted changes the body, so it moves changed_at as any other change does.
    """
    now = at.astimezone(UTC).replace(microsecond=0)
    if old is None:
        return Feed(body=body, changed_at=now)
    return old if old.body == body else Feed(body=body, changed_at=max(now, old.changed_at + timedelta(seconds=1)))


def _written(moment: date | datetime) -> str:
    return moment.astimezone(UTC).isoformat() if isinstance(moment, datetime) else moment.isoformat()
