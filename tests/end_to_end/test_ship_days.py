"""Hours of the ship's days, as papers and the pump's record show them, through the stored path on both databases."""

from datetime import date, datetime, timedelta

import pytest

from scheduler.actions.base.context import Context
from scheduler.actions.hours.daily import daily_book
from scheduler.actions.vessel import fleet
from scheduler.domain.base.enums import Subject
from scheduler.shiptime import ShipOffset, instant_of
from tests.end_to_end.live import AT
from tests.end_to_end.test_counter_events import CHIEF, PLOVER, context, hand, place, post

__all__ = ["context"]
_DAY = timedelta(days=1)
_HOURS = 12 * 24
_VP1 = (Subject.POSITION, "plover-vp1")
_CHANGES = ((5 * 24 + 3, 780), (2 * 24 + 20, -660))
"""(hours ago, minutes ahead of UTC from then on)."""


def _ran_by(at: datetime) -> float:
    """Counts at an instant: in each hour of UTC another run, so that no midnight can stand for another."""
    whole = (at - (AT - timedelta(hours=_HOURS))) // timedelta(hours=1)
    return sum((n % 24) / 32 for n in range(whole))


@pytest.mark.parametrize("changes", [(), _CHANGES[:1], _CHANGES], ids=["no change", "one change", "two changes"])
def test_a_ships_day_has_what_ran_between_its_own_midnights(
    context: Context, changes: tuple[tuple[int, int], ...]
) -> None:
    """By the clock of that day, also where the clock was changed in it, though counters are read by the hours of UTC."""
    for ago, minutes in changes:
        at = AT - timedelta(hours=ago)
        fleet.change_clock(context, hand(CHIEF), PLOVER.vessel, from_at=at, minutes=minutes, reason="crossing")
    post(context, *((ago, 100 + _ran_by(AT - timedelta(hours=ago))) for ago in range(_HOURS, -1, -1)))
    offset = fleet.offset_now(context, PLOVER.vessel)
    days = daily_book(context, place(), 10, [_VP1], offset).days[_VP1]
    assert len(days) == 10
    for day in days:
        begin, end = (instant_of(datetime.combine(on, datetime.min.time()), offset) for on in (day.on, day.on + _DAY))
        assert day.seconds is not None, day
        assert day.seconds / 3600 == pytest.approx(_ran_by(end) - _ran_by(begin), abs=0.01), day


def test_the_last_of_the_ships_days_is_yesterday_aboard(context: Context) -> None:
    """East of the line it is a day further than in Greenwich."""
    post(context, (50, 100), (0, 120))
    lasts = {
        minutes: daily_book(context, place(), 1, [_VP1], ShipOffset(minutes)).days[_VP1][-1].on
        for minutes in (-8 * 60, 0, 780, 18 * 60)
    }
    assert lasts == {
        -8 * 60: date(2026, 10, 18),
        0: date(2026, 10, 19),
        780: date(2026, 10, 19),
        18 * 60: date(2026, 10, 20),
    }
