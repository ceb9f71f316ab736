"""Intervals: month steps, day steps, hours."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from scheduler.domain.due.intervals import add_months, calendar_due, hours_due, interval_seconds
from tests.unit.domain.plants import ALARM, KNIVES, VALVE

JANUARY_31 = datetime(2027, 1, 31, 8, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("months", "expected"),
    [
        (1, (2027, 2, 28)),
        (2, (2027, 3, 31)),
        (3, (2027, 4, 30)),
        (13, (2028, 2, 29)),
        (-2, (2026, 11, 30)),
        (0, (2027, 1, 31)),
    ],
)
def test_a_day_the_month_lacks_becomes_its_last_and_comes_back_afterwards(months, expected):
    """31 January steps to 28 or 29 February and on to 31 March, at the same time of day."""
    assert add_months(JANUARY_31, months) == datetime(*expected, 8, 30, tzinfo=UTC)


def test_a_step_out_of_the_calendar_says_so():
    """A step beyond the year 9999 is an error that names the step."""
    with pytest.raises(OverflowError, match="120000 months"):
        add_months(JANUARY_31, 120_000)


def test_the_nth_calendar_point_is_counted_from_the_original_day():
    """Twelve monthly points from 31 January lie on the last day of each month."""
    points = [calendar_due(ALARM, JANUARY_31, times) for times in range(1, 13)]
    assert [p.day for p in points if p] == [28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31, 31]


def test_days_are_days_and_with_months_too_the_earlier_counts():
    """7 days from 31 January are 7 February; beside a month they come first, 40 days do not."""
    weekly = replace(ALARM, interval_months=None, interval_days=7)
    assert calendar_due(weekly, JANUARY_31) == datetime(2027, 2, 7, 8, 30, tzinfo=UTC)
    assert calendar_due(replace(ALARM, interval_days=7), JANUARY_31) == datetime(2027, 2, 7, 8, 30, tzinfo=UTC)
    assert calendar_due(replace(ALARM, interval_days=40), JANUARY_31) == datetime(2027, 2, 28, 8, 30, tzinfo=UTC)


def test_a_kind_without_one_sort_of_interval_has_no_such_point():
    """Hours only: no calendar point. Calendar only: no figure of hours."""
    assert calendar_due(VALVE, JANUARY_31) is None
    assert hours_due(ALARM, 3600) is None
    assert interval_seconds(ALARM) is None


def test_the_hour_figure_is_the_start_and_the_interval():
    """An inspection every 1500 running hours begun at 20 is due at 1520."""
    assert hours_due(KNIVES, 20 * 3600) == 1520 * 3600


def test_months_and_days_are_each_counted_from_the_start():
    """The third of 7 days lies 21 days on; with months beside it, whichever point comes first of the same number."""
    weekly = replace(ALARM, interval_months=None, interval_days=7)
    assert calendar_due(weekly, JANUARY_31, 3) == datetime(2027, 2, 21, 8, 30, tzinfo=UTC)
    both = replace(ALARM, interval_days=30)
    points = [calendar_due(both, JANUARY_31, times) for times in (1, 2, 3)]
    assert [(point.month, point.day) for point in points if point] == [(2, 28), (3, 31), (4, 30)]
    assert calendar_due(replace(ALARM, interval_days=29), JANUARY_31, 2) == datetime(2027, 3, 30, 8, 30, tzinfo=UTC)


def test_the_last_year_of_the_calendar_is_one_of_it():
    """December 9999 is reached; a month more is refused."""
    months = 12 * (9999 - 2027) + 11
    assert add_months(JANUARY_31, months) == datetime(9999, 12, 31, 8, 30, tzinfo=UTC)
    with pytest.raises(OverflowError):
        add_months(JANUARY_31, months + 1)
