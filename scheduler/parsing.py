"""What people type into fields and commands: figures with spaces or a comma, days, and ship time."""

import re
from datetime import UTC, date, datetime, timedelta

from scheduler.errors import Refused
from scheduler.shiptime import ShipOffset

_SPACES = re.compile(r"[\s\u00a0\u2009\u202f]")
_FIGURE = re.compile(r"[+\-\u2212]?\d+(?:[.,]\d+)?")
_DATE = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})")
_FIRST_YEAR, _LAST_YEAR = 1970, 2199
_FIGURE_SAYS = "a figure is expected, with a dot before tenths, such as 13905.2"


def figure(text: str) -> float | None:
    """The figure, or none for an empty field.

    Raises:
        ValueError: it is none; the message says what is expected.

    >>> figure("13 905,2"), figure("\u22124"), figure(" ")
    (13905.2, -4.0, None)
    """
    held = _SPACES.sub("", text)
    if not held:
        return None
    if not _FIGURE.fullmatch(held) or len(held) > 30:
        raise ValueError(f"{text.strip()[:40]!r} is not one; {_FIGURE_SAYS}.")
    return float(held.replace(",", ".").replace("\u2212", "-"))


def read_date(text: str) -> date | None:
    """A date as 2026-11-25, or none.

    >>> read_date("2026-11-5"), read_date("25/11/2026")
    (datetime.date(2026, 11, 5), None)
    """
    match = _DATE.fullmatch(text.strip())
    try:
        return None if match is None else date(int(match[1]), int(match[2]), int(match[3]))
    except ValueError:
        return None


def read_instant(text: str) -> datetime | None:
    """A date and time from 1970 to 2199, as ISO 8601 and RFC 3339 write them, or none; without an offset it is ship time, not aware.

    >>> read_instant("2026-11-25 14:00"), read_instant("2026-11-25T14:00Z").tzname(), read_instant("2026-11-25")
    (datetime.datetime(2026, 11, 25, 14, 0), 'UTC', None)
    """
    try:
        at = datetime.fromisoformat(text.strip())
    except ValueError:
        return None
    return at if ":" in text and _FIRST_YEAR <= at.year <= _LAST_YEAR else None


def ship_instant(name: str, text: str, offset_minutes: str, clock: int | None = None) -> datetime:
    """The instant of a date and time on the ship's clock; one with its own offset is taken as it is.

    Args:
        offset_minutes: as the form was shown with. clock: the ship's now; while it is still that, a time after a coming change
            is taken by the clock of that day.

    Raises:
        Refused: it cannot be read; the fault is at the field `name`.
    """
    try:
        wall = datetime.fromisoformat(text.strip())
        minutes = int(offset_minutes)
        if wall.tzinfo is None and isinstance(clock, ShipOffset) and clock == minutes:
            wall = clock.instant(wall)
        at = (wall - timedelta(minutes=minutes)).replace(tzinfo=UTC) if wall.tzinfo is None else wall.astimezone(UTC)
        if not _FIRST_YEAR <= at.year <= _LAST_YEAR:
            raise ValueError(f"year {at.year}")
    except (ValueError, OverflowError) as error:
        says = "a date and time are expected, as 2026-11-25 14:00."
        raise Refused(f"{name}: {says}", faults=[(f"/{name}", says)]) from error
    return at


def whole_number(name: str, text: str) -> int:
    """The whole number typed. Raises Refused when it is none; the fault is at the field `name`."""
    held = _SPACES.sub("", text)
    if not (held.isascii() and held.isdigit() and len(held) < 10):
        says = "a whole number is expected, such as 2"
        raise Refused(f"{name}: {says}.", faults=[(f"/{name}", says)])
    return int(held)


def own_path(here: str, otherwise: str) -> str:
    """The path when it stays on this server, else the other one.

    >>> own_path("/plants/a", "/"), own_path("//elsewhere", "/"), own_path("https://elsewhere", "/")
    ('/plants/a', '/', '/')
    """
    stays = here.startswith("/") and not here.startswith(("//", "/\\")) and here.isprintable()
    return here if stays else otherwise
