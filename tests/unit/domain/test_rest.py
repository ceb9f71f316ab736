"""Rest at the bounds of what is known. Source of every figure: STCW Code, section A-VIII/1 (as amended 2010)."""

from datetime import UTC, datetime, timedelta

import pytest

from scheduler.domain.work.rest import Rest, rest_between, rest_faults

FIRST = datetime(2026, 11, 2, tzinfo=UTC)
HOUR = timedelta(hours=1)


def _rest(*hours: tuple[float, float]) -> list[tuple[datetime, datetime]]:
    return [(FIRST + begin * HOUR, FIRST + end * HOUR) for begin, end in hours]


@pytest.mark.parametrize(("minutes", "codes"), [(0, [Rest.NO_LONG]), (-1, [])])
def test_a_known_day_of_just_24_hours_is_judged(minutes, codes):
    """Two rests of five hours, none of six; a minute less is no day to judge."""
    to_at = FIRST + 24 * HOUR + timedelta(minutes=minutes)
    assert [one.code for one in rest_faults(_rest((0, 5), (12, 17)), FIRST, to_at)] == codes


@pytest.mark.parametrize(("minutes", "codes"), [(0, []), (-1, [Rest.NO_LONG])])
def test_a_rest_of_six_hours_is_a_long_one(minutes, codes):
    """A minute less is not."""
    rest = [(FIRST, FIRST + 6 * HOUR + timedelta(minutes=minutes)), *_rest((12, 17))]
    assert [one.code for one in rest_faults(rest, FIRST, FIRST + 24 * HOUR)] == codes


@pytest.mark.parametrize(("minutes", "codes"), [(0, []), (1, [Rest.BETWEEN])])
def test_fourteen_hours_from_rest_to_rest_hold(minutes, codes):
    """From the end of one to the beginning of the next; a minute more does not."""
    rest = [*_rest((0, 10)), (FIRST + 24 * HOUR + timedelta(minutes=minutes), FIRST + 40 * HOUR)]
    found = [one.code for one in rest_faults(rest, FIRST, FIRST + 40 * HOUR)]
    assert [code for code in found if code is Rest.BETWEEN] == codes


def test_work_that_overlaps_is_work_once():
    """The longer of two that begin together counts; what ends as the next begins leaves no rest between."""
    work = _rest((2, 9), (3, 5), (9, 12))
    assert rest_between(work, FIRST, FIRST + 24 * HOUR) == _rest((0, 2), (12, 24))
