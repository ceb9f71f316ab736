"""The ship's clock with the changes to come: each instant is told by the clock of its day, and read back the same."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.pages.drawing.field import Scales
from api.pages.drawing.ground import axis_day
from scheduler.parsing import ship_instant
from scheduler.shiptime import ShipOffset, minutes_at, ship_time
from scheduler.wording.figures import clock

AT = datetime(2026, 12, 1, tzinfo=UTC)
LATER = AT + timedelta(days=3)
CLOCK = ShipOffset(60, [(LATER, -300)])


@pytest.mark.parametrize(
    ("at", "minutes"),
    [(LATER - timedelta(seconds=1), 60), (LATER, -300), (LATER + timedelta(seconds=1), -300), (AT, 60)],
)
def test_the_change_holds_from_its_second_on(at: datetime, minutes: int) -> None:
    """Just before, at and just after it."""
    assert minutes_at(CLOCK, at) == minutes
    assert ship_time(at, CLOCK) == at + timedelta(minutes=minutes)


def test_it_is_a_number_of_minutes_like_any_other() -> None:
    """For what is only told now: 60 is 60, and a plain number knows no change."""
    assert CLOCK == 60
    assert f"{CLOCK}" == "60"
    assert minutes_at(60, LATER) == 60


def test_eight_aboard_is_eight_after_the_change() -> None:
    """Printed, and read back from a form shown before it."""
    at = LATER.replace(hour=13)
    assert clock(at, CLOCK) == "08:00"
    assert ship_instant(f"{at:%Y-%m-%d}T08:00", "60", CLOCK) == at
    assert ship_instant("2026-12-01T08:00", "60", CLOCK) == AT.replace(hour=7)


def test_a_form_shown_by_another_clock_is_read_by_that_one() -> None:
    """The ship's clock changed between showing and sending: what stood beside the field counts."""
    assert ship_instant("2026-12-08T08:00", "120", CLOCK) == datetime(2026, 12, 8, 6, tzinfo=UTC)


def test_what_was_is_told_by_the_clock_of_its_day() -> None:
    """Changes gone by are known as well; before all of them the first clock holds."""
    clock_now = ShipOffset(660, [(AT - timedelta(days=2), 660)], first=60)
    assert clock(AT - timedelta(days=3) + timedelta(hours=6), clock_now) == "07:00"
    assert clock(AT, clock_now) == "11:00"


def test_a_time_shown_twice_is_the_first_and_one_left_out_is_of_the_clock_before() -> None:
    """The clock goes back an hour, or on by three."""
    back = ShipOffset(60, [(AT, 120), (AT + timedelta(days=9), 60)])
    assert back.instant(datetime(2026, 12, 10, 1, 30)) == datetime(2026, 12, 9, 23, 30, tzinfo=UTC)  # noqa: DTZ001
    on = ShipOffset(60, [(AT, 240)])
    assert on.instant(datetime(2026, 12, 1, 2, 0)) == datetime(2026, 12, 1, 1, 0, tzinfo=UTC)  # noqa: DTZ001


def test_each_day_of_a_drawing_has_its_own_date() -> None:
    """Back an hour in two days: no date stands twice, and none is left out."""
    clock_back = ShipOffset(120, [(AT + timedelta(days=2), 60)])
    field = Scales(from_at=AT, to_at=AT + timedelta(days=6), left=0, right=600, top=0, floor=100, low=0, high=1)
    drawn = "".join(map(str, axis_day(field, 100, clock_back))).replace("\u00a0", " ")
    assert [drawn.count(f">{day}<") for day in ("Wed 2 Dec", "Thu 3 Dec", "Fri 4 Dec", "Sat 5 Dec")] == [1, 1, 1, 1]


CHANGES = st.lists(st.tuples(st.integers(1, 500), st.integers(-12, 14)), max_size=4, unique_by=lambda pair: pair[0])


@given(st.integers(-12, 14), CHANGES, st.integers(-100, 700))
def test_a_time_read_back_is_the_instant_or_another_of_the_same_time(
    now: int, changes: list[tuple[int, int]], hours: int
) -> None:
    """Whatever the clock does: the instant found shows the very time that was read, where that time is shown at all."""
    moved = ShipOffset(60 * now, [(AT + timedelta(hours=hour), 60 * zone) for hour, zone in changes])
    wall = ship_time(AT + timedelta(hours=hours), moved)
    found = moved.instant(wall.replace(tzinfo=None))
    assert ship_time(found, moved) == wall
