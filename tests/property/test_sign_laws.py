"""Laws of what the hours say: what never gives a sign, what changes nothing, and that a day costs no more than itself."""

import math
from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.domain.hours.air import PlantDays, plant_values, pump_values
from scheduler.domain.hours.sign_values import SignAnswer, SignEnd
from scheduler.domain.hours.signs import PLANT_RULE, PUMP_RULE, SignRule, Track, fold_signs, quiet

DAYS = 420
SEEDS = st.integers(0, 10_000)


def a_year(seed, *, noise=0.06, rise=0.0, at=300, days=DAYS):
    """Values and kinds of a ship with days at sea and in port, and more air from a day on."""
    rng = np.random.default_rng(seed)
    kinds = (rng.random(days) < 0.3).astype(np.int64)
    values = math.log(500) - 0.9 * kinds + rng.normal(0, noise, days) if noise else math.log(500) - 0.9 * kinds
    values[at:] += math.log1p(rise)
    return values, kinds


def folded(values, kinds, rule=PLANT_RULE, **more):
    return fold_signs(Track(0), rule, values, kinds, **more)


def same(one, other):
    return one.signs == other.signs and np.array_equal(one.rises, other.rises, equal_nan=True)


@given(SEEDS, st.lists(st.integers(1, DAYS - 1), max_size=4, unique=True), st.sampled_from([PLANT_RULE, PUMP_RULE]))
@settings(max_examples=4)
def test_a_folded_day_is_a_fold_from_the_start(seed, cuts, rule):
    """However the days come in, in one piece or in many, rises and signs are the same."""
    values, kinds = a_year(seed, rise=0.3)
    track, begun = Track(0), 0
    for end in [*sorted(cuts), DAYS]:
        track = fold_signs(track, rule, values[begun:end], kinds[begun:end])
        begun = end
    assert same(track, folded(values, kinds, rule))


@given(SEEDS, st.integers(200, 380), st.integers(2, 30))
@settings(max_examples=4)
def test_the_order_in_which_readings_arrive_changes_nothing(seed, day, length):
    """Days that came late, folded again from the first of them, give what they would have given in time."""
    values, kinds = a_year(seed, rise=0.3)
    late = values.copy()
    late[day : day + length] = np.nan
    track = folded(late, kinds).before(day)
    assert same(fold_signs(track, PLANT_RULE, values[day:], kinds[day:]), folded(values, kinds))


@given(SEEDS, st.floats(0.01, 100), st.permutations(range(4)))
@settings(max_examples=4)
def test_neither_capacities_in_another_unit_nor_other_names_of_pumps_change_a_sign(seed, factor, order):
    """The plant's signs stay; a pump's go with it to its new place."""
    rng = np.random.default_rng(seed)
    seconds = 20_000 * rng.lognormal(0, 0.05, (4, 260))
    seconds[1, 180:] *= 1.3
    days = PlantDays(
        first_day=0,
        seconds=seconds,
        interpolated=np.zeros(seconds.shape, dtype=np.bool_),
        swept_m3_per_h=np.tile([[40.0], [60.0], [40.0], [80.0]], (1, 260)),
        out=np.zeros(seconds.shape, dtype=np.bool_),
    )
    other = replace(days, seconds=seconds[order], swept_m3_per_h=days.swept_m3_per_h[order] * factor)
    kinds = np.zeros(260, dtype=np.int64)

    def signs(values, rule):
        return [(one.seen_day, one.began_day, one.percent) for one in folded(values, kinds, rule).signs]

    assert signs(plant_values(days), PLANT_RULE) == signs(plant_values(other), PLANT_RULE)
    mine, theirs = pump_values(days), pump_values(other)
    assert [signs(mine[pump], PUMP_RULE) for pump in order] == [signs(row, PUMP_RULE) for row in theirs]
    assert any(one[0] >= 180 for one in signs(mine[1], PUMP_RULE))


@given(st.floats(0, 0.099), st.sampled_from([PLANT_RULE, PUMP_RULE]))
@settings(max_examples=5)
def test_a_constant_ship_and_a_rise_under_ten_percent_never_give_a_sign(rise, rule: SignRule):
    """Days that are all alike but for their kind, with less than a tenth more from a day on."""
    values, kinds = a_year(1, noise=0, rise=rise)
    assert not folded(values if rule is PLANT_RULE else values + 0.9 * kinds, kinds, rule).signs


def test_a_rise_just_under_and_just_over_the_least_that_may_be_said():
    """11.9 % says nothing on the quietest ship, 12.1 % gives a sign."""
    for rise, signs in ((0.119, 0), (0.121, 1)):
        assert len(folded(*a_year(1, noise=0, rise=rise)).signs) == signs


@given(SEEDS, st.integers(160, DAYS - 1), st.floats(-30, 30))
@settings(max_examples=5)
def test_one_day_however_odd_is_no_sign(seed, day, odd):
    """On a ship whose days differ by no more than a little."""
    values, kinds = a_year(seed, noise=0.01)
    values[day] += odd
    assert not folded(values, kinds).signs


@given(SEEDS, st.integers(220, 250), st.booleans())
@settings(max_examples=4)
def test_usable_days_before_are_found_across_a_lay_up_or_a_gap(seed, start, laid_up):
    """After 60 days without use the days before them are still what is usual, so a leak that began in them is seen."""
    values, kinds = a_year(seed, rise=0.5, at=start + 60)
    if laid_up:
        kinds[start : start + 60] = 2
        values[start : start + 60] = math.log(500) - 3
    else:
        values[start : start + 60] = np.nan
    signs = folded(values, kinds).signs
    assert any(start + 60 <= one.seen_day < start + 76 for one in signs)


@given(SEEDS, st.integers(0, 20), st.sampled_from([SignEnd.MENDED, SignEnd.KNOWN, SignEnd.NOTHING_FOUND]))
@settings(max_examples=4)
def test_an_answer_ends_at_most_the_sign_it_names(seed, wait, end):
    """All other signs seen by then stay as they were; without it all is as before."""
    values, kinds = a_year(seed, rise=0.5, at=260)
    values[200:230] += 0.4
    plain = folded(values, kinds)
    named = next(one for one in plain.signs if one.seen_day >= 260)
    answer = SignAnswer(seen_day=named.seen_day, day=named.seen_day + wait, end=end)
    answered = folded(values, kinds, answers=[answer])
    assert [one for one in answered.signs if one.seen_day < named.seen_day] == [
        one for one in plain.signs if one.seen_day < named.seen_day
    ]
    mine = next(one for one in answered.signs if one.seen_day == named.seen_day)
    assert mine.end is not None
    again = fold_signs(answered.before(answer.day), PLANT_RULE, values[answer.day :], kinds[answer.day :])
    assert same(again, plain)


def test_days_wait_for_enough_of_a_past():
    """The 150th day may speak, the 149th may not."""
    values, kinds = a_year(3, noise=0.01, days=DAYS)
    for days, silent in ((150, True), (151, False)):
        assert (quiet(folded(values[:days], kinds[:days]), PLANT_RULE) is not None) == silent
