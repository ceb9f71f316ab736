"""The ship's clock: how far it is ahead of UTC now, and from the changes to come on. One place for ship time."""

from bisect import bisect_right
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Self

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def day_text(on: date) -> str:
    """Like "Fri 27 Nov 2026"."""
    return f"{DAYS[on.weekday()]} {on.day} {MONTHS[on.month - 1]} {on.year}"


def moment_text(at: datetime, offset_minutes: int) -> str:
    """Date and clock at ship time, without the offset."""
    there = ship_time(at, offset_minutes)
    return f"{there.day} {MONTHS[there.month - 1]} {there.year} {there:%H:%M}"


def running_hours_text(seconds: int, thousands: str = "\u202f") -> str:
    """Running hours as people read them, to go, over or run: whole, below ten in tenths; the sign is left aside.

    Args:
        thousands: what stands between them.

    >>> running_hours_text(73_500), running_hours_text(6_084_000), running_hours_text(-27_000), running_hours_text(0)
    ('20', '1\u202f690', '7.5', '0')
    """
    hours = abs(seconds) / 3600
    text = f"{hours:.1f}" if hours < 9.95 else f"{hours:,.0f}".replace(",", thousands)
    return text.removesuffix(".0")


def days_from(now_at: datetime, at: datetime, offset_minutes: int) -> int:
    """Days from now to an instant by the ship's calendar: 0 today, 1 tomorrow, -1 yesterday."""
    return (ship_time(at, offset_minutes).date() - ship_time(now_at, offset_minutes).date()).days


def near_day_text(days: int) -> str:
    """Today, tomorrow, yesterday, in N days, N days ago.

    >>> near_day_text(0), near_day_text(6), near_day_text(-2)
    ('today', 'in 6 days', '2 days ago')
    """
    near = {0: "today", 1: "tomorrow", -1: "yesterday"}
    return near.get(days) or (f"in {days} days" if days > 0 else f"{-days} days ago")


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
        shown = {minutes: (wall - timedelta(minutes=minutes)).replace(tzinfo=UTC) for minutes in self._all()}
        return min(at for minutes, at in shown.items() if self.at(at) == minutes)

    def _all(self) -> list[int]:
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
