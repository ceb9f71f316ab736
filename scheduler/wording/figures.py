"""Numbers, instants and counts as they stand on a page. Ship time is UTC plus the offset that stands beside it."""

import math
from collections.abc import Sequence
from datetime import date, datetime, timedelta

from scheduler import shiptime
from scheduler.language import ENGLISH, language, marked, ngettext
from scheduler.language import gettext as _
from scheduler.shiptime import minutes_at, ship_time

NARROW, NBSP = shiptime.NARROW, shiptime.NBSP
M3H = "m³/h"
DAYS = (marked("Mon"), marked("Tue"), marked("Wed"), marked("Thu"), marked("Fri"), marked("Sat"), marked("Sun"))
MONTHS = (
    marked("January"),
    marked("February"),
    marked("March"),
    marked("April"),
    marked("May"),
    marked("June"),
    marked("July"),
    marked("August"),
    marked("September"),
    marked("October"),
    marked("November"),
    marked("December"),
)
SILENT_LINK = timedelta(hours=26)
"""So long a ship that sends once a day may be silent: a day, and what a post may take. Common practice, no source."""
COUNTS = ("No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten", "Eleven", "Twelve")


def number(value: float, decimals: int = 0) -> str:
    """The number with a narrow no-break space at the thousands, a dot, and a true minus sign.

    >>> number(13905.24, 1).replace(NARROW, "_"), number(-4)
    ('13_905.2', '−4')
    """
    text = f"{abs(value):,.{decimals}f}".replace(",", NARROW)
    return f"−{text}" if value < 0 and float(f"{value:.{decimals}f}") != 0 else text


def margin_number(m3_per_h: float) -> str:
    """A margin in whole m3/h, rounded down so that it never looks larger than it is.

    >>> margin_number(19.9), margin_number(-0.2)
    ('19', '−1')
    """
    return number(math.floor(m3_per_h + 1e-9))


def ship(at: datetime, offset_minutes: int) -> datetime:
    """The instant on the ship's clock of that day; only for printing."""
    return at + timedelta(minutes=minutes_at(offset_minutes, at))


def offset_words(offset_minutes: int) -> str:
    """The offset as printed beside a ship time.

    >>> offset_words(60), offset_words(-210), offset_words(0)
    ('UTC+1', 'UTC−3:30', 'UTC')
    """
    if not offset_minutes:
        return "UTC"
    hours, minutes = divmod(abs(offset_minutes), 60)
    return f"UTC{'+' if offset_minutes > 0 else '−'}{hours}" + (f":{minutes:02d}" if minutes else "")


def clock(at: datetime, offset_minutes: int) -> str:
    """Hours and minutes in ship time."""
    return f"{ship(at, offset_minutes):%H:%M}"


def short_date(at: datetime, offset_minutes: int, now_at: datetime | None = None) -> str:
    """Like "Wed 25 Nov", in ship time, held together by no-break spaces; with the year when it is not the year of now."""
    local = ship(at, offset_minutes)
    text = day_label(local)
    return text if now_at is None or local.year == ship(now_at, offset_minutes).year else f"{text}{NBSP}{local.year}"


def day_label(on: date, year: int | None = None) -> str:
    """A date with its weekday, as "Wed 25 Nov", held together by no-break spaces; year: with it, where there is one."""
    month = month_short(on.month)
    text = _("{weekday}\u00a0{day}\u00a0{month}", weekday=_(DAYS[on.weekday()]), day=on.day, month=month)
    return text if year is None else f"{text}{NBSP}{year}"


def month_short(month: int) -> str:
    """A month in three letters, "Nov"."""
    return _(MONTHS[month - 1])[:3]


def long_date(at: datetime, offset_minutes: int, now_at: datetime | None = None) -> str:
    """Like "25 November", with the year when it is not the year of now."""
    local = ship(at, offset_minutes)
    text = _("{day}\u00a0{month}", day=local.day, month=_(MONTHS[local.month - 1]))
    return text if now_at is None or local.year == ship(now_at, offset_minutes).year else f"{text}{NBSP}{local.year}"


def moment(at: datetime, offset_minutes: int, now_at: datetime | None = None) -> str:
    """Short date and time in ship time; with the year when it is not the year of now."""
    return f"{short_date(at, offset_minutes, now_at)} {clock(at, offset_minutes)}"


def days_between(early: datetime, late: datetime, offset_minutes: int) -> str:
    """How long ago something was, by the ship's calendar: "1 day", "3 days", "less than a day"."""
    return day_count((ship(late, offset_minutes).date() - ship(early, offset_minutes).date()).days)


def day_words(at: datetime, now_at: datetime, offset_minutes: int) -> str:
    """Today, tomorrow, yesterday, in N days, N days ago: by the ship's calendar."""
    days = (ship(at, offset_minutes).date() - ship(now_at, offset_minutes).date()).days
    near = {0: _("today"), 1: _("tomorrow"), -1: _("yesterday")}
    return near.get(days) or (_("in {days} days", days=days) if days > 0 else _("{days} days ago", days=-days))


def day_count(days: int) -> str:
    """Like "1 day", "6 days"; "less than a day" for none. The sign is left aside."""
    many = abs(days)
    return ngettext("{days}\u00a0day", "{days}\u00a0days", many, days=many) if days else _("less than a day")


def count_words(count: int, one: str, many: str) -> str:
    """A count in words up to twelve: "Three jobs"; in figures where a language bends its words.

    one, many: English; what stands here as a literal is in the catalogues by itself.
    """
    words = language() == ENGLISH and count < len(COUNTS)
    said = COUNTS[count] if words else number(count) if count else _("No")
    return f"{said} {ngettext(one, many, count)}" if one or many else said


def inner(name: str) -> str:
    """A name or a sentence inside a sentence: the first letter small unless it is an abbreviation; elsewhere only a "no", nouns
    keep their capital."""
    if language() != ENGLISH:
        no = _("No")
        return f"{no.lower()}{name.removeprefix(no)}" if name.startswith(f"{no} ") else name
    return name if len(name) > 1 and not name[1].islower() else name[:1].lower() + name[1:]


def capital(text: str) -> str:
    """The text with a capital first letter and the rest as it is: in other languages nouns keep theirs.

    >>> capital("gas read at the cover, H2S"), capital("")
    ('Gas read at the cover, H2S', '')
    """
    return text[:1].upper() + text[1:]


def heard_words(heard_at: datetime, now_at: datetime, offset_minutes: int) -> str:
    """As of when everything stands that a ship sent: "Last heard today 08:10.", "Not heard from since Tue 24 Nov 08:10: ..."."""
    at = moment(heard_at, offset_minutes)
    if now_at - heard_at < SILENT_LINK:
        return _("Last heard {at}.", at=at)
    return _("Not heard from since {at}: hours, due dates and margins are as of then.", at=at)


def listed(names: Sequence[str], last: str = marked("and")) -> str:
    """The names as in a sentence: "a", "a and b", "a, b and c"; empty for none."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} {_(last)} {names[-1]}"


def ship_moment(at: datetime, offset_minutes: int) -> str:
    """Day and time aboard, as "Tue 3 Nov 14:05"."""
    there = ship_time(at, offset_minutes)
    return f"{day_label(there).replace(NBSP, ' ')} {there:%H:%M}"


def field_moment(at: datetime, offset_minutes: int, *, seconds: bool = False) -> str:
    """An instant as it is typed, in ship time, 24 hours: "2026-11-25 14:00". seconds: with them, where there are any."""
    local = ship(at, offset_minutes)
    return f"{local:%Y-%m-%d %H:%M:%S}" if seconds and local.second else f"{local:%Y-%m-%d %H:%M}"
