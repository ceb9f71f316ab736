"""Hours of rest. Source of every figure: STCW Code, section A-VIII/1 (as amended 2010), worked by hand on invented days."""

from datetime import UTC, datetime, timedelta

import pytest

from scheduler.domain.work.rest import Rest, RestRule, rest_between, rest_faults

FIRST = datetime(2026, 11, 2, tzinfo=UTC)


def _days(*hours: tuple[float, float], days: int = 8) -> list[tuple[datetime, datetime]]:
    """The same rest every day; an end before its beginning is on the next day."""
    found = []
    for day in range(-1, days):
        midnight = FIRST + timedelta(days=day)
        for begin, end in hours:
            found.append((midnight + timedelta(hours=begin), midnight + timedelta(hours=end + 24 * (end <= begin))))
    return [one for one in sorted(found) if one[1] > FIRST and one[0] < FIRST + timedelta(days=days)]


@pytest.mark.parametrize(
    ("hours", "faults"),
    [
        (((22, 6), (12, 15)), []),
        (((22, 6), (12, 14)), [(Rest.WEEK, 70)]),
        (((0, 6), (12, 17)), []),
        (((0, 5), (12, 17)), [(Rest.WEEK, 70), (Rest.NO_LONG, 0)]),
        (((20, 6),), [(Rest.WEEK, 70)]),
        (((19, 6),), []),
        (((0, 6), (10, 13), (16, 18)), [(Rest.DAY, 9)]),
        (((0, 7), (10, 13), (16, 18)), []),
        (((0, 6), (10, 14), (16, 17)), []),
        (((0, 6), (10, 13.5), (16, 17.5)), [(Rest.DAY, 9.5)]),
    ],
)
def test_daily_rest_against_the_rule(hours, faults):
    """STCW A-VIII/1: 11 h a day in two parts hold to the hour; 10 h a day fail the week; without 6 h in one part it fails;
    00-06, 10-13 and 16-18 are 11 h, but no two of them are 10."""
    told = rest_faults(_days(*hours), FIRST, FIRST + timedelta(days=8))
    assert [(one.code, one.hours) for one in told] == faults


def test_more_than_two_periods_count_only_by_the_flags_exception():
    """STCW A-VIII/1.9: a flag may allow three periods and 70 h a week; then the same day holds."""
    rest = _days((0, 6), (10, 13), (16, 18))
    rule = RestRule(periods=3, week_hours=70)
    assert rest_faults(rest, FIRST, FIRST + timedelta(days=8), rule) == []


def test_watches_of_six_hours_on_and_off_are_allowed():
    """STCW A-VIII/1: 00-06 and 12-18 are 12 h in two periods of 6 h; no window may take a period for two."""
    assert rest_faults(_days((0, 6), (12, 18)), FIRST, FIRST + timedelta(days=8)) == []


def test_the_window_slides_over_midnight():
    """STCW A-VIII/1, any 24-hour period: rest 00-10 on one day and 14-24 on the next are 10 h each, and 0 h in some 24."""
    rest = [(FIRST, FIRST + timedelta(hours=10)), (FIRST + timedelta(hours=38), FIRST + timedelta(hours=48))]
    told = rest_faults(rest, FIRST, FIRST + timedelta(hours=48))
    assert (told[0].code, told[0].hours) == (Rest.DAY, 0)
    assert any((one.code, one.hours) == (Rest.BETWEEN, 28) for one in told)


@pytest.mark.parametrize(("minutes", "fails"), [(0, False), (1, True)])
def test_the_boundaries_are_exact(minutes, fails):
    """STCW A-VIII/1: 10 h 00 hold and 9 h 59 do not; 14 h of work in 24 are the most."""
    work = [(FIRST + timedelta(hours=8), FIRST + timedelta(hours=22, minutes=minutes))]
    rest = rest_between(work, FIRST, FIRST + timedelta(hours=32))
    found = rest_faults(rest, FIRST, FIRST + timedelta(hours=32))
    assert any(one.code is Rest.DAY for one in found) is fails
    assert any(one.code is Rest.BETWEEN for one in found) is fails
