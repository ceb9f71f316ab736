"""A reminder rings at a ship's hour on the evening before, by the clock of that evening."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.feed.reminding import evening_before
from scheduler.shiptime import ShipOffset, ship_time

DAY = datetime(2026, 12, 4, tzinfo=UTC)


@pytest.mark.parametrize(
    ("starts_at", "minutes", "rings_at"),
    [
        (DAY.replace(hour=7), 60, datetime(2026, 12, 3, 17, 0, tzinfo=UTC)),
        (DAY.replace(hour=0, minute=30), -300, datetime(2026, 12, 2, 23, 0, tzinfo=UTC)),  # the 3rd aboard
        (DAY.replace(hour=23), 120, datetime(2026, 12, 4, 16, 0, tzinfo=UTC)),  # the 5th aboard
    ],
)
def test_it_is_the_day_before_aboard(starts_at: datetime, minutes: int, rings_at: datetime) -> None:
    """Whatever the date is in UTC."""
    assert evening_before(int(starts_at.timestamp()), 18, ShipOffset(minutes), all_day=False) == rings_at


def test_a_date_is_the_ships_own() -> None:
    """An all-day entry stands on a ship's date, kept as its midnight in UTC."""
    found = evening_before(int(DAY.timestamp()), 18, ShipOffset(-300), all_day=True)
    assert found == datetime(2026, 12, 3, 23, 0, tzinfo=UTC)


def test_it_rings_by_the_clock_of_its_own_evening() -> None:
    """The clock changes at midnight before the job: the reminder is still by the old one."""
    clock = ShipOffset(60, [(datetime(2026, 12, 3, 23, 0, tzinfo=UTC), -300)])
    assert evening_before(int(DAY.replace(hour=13).timestamp()), 18, clock, all_day=False) == datetime(
        2026, 12, 3, 17, 0, tzinfo=UTC
    )


@given(st.integers(0, 10**6), st.integers(6, 21), st.integers(-12, 14))
def test_it_rings_at_that_hour_before_the_job_and_not_two_days_before(hours: int, hour: int, zone: int) -> None:
    """On any ship, at any hour to choose."""
    starts_at, clock = DAY + timedelta(hours=hours), ShipOffset(60 * zone)
    rings_at = evening_before(int(starts_at.timestamp()), hour, clock, all_day=False)
    assert ship_time(rings_at, clock).hour == hour
    assert timedelta(hours=2) < starts_at - rings_at < timedelta(hours=43)
