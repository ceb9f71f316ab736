"""A value read by eye that counts far more than usual is told at once, with what was likely meant."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.hours.ledger import Setup
from scheduler.domain.hours.unusual import LEAST_S, unusual

HOURS = Setup(3600, None, 1000, "vp1-hours")
DAY = 86_400


def told(
    value: float, before: float = 20_757, usual_h: float = 7.0, days: float = 1.0
) -> tuple[float, float, float | None] | None:
    """(hours it counts, usual hours, value likely meant) of a value read so many days after another."""
    found = unusual(
        HOURS, (0, round(before * 1000)), round(days * DAY), round(value * 1000), seconds_per_day=usual_h * 3600
    )
    if found is None:
        return None
    return found.credit_s / 3600, found.usual_s / 3600, None if found.meant_milli is None else found.meant_milli / 1000


def test_a_digit_mistyped_is_named() -> None:
    """20774 for 20764, where 7 h a day are usual: 10 h more, and 20764 is what was meant."""
    assert told(20_774) == (17.0, 7.0, 20_764.0)


def test_two_digits_changed_about_are_named() -> None:
    """20781 for 20718 after 20711: 63 h more in ten days is told, with the value meant."""
    assert told(20_781, 20_711, 0.7, 10) == (70.0, 7.0, 20_718.0)


@pytest.mark.parametrize(("value", "says"), [(20_769.9, False), (20_770, False), (20_771, True)])
def test_the_edge_is_twice_the_usual(value: float, says: bool) -> None:
    """Just under twice as much, with 6 h more, is not told; at twice it is."""
    assert (told(value) is not None) is says


@pytest.mark.parametrize(("value", "says"), [(20_762.9, False), (20_763, True)])
def test_the_edge_is_six_hours_more(value: float, says: bool) -> None:
    """Where nothing is usual, six hours are."""
    assert (told(value, usual_h=0.0001) is not None) is says


def test_without_a_past_nothing_is_unusual() -> None:
    """What the counter runs a day is not known yet."""
    assert told(99_999, usual_h=0) is None


@given(st.floats(0, 24), st.floats(0.1, 40), st.floats(0, 2))
def test_what_runs_as_usual_is_never_told(usual_h: float, days: float, share: float) -> None:
    """Up to twice the usual, whatever the counter and the time between."""
    rise = min(usual_h * days * share, usual_h * days * 2 - 0.01)
    assert told(1000 + max(0.0, rise), 1000, usual_h, days) is None or rise * 3600 >= LEAST_S
