"""What people type into fields: figures, days, times and ship time, in the spellings that people use.

Spaces of any kind stand between thousands and around everything, a minus may be the true one, and tenths follow a dot or a comma.
"""

import re
from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime, time, timedelta
from typing import TypeVar

from scheduler.errors import Refused
from scheduler.shiptime import ShipOffset, ship_time

_SPACES = re.compile(r"[\s\u00a0\u2009\u202f]+")
_FIGURE = re.compile(r"[+-]?\d+(?:[.,]\d+)?")
_DATE = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})")
_TIME = re.compile(r"(\d{1,2}):(\d{2})(?::00)?")
_FIRST_YEAR, _LAST_YEAR = 1970, 2199
_FIGURE_SAYS = "a figure is expected, with a dot before tenths, such as 13905.2"
_T = TypeVar("_T")


def figure(text: str) -> float | None:
    """The figure, or none for an empty field.

    Raises:
        ValueError: it is none; the message says what is expected.

    >>> figure("13 905,2"), figure("\u22124"), figure(" ")
    (13905.2, -4.0, None)
    """
    digits = _plain(text, "")
    if not digits:
        return None
    if not _FIGURE.fullmatch(digits) or len(digits) > 30:
        raise ValueError(f"{text.strip()[:40]!r} is not one; {_FIGURE_SAYS}.")
    return float(digits.replace(",", "."))


def whole(text: str) -> int | None:
    """The whole number, 0 or more, of at most nine digits; none for an empty field.

    Raises:
        ValueError: it is none.

    >>> whole("1 200"), whole("")
    (1200, None)
    """
    digits = _plain(text, "")
    if digits and not (digits.isascii() and digits.isdigit() and len(digits) < 10):
        raise ValueError("a whole number is expected, such as 2")
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
    """A time of day to the minute, as 14:00, or none.

    >>> read_time("9:05"), read_time("25:00")
    (datetime.time(9, 5), None)
    """
    match = _TIME.fullmatch(_plain(text, " "))
    try:
        return None if match is None else time(int(match[1]), int(match[2]))
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


def ship_instant(name: str, text: str, offset_minutes: str, clock: int | None = None) -> datetime:
    """The instant of a date and time on the ship's clock; one with its own offset is taken as it is.

    Args:
        offset_minutes: as the form was shown with. clock: the ship's now; while it is still that, a time after a coming change
            is taken by the clock of that day.

    Raises:
        Refused: it cannot be read; the fault is at the field `name`.

    >>> ship_instant("at", "2026-11-25 14:00", "60") == ship_instant("at", "2026-11-25T14:00", "60")
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
        says = "a date and time are expected, as 2026-11-25 14:00."
        raise Refused(f"{name}: {says}", faults=[(f"/{name}", says)]) from error
    return at


def moment_near(text: str, now_at: datetime, offset_minutes: int) -> datetime | None:
    """An instant to come as people say it, by the ship's clock: "now" or nothing (none), "09:00" (the next one), "tomorrow 9:00",
    "2026-12-01 09:00".

    Raises:
        ValueError: it is none of these; the message says what is expected.

    >>> moment_near("tomorrow 9:00", datetime(2026, 11, 30, 8, tzinfo=UTC), 60)
    datetime.datetime(2026, 12, 1, 8, 0, tzinfo=datetime.timezone.utc)
    """
    plain = _plain(text, " ").lower()
    if plain in ("", "now"):
        return None
    clock = offset_minutes if isinstance(offset_minutes, ShipOffset) else ShipOffset(offset_minutes)
    here = ship_time(now_at, clock).replace(tzinfo=None)
    word, _, rest = plain.rpartition(" ")
    at = read_time(rest)
    if at is not None and word in ("", "today", "tomorrow"):
        wall = datetime.combine(here.date() + timedelta(days=word == "tomorrow"), at)
        return clock.instant(wall + timedelta(days=not word and wall < here.replace(second=0, microsecond=0)))
    found = read_instant(text)
    if found is None:
        raise ValueError("a time is expected: now, 09:00, tomorrow 09:00, or 2026-12-01 09:00")
    return found.astimezone(UTC) if found.tzinfo is not None else clock.instant(found)


class Fields:
    """The fields of a form, read one by one; what cannot be read is gathered, and refused at once by `check`.

    Args:
        values: as typed, by the name of the field; `utc_offset_minutes` is that which the form was shown with.
        clock: the ship's now, see `ship_instant`.
    """

    def __init__(self, values: Mapping[str, str], clock: int | None = None) -> None:
        self.values, self.clock = values, clock
        self.faults: list[tuple[str, str]] = []

    def text(self, name: str, most: int = 1000) -> str:
        """What stands in a field, at most so many letters."""
        return self.values.get(name, "").strip()[:most]

    def fault(self, name: str, says: str) -> None:
        """Something is wrong with a field."""
        self.faults.append((f"/{name}", says))

    def figure(self, name: str, *, empty: str = "") -> float | None:
        """A figure. empty: what is wrong when nothing was typed; without it the field may be empty."""
        return self._read(name, figure, empty)

    def figures(self, name: str) -> list[float]:
        """Figures with spaces between them."""
        try:
            return [found for one in self.values.get(name, "").split() if (found := figure(one)) is not None]
        except ValueError as error:
            self.fault(name, str(error))
            return []

    def whole(self, name: str, *, empty: str = "") -> int | None:
        """A whole number, 0 or more."""
        return self._read(name, whole, empty)

    def day(self, name: str, *, empty: str = "") -> date | None:
        """A date."""
        return self._read(name, _day, empty)

    def time(self, name: str, *, empty: str = "") -> time | None:
        """A time of day."""
        return self._read(name, _time, empty)

    def instant(self, name: str, *, needed: bool = True) -> datetime | None:
        """A date and time, ship time."""
        text = self.values.get(name, "")
        if not text.strip() and not needed:
            return None
        offset = self.values.get("utc_offset_minutes", "" if self.clock is None else str(int(self.clock)))
        try:
            return ship_instant(name, text, offset, self.clock)
        except Refused as refused:
            self.faults += refused.faults
            return None

    def check(self, says: str = "") -> None:
        """Raises Refused when something is wrong so far. says: the sentence as a whole; empty: the first fault."""
        if self.faults:
            pointer, fault = self.faults[0]
            raise Refused(says or f"{pointer.lstrip('/')}: {fault}", faults=self.faults)

    def _read(self, name: str, read: Callable[[str], _T | None], empty: str) -> _T | None:
        text = self.values.get(name, "")
        try:
            found = read(text)
        except ValueError as error:
            self.fault(name, str(error))
            return None
        if found is None and empty:
            self.fault(name, empty)
        return found


def _day(text: str) -> date | None:
    found = read_date(text)
    if found is None and text.strip():
        raise ValueError(f"{text.strip()!r:.40}: a date as 2026-11-25 is expected.")
    return found


def _time(text: str) -> time | None:
    found = read_time(text)
    if found is None and text.strip():
        raise ValueError("a time is expected, as 14:00")
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
