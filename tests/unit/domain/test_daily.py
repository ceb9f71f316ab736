"""Hours of a day at the bounds of a gap, of the last reading, and of a pump's stay."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from scheduler.domain.base.enums import Subject
from scheduler.domain.hours.daily import GAP_S, daily_hours
from scheduler.domain.hours.running import DAY_S, Curve, Curves
from tests.unit.domain.plants import plant

D0 = int(datetime(2027, 3, 1, tzinfo=UTC).timestamp())
FIRST = D0 // DAY_S


def _days(*instants: int, first: int = FIRST, days: int = 1, subject: Subject = Subject.POSITION, context=None):
    curves = Curves({"c1": Curve(instants, [3600 * n for n in range(len(instants))])})
    name = "vp1" if subject is Subject.POSITION else "u1"
    return daily_hours(context or plant(), curves, subject, name, first, days)


@pytest.mark.parametrize(("end_s", "seconds"), [(D0 + DAY_S - 1, None), (D0 + DAY_S, 3600), (D0 + DAY_S + 1, 3599)])
def test_a_day_is_known_once_a_reading_stands_at_its_end(end_s, seconds):
    """A second before it is not; a second after, that second's share is of the next day."""
    assert _days(D0, end_s)[0].seconds == seconds


@pytest.mark.parametrize(("gap_s", "laid_over"), [(GAP_S, False), (GAP_S + 1, True)])
def test_a_gap_of_48_hours_is_none(gap_s, laid_over):
    """A second more is one."""
    assert _days(D0, D0 + gap_s)[0].interpolated is laid_over


def test_the_days_before_and_after_a_gap_are_not_laid_over_it():
    """From midnight to midnight three days on: these three, no other."""
    found = _days(D0 - DAY_S, D0, D0 + 3 * DAY_S, D0 + 4 * DAY_S, first=FIRST - 1, days=5)
    assert [day.interpolated for day in found] == [False, True, True, True, False]


def test_the_day_on_which_a_pump_was_taken_out_is_known_and_the_next_is_not():
    """Taken out at a midnight, or in the middle of a day."""
    for left_s, known in ((D0 + DAY_S, [True, False, False]), (D0 + DAY_S + 7200, [True, True, False])):
        stay = replace(plant().stays[0], to_at=datetime.fromtimestamp(left_s, UTC))
        context = plant(stays=(stay, *plant().stays[1:]))
        found = _days(D0, D0 + 4 * DAY_S, days=3, subject=Subject.PUMP, context=context)
        assert [day.seconds is not None for day in found] == known


@pytest.mark.parametrize("came_s", [D0 + 1, D0 + 7200, D0 + DAY_S])
def test_what_a_pump_had_run_before_it_came_is_no_run_of_that_day(came_s):
    """The hours with which a stay begins are on the meter from then on, and on no day: none lasts longer than 24 hours."""
    stay = replace(plant().stays[0], from_at=datetime.fromtimestamp(came_s, UTC), opening_running_hours=20_000.0)
    context = plant(stays=(stay, *plant().stays[1:]))
    found = _days(D0, D0 + 2 * DAY_S, days=2, subject=Subject.PUMP, context=context)
    assert sum(day.seconds or 0 for day in found) == pytest.approx(
        3600 * (D0 + 2 * DAY_S - came_s) / (2 * DAY_S), abs=1
    )
