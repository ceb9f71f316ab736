"""Hours of rest. Source of every figure: STCW Code, section A-VIII/1 (as amended 2010), worked by hand on invented days."""

from datetime import UTC, datetime, timedelta

import pytest

from scheduler.domain.rest import rest_between, rest_faults

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
        (((22, 6), (12, 14)), ["70 h of rest in some 7 days"]),
        (((0, 6), (12, 17)), []),
        (((0, 5), (12, 17)), ["70 h of rest in some 7 days", "no rest of 6 h or more"]),
        (((20, 6),), ["70 h of rest in some 7 days"]),
        (((19, 6),), []),
    ],
)
def test_daily_rest_against_the_rule(hours, faults):
    """STCW A-VIII/1: 11 h a day in two parts holds to the hour; 10 h a day fail the week; without 6 h in one part it fails."""
    told = rest_faults(_days(*hours), FIRST, FIRST + timedelta(days=8))
    assert len(told) == len(faults), told
    assert all(one.startswith(fault) for one, fault in zip(told, faults, strict=True))


def test_the_window_slides_over_midnight():
    """STCW A-VIII/1, any 24-hour period: rest 00-10 on one day and 14-24 on the next are 10 h each, and 0 h in some 24."""
    rest = [(FIRST, FIRST + timedelta(hours=10)), (FIRST + timedelta(hours=38), FIRST + timedelta(hours=48))]
    told = rest_faults(rest, FIRST, FIRST + timedelta(hours=48))
    assert told[0].startswith("0 h of rest in some 24 hours")
    assert any(one.startswith("28 h from one rest to the next") for one in told)


@pytest.mark.parametrize(("minutes", "fails"), [(0, False), (1, True)])
def test_the_boundaries_are_exact(minutes, fails):
    """STCW A-VIII/1: 10 h 00 hold and 9 h 59 do not; 14 h of work in 24 are the most."""
    work = [(FIRST + timedelta(hours=8), FIRST + timedelta(hours=22, minutes=minutes))]
    rest = rest_between(work, FIRST, FIRST + timedelta(hours=32))
    assert any("24 hours: 10 h" in one for one in rest_faults(rest, FIRST, FIRST + timedelta(hours=32))) is fails
