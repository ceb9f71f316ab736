"""How the conductor's calendar entries become iCalendar text: handed to `scheduler.actions.feed.refresh`."""

from collections.abc import Iterable
from datetime import datetime
from functools import lru_cache

from api.ics.http import etag_of
from api.ics.text import calendar_body, published_event, uid_for, with_alarm, with_vessel, withdrawn_body
from scheduler.actions.feed.calendars import CalendarWriter
from scheduler.domain.feed.revision import CalendarEntry, StoredEvent


@lru_cache(maxsize=8)
def calendar_writer(base_url: str) -> CalendarWriter:
    """The pen for links below `base_url`."""

    def write(old: StoredEvent | None, entry: CalendarEntry, vessel_id: str, at: datetime) -> tuple[str, StoredEvent]:
        kept = published_event(old, entry, vessel_id=vessel_id, base_url=base_url, at=at)
        return uid_for(vessel_id, entry.key, entry.role), kept

    def compose(name: str, texts: Iterable[str], about: str, path: str) -> bytes:
        return calendar_body(name, texts, url=f"{base_url}{path}" if base_url else None, description=about)

    return CalendarWriter(
        publish=write, compose=compose, tag=etag_of, alarm=with_alarm, name=with_vessel, withdrawn=withdrawn_body
    )
