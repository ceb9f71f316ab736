"""The ship's clock: how far it is ahead of UTC now, and from the changes to come on. One place for ship time."""

from bisect import bisect_right
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Self


class ShipOffset(int):
    """Minutes that the ship's clock is ahead of UTC now; a number that also knows the changes to come.

    Whoever turns an instant into ship time does so by the clock of that instant, with no second figure to pass along.
    """

    changes: tuple[tuple[datetime, int], ...]

    def __new__(cls, minutes: int, changes: Sequence[tuple[datetime, int]] = ()) -> Self:
        """changes: (from when, minutes ahead of UTC from then on)."""
        made = super().__new__(cls, minutes)
        made.changes = tuple(sorted(changes))
        return made

    def at(self, at: datetime) -> int:
        """Minutes ahead of UTC at an instant."""
        number = bisect_right(self.changes, at, key=lambda change: change[0])
        return self.changes[number - 1][1] if number else int(self)

    def instant(self, wall: datetime) -> datetime:
        """The instant at which the ship's clock shows a time (without a zone); of one shown twice the first."""
        first = (wall - timedelta(minutes=int(self))).replace(tzinfo=UTC)
        for minutes in dict.fromkeys((self.at(first), *(minutes for _, minutes in self.changes))):
            at = (wall - timedelta(minutes=minutes)).replace(tzinfo=UTC)
            if self.at(at) == minutes:
                return at
        return (wall - timedelta(minutes=self.at(first))).replace(tzinfo=UTC)


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
