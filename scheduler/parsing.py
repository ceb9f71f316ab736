"""What people type into fields: figures, days, times and ship time, in the spellings that people use.

Spaces of any kind stand between thousands and around everything, a minus may be the true one, and tenths follow a dot or a comma.
"""

import re
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum

from scheduler.language import gettext
from scheduler.shiptime import ShipOffset, ship_time

_SPACES = re.compile(r"[\s\u00a0\u2009\u202f]+")
_FIGURE = re.compile(r"[+-]?\d+(?:[.,]\d+)?")
_DATE = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})")
_TIME = re.compile(r"(\d{1,2}):(\d{2})(?::00)?|(\d{2})(\d{2})")
_FIRST_YEAR, _LAST_YEAR = 1970, 2199


class Expected(StrEnum):
    """What was expected where something else was typed or sent; `wording.faults` says it."""

    FIGURE = "figure"
    WHOLE = "whole number"
    DATE = "date"
    TIME = "time"
    UNTIL = "time, or date and time"
    SHIP_INSTANT = "date and time of the ship"
    WHEN = "time to come"
    YEARS = "instant from 1970 to 2199"
    QUOTED_DATE = "date in quotes"
    NOBODY = "nobody else"
    NO_NUL = "no NUL"
    WHOLE_CHARACTERS = "whole characters"
    OFFSET = "offset"


class Unreadable(ValueError):
    """What was typed or sent is not what was expected. given: it, shortened, or the members it is about."""

    def __init__(self, expected: Expected, given: str = "") -> None:
        super().__init__(expected.value)
        self.expected, self.given = expected, given


def figure(text: str) -> float | None:
    """The figure, or none for an empty field.

    Raises:
        Unreadable: it is none.

    >>> figure("13 905,2"), figure("\u22124"), figure(" ")
    (13905.2, -4.0, None)
    """
    digits = _plain(text, "")
    if not digits:
        return None
    if not _FIGURE.fullmatch(digits) or len(digits) > 30:
        raise Unreadable(Expected.FIGURE, text.strip()[:40])
    return float(digits.replace(",", "."))


def whole(text: str) -> int | None:
    """The whole number, 0 or more, of at most nine digits; none for an empty field.

    Raises:
        Unreadable: it is none.

    >>> whole("1 200"), whole("")
    (1200, None)
    """
    digits = _plain(text, "")
    if digits and not (digits.isascii() and digits.isdigit() and len(digits) < 10):
        raise Unreadable(Expected.WHOLE)
    return int(digits) if digits else None


def read_date(text: str) -> date | None:
    """A date as 2026-11-25, or none.

    >>> read_date("2026-11-5"), read_date("25/11/2026")
    (datetime.date(2026, 11, 5), None)
    """
    match = _DATE.fullmatch(_plain(text, " "))
    try:
        return None if match is None else date(int(match[1]), int(match[2]), int(match[3]))
    except ValueError:
        return None


def read_time(text: str) -> time | None:
    """A time of day to the minute, as 14:00 or, as logs have it, 1400; or none.

    >>> read_time("9:05"), read_time("0905"), read_time("25:00"), read_time("2400"), read_time("905")
    (datetime.time(9, 5), datetime.time(9, 5), None, None, None)
    """
    match = _TIME.fullmatch(_plain(text, " "))
    try:
        return None if match is None else time(int(match[1] or match[3]), int(match[2] or match[4]))
    except ValueError:
        return None


def read_instant(text: str) -> datetime | None:
    """A date and time from 1970 to 2199, as ISO 8601 and RFC 3339 write them, or none; without an offset it is ship time, not aware.

    >>> read_instant("2026-11-25 14:00"), read_instant("2026-11-25T14:00Z").tzname(), read_instant("2026-11-25")
    (datetime.datetime(2026, 11, 25, 14, 0), 'UTC', None)
    """
    plain = _plain(text, " ")
    try:
        at = datetime.fromisoformat(plain)
    except ValueError:
        return None
    return at if ":" in plain and _FIRST_YEAR <= at.year <= _LAST_YEAR else None


def ship_instant(text: str, offset_minutes: str, clock: int | None = None) -> datetime:
    """The instant of a date and time on the ship's clock; one with its own offset is taken as it is.

    Args:
        offset_minutes: as the form was shown with. clock: the ship's now; while it is still that, a time after a coming change
            is taken by the clock of that day.

    Raises:
        Unreadable: it cannot be read.

    >>> ship_instant("2026-11-25 14:00", "60") == ship_instant("2026-11-25T14:00", "60")
    True
    """
    try:
        wall = datetime.fromisoformat(_plain(text, " "))
        minutes = int(_plain(offset_minutes, ""))
        if wall.tzinfo is None and isinstance(clock, ShipOffset) and clock == minutes:
            wall = clock.instant(wall)
        at = (wall - timedelta(minutes=minutes)).replace(tzinfo=UTC) if wall.tzinfo is None else wall.astimezone(UTC)
        if not _FIRST_YEAR <= at.year <= _LAST_YEAR:
            raise ValueError(f"year {at.year}")
    except (ValueError, OverflowError) as error:
        raise Unreadable(Expected.SHIP_INSTANT) from error
    return at


def moment_near(text: str, now_at: datetime, offset_minutes: int) -> datetime | None:
    """An instant to come as people say it, by the ship's clock: "now" or nothing (none), "09:00" (the next one), "tomorrow 9:00",
    "2026-12-01 09:00"; the words in English or in the language spoken now.

    Raises:
        Unreadable: it is none of these.

    >>> moment_near("tomorrow 9:00", datetime(2026, 11, 30, 8, tzinfo=UTC), 60)
    datetime.datetime(2026, 12, 1, 8, 0, tzinfo=datetime.timezone.utc)
    """
    plain = _plain(text, " ").lower()
    if plain in ("", "now", gettext("now")):
        return None
    clock = offset_minutes if isinstance(offset_minutes, ShipOffset) else ShipOffset(offset_minutes)
    here = ship_time(now_at, clock).replace(tzinfo=None)
    word, _, rest = plain.rpartition(" ")
    at = read_time(rest)
    tomorrow = word in ("tomorrow", gettext("tomorrow"))
    if at is not None and (tomorrow or word in ("", "today", gettext("today"))):
        wall = datetime.combine(here.date() + timedelta(days=tomorrow), at)
        return clock.instant(wall + timedelta(days=not word and wall < here.replace(second=0, microsecond=0)))
    found = read_instant(text)
    if found is None:
        raise Unreadable(Expected.WHEN)
    return found.astimezone(UTC) if found.tzinfo is not None else clock.instant(found)


def field_date(text: str) -> date | None:
    """As `read_date`, none for an empty field alone. Raises Unreadable."""
    found = read_date(text)
    if found is None and text.strip():
        raise Unreadable(Expected.DATE, text.strip())
    return found


def field_time(text: str) -> time | None:
    """As `read_time`, none for an empty field alone. Raises Unreadable."""
    found = read_time(text)
    if found is None and text.strip():
        raise Unreadable(Expected.TIME, text.strip())
    return found


def _plain(text: str, space: str) -> str:
    """The text with one kind of space (or none) and one kind of minus."""
    return _SPACES.sub(space, text.strip()).replace("\u2212", "-")


def own_path(here: str, otherwise: str) -> str:
    """The path when it stays on this server, else the other one.

    >>> own_path("/plants/a", "/"), own_path("//elsewhere", "/"), own_path("https://elsewhere", "/")
    ('/plants/a', '/', '/')
    """
    stays = here.startswith("/") and not here.startswith(("//", "/\\")) and here.isprintable()
    return here if stays else otherwise
