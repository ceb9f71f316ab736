"""What is usual and how far ten days lie from it: which days count, at each boundary, on days made by hand."""

import math

import numpy as np
import pytest

from scheduler.domain.hours.rises import DayResiduals
from scheduler.domain.hours.usual import day_effects, running_level

NONE = math.nan


def rises(values, *, by_kind=False, first_day=0):
    """Now less before of each day, all days of one kind."""
    values = np.array(values, dtype=np.float64)
    days = DayResiduals(first_day, values, np.zeros(len(values), dtype=np.int64), 0, by_kind)
    return days.new_rises()


def test_a_fit_rests_on_the_last_365_days_and_not_on_its_own():
    """Six days of a kind at the very beginning: the fit of day 365 has them, that of day 366 has five, too few."""
    kinds = np.zeros(400, dtype=np.int64)
    kinds[:6] = 1
    of_kind, _ = day_effects(np.zeros(400), kinds, 0, np.array([5, 6, 365, 366]))
    assert np.isfinite(of_kind[:, 1]).tolist() == [False, True, True, False]


def test_weekdays_have_an_effect_from_a_hundred_and_twenty_days_on():
    """119 have none, 120 have one; a weekday's 17 days count 17 / (17 + 8) of what they say."""
    values = np.where(np.arange(200) % 7 == 3, 0.5, 0.0)
    _, of_weekday = day_effects(values, np.zeros(200, dtype=np.int64), 14, np.array([119, 120, 200]))
    assert not of_weekday[0].any()
    assert of_weekday[1] == pytest.approx([0, 0, 0, 0.5 * 17 / 25, 0, 0, 0])
    assert of_weekday[2][3] == pytest.approx(0.5 * 29 / 37)


def test_a_weekday_is_that_of_the_epoch_day_whatever_the_first_day_is():
    """The same days counted from another first day have their effect on another weekday."""
    values = np.where(np.arange(200) % 7 == 3, 0.5, 0.0)
    for first_day in range(7):
        _, of_weekday = day_effects(values, np.zeros(200, dtype=np.int64), first_day, np.array([200]))
        assert int(of_weekday[0].argmax()) == (3 + first_day) % 7


def test_kinds_and_weekdays_are_told_apart_in_three_rounds():
    """A port day costs one, a Saturday a half, on a line that climbs: both are found though ports fall on Saturdays twice as often."""
    rng = np.random.default_rng(4)
    days = np.arange(365)
    weekend = days % 7 == 2
    kinds = (rng.random(365) < np.where(weekend, 0.6, 0.3)).astype(np.int64)
    of_kind, of_weekday = day_effects(0.001 * days - kinds + 0.5 * weekend, kinds, 0, np.array([365]))
    found = of_kind[0, 0] - of_kind[0, 1], of_weekday[0, 2] - np.median(of_weekday[0])
    assert found == pytest.approx((1.0, 0.5 * 53 / 61), abs=0.03)


def test_three_rounds_of_medians_are_those_worked_out_day_by_day():
    """Less level and weekday the median of each kind, then less level and kind that of each weekday; in loops, on days that differ."""
    rng = np.random.default_rng(12)
    kinds, days = rng.integers(0, 3, 300), np.arange(300)
    values = 0.3 * rng.normal(size=300) + 0.5 * np.isin(days % 7, [1, 2, 5]) - kinds + 0.004 * days
    values[rng.random(300) < 0.2] = NONE
    known = ~np.isnan(values)
    of_kind = np.array([np.median(values[known & (kinds == kind)]) for kind in range(3)])
    of_weekday = np.zeros(7)
    for _ in range(3):
        less = values - of_kind[kinds] - of_weekday[days % 7]
        level = np.array([np.nanmedian(less[max(0, day - 30) : day + 31]) for day in days])
        step = [np.nanmedian((less - level)[kinds == kind]) for kind in range(3)]
        of_kind = of_kind + step
        rest = values - level - of_kind[kinds]
        found = [np.nanmedian(rest[days % 7 == weekday]) for weekday in range(7)]
        many = np.array([known[days % 7 == weekday].sum() for weekday in range(7)])
        of_weekday = np.array(found) * many / (many + 8)
    by_kind, by_weekday = day_effects(values, kinds, 0, np.array([300]))
    assert by_kind[0] == pytest.approx(of_kind, abs=1e-12)
    assert by_weekday[0] == pytest.approx(of_weekday, abs=1e-12)


def test_the_level_of_a_day_is_the_median_of_the_61_days_around_it():
    """31 of 61 decide, 30 do not; at the ends of what is known there are fewer."""
    row = np.zeros((1, 121))
    row[0, 30:61] = 1.0
    level = running_level(row)[0]
    assert level[[29, 30, 31, 60, 61]].tolist() == [0.5, 1.0, 1.0, 1.0, 0.0]
    alone = np.full((1, 121), NONE)
    alone[0, 60] = 2.0
    assert np.flatnonzero(running_level(alone)[0] == 2.0).tolist() == [*range(30, 91)]


@pytest.mark.parametrize(("begins", "first_day", "day", "judged"), [
    (197, 0, 203, True), (198, 0, 203, False), (198, 0, 209, False), (198, 0, 210, True),
    (194, 3, 200, True), (195, 3, 200, False),
])  # fmt: skip
def test_a_kind_is_judged_from_the_week_before_which_it_was_seen_six_times(begins, first_day, day, judged):
    """Weeks begin on epoch days that seven divides; the fit of a week knows no day of it."""
    kinds = np.zeros(day + 1, dtype=np.int64)
    kinds[begins:] = 1
    days = DayResiduals(first_day, np.zeros(day + 1), kinds, 0, True)
    assert np.isfinite(days.residuals(day)[day]) == judged
    assert not days.residuals(day)[:begins].any()


@pytest.mark.parametrize("by_kind", [False, True])
def test_twenty_days_before_the_last_ten_are_enough(by_kind):
    """Nineteen are not, and the tenth day back is one of them."""
    found = rises([0.0] * 31, by_kind=by_kind)
    assert np.isfinite(found[-4:]).tolist() == [False, False, True, True]


@pytest.mark.parametrize("by_kind", [False, True])
def test_six_of_the_last_ten_days_are_enough_and_the_day_is_one_of_them(by_kind):
    """Five are not; nor are nine without the day itself."""
    for missing, known in (([30, 31, 32, 33], True), ([30, 31, 32, 33, 34], False), ([39], False)):
        values = np.zeros(40)
        values[missing] = NONE
        assert np.isfinite(rises(values, by_kind=by_kind)[39]) == known


def test_ten_days_are_now_and_the_one_before_them_is_not():
    """A day is a tenth of it."""
    for day, rise in ((39, 0.01), (30, 0.01), (29, 0.0)):
        values = np.zeros(40)
        values[day] = 0.1
        assert rises(values)[39] == pytest.approx(rise)


@pytest.mark.parametrize("by_kind", [False, True])
def test_fifty_six_usable_days_are_before(by_kind):
    """28 of them high and 28 low: with one less or more the median would be another."""
    values = [1.0] * 60 + [0.0] * 28 + [0.5] * 10
    assert rises(values, by_kind=by_kind)[-1] == pytest.approx(0.0)
    values[58:60] = [NONE, NONE]  # days without use are passed over, for older ones
    assert rises(values, by_kind=by_kind)[-1] == pytest.approx(0.0)


@pytest.mark.parametrize("by_kind", [False, True])
def test_days_before_lie_within_240(by_kind):
    """Twenty high and twenty low days at the beginning: all count on day 239, the first no more on day 240."""
    values = np.full(241, NONE)
    values[:20], values[20:40], values[230:] = 0.2, 0.0, 0.1
    found = rises(values, by_kind=by_kind)
    assert found[239] == pytest.approx(0.0)
    assert found[240] == pytest.approx(0.05)  # 19 high, 20 low, and the first of the new days
    values[20:40], values[:20], values[230] = NONE, 0.0, NONE
    found = rises(values, by_kind=by_kind)
    assert np.isfinite(found[[239, 240]]).tolist() == [True, False]


def test_one_odd_day_counts_no_more_than_two_steps_of_a_quarter():
    """Up or down, whatever it was."""
    for odd, rise in ((30.0, 0.0446), (-30.0, -0.0446), (0.44, 0.044), (-0.44, -0.044)):
        values = np.zeros(40)
        values[35] = odd
        assert rises(values)[39] == pytest.approx(rise, abs=5e-5)


def test_where_one_fit_holds_all_days_the_running_median_gives_what_each_day_would():
    """Of a pump, with days missing and gaps longer than the 240 days look back."""
    rng = np.random.default_rng(8)
    values = rng.normal(0, 0.1, 700)
    values[rng.random(700) < 0.4] = NONE
    values[200:420] = NONE
    days = DayResiduals(0, values, np.zeros(700, dtype=np.int64), 0, False)
    found, usable = days.new_rises(), ~np.isnan(values)
    for day in range(700):
        before = np.flatnonzero(usable[: max(0, day - 9)])
        before = before[before > day - 240][-56:]
        now = [n for n in range(max(0, day - 9), day + 1) if usable[n]]
        if not usable[day] or len(before) < 20 or len(now) < 6:
            assert np.isnan(found[day])
        else:
            off = np.clip(values[now] - np.median(values[before]), -2 * math.log(1.25), 2 * math.log(1.25))
            assert found[day] == pytest.approx(off.mean(), abs=1e-12)
