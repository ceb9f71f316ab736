"""The ship's clock: how far it is ahead of UTC now, and from the changes to come on. One place for ship time."""

from bisect import bisect_right
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Self

from scheduler.language import gettext as _
from scheduler.language import marked

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = (
    marked("Jan"), marked("Feb"), marked("Mar"), marked("Apr"), marked("May"), marked("Jun"), marked("Jul"),
    marked("Aug"), marked("Sep"), marked("Oct"), marked("Nov"), marked("Dec"),
)  # fmt: skip
NARROW = "\u202f"
NBSP = "\u00a0"


def run_text(seconds: int) -> str:
    """Running hours to go or over, in whole ones: never more than there are; the same on page, command and in calendars.

    >>> run_text(75_000), run_text(-75_000), run_text(600)
    ('20 running\xa0h', '20 running\xa0h', 'less than 1 running\xa0h')
    """
    whole = abs(seconds) // 3600
    said = f"{whole:,}".replace(",", NARROW) if whole else _("less than 1")
    return _("{hours} running\u00a0h", hours=said)


def day_text(on: date) -> str:
    """Like "Fri 27 Nov 2026"."""
    day, month = _(DAYS[on.weekday()]), _(MONTHS[on.month - 1])
    return _("{weekday} {day} {month} {year}", weekday=day, day=on.day, month=month, year=on.year)


def moment_text(at: datetime, offset_minutes: int) -> str:
    """Date and clock at ship time, without the offset."""
    there = ship_time(at, offset_minutes)
    on = _("{day} {month} {year}", day=there.day, month=_(MONTHS[there.month - 1]), year=there.year)
    return f"{on} {there:%H:%M}"


class ShipOffset(int):
    """Minutes that the ship's clock is ahead of UTC now; a number that also knows the changes before and to come.

    Whoever turns an instant into ship time does so by the clock of that instant, with no second figure to pass along.
    """

    changes: tuple[tuple[datetime, int], ...]
    first: int

    def __new__(cls, minutes: int, changes: Sequence[tuple[datetime, int]] = (), *, first: int | None = None) -> Self:
        """changes: (from when, minutes ahead of UTC from then on). first: before all of them; none: as now."""
        made = super().__new__(cls, minutes)
        made.changes, made.first = tuple(sorted(changes)), minutes if first is None else first
        return made

    def at(self, at: datetime) -> int:
        """Minutes ahead of UTC at an instant."""
        number = bisect_right(self.changes, at, key=lambda change: change[0])
        return self.changes[number - 1][1] if number else self.first

    def instant(self, wall: datetime) -> datetime:
        """The instant at which the ship's clock shows a time (without a zone): of one shown twice the first, of one left out that of
        the clock before."""
        before = self.first
        for at, after in self.changes:  # a time that the clock leaves out is of the clock before
            if at + timedelta(minutes=before) <= wall.replace(tzinfo=UTC) < at + timedelta(minutes=after):
                return (wall - timedelta(minutes=before)).replace(tzinfo=UTC)
            before = after
        shown = {minutes: (wall - timedelta(minutes=minutes)).replace(tzinfo=UTC) for minutes in self.known()}
        return min(at for minutes, at in shown.items() if self.at(at) == minutes)

    def known(self) -> list[int]:
        """Every offset that this clock has, had or will have, now's first."""
        return list(dict.fromkeys((int(self), self.first, *(minutes for _, minutes in self.changes))))


def minutes_at(offset_minutes: int, at: datetime) -> int:
    """Minutes ahead of UTC at an instant; of a plain number, the same at any.

    >>> minutes_at(ShipOffset(60, [(datetime(2026, 12, 1, tzinfo=UTC), 120)]), datetime(2026, 12, 1, tzinfo=UTC))
    120
    """
    return offset_minutes.at(at) if isinstance(offset_minutes, ShipOffset) else offset_minutes


def ship_time(at: datetime, offset_minutes: int) -> datetime:
    """`at` moved by the offset of that instant: its date and clock are those aboard; not an instant any more."""
    at = at.astimezone(UTC)
    return at + timedelta(minutes=minutes_at(offset_minutes, at))


def instant_of(wall: datetime, offset_minutes: int) -> datetime:
    """The instant at which the ship's clock shows a time, as `ship_time` gives it; its zone is not looked at."""
    wall = wall.replace(tzinfo=None)
    if isinstance(offset_minutes, ShipOffset):
        return offset_minutes.instant(wall)
    return (wall - timedelta(minutes=offset_minutes)).replace(tzinfo=UTC)


def next_days(at: datetime, clock: ShipOffset) -> list[datetime]:
    """Where the day after an instant begins: by UTC, and by each clock the ship has or may have by then."""
    found = []
    for minutes in {0, *clock.known()}:
        wall = at.astimezone(UTC) + timedelta(minutes=minutes)
        midnight = wall.replace(hour=0, minute=0, second=0, microsecond=0)
        found.append(midnight + timedelta(days=1, minutes=-minutes))
    return found
