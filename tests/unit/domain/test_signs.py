"""What becomes of a sign: its size, its end, answers, and why nothing is said. One figure at each boundary."""

import math

import numpy as np
import pytest

from scheduler.domain.hours.air import PlantDays, half_out, plant_values, pump_values
from scheduler.domain.hours.sign_days import SignDays
from scheduler.domain.hours.sign_values import QuietReason, SignAnswer, SignEnd
from scheduler.domain.hours.signs import PLANT_RULE, PUMP_RULE, Track, deviations, fold_signs, least_that_shows, quiet

LEAK = 300


def values_with(rise, *, until=None, days=420, noise=0.02):
    """Logarithms of days of one kind, with more air from day 300 on."""
    values = math.log(500) + np.random.default_rng(5).normal(0, noise, days)
    values[LEAK:until] += math.log1p(rise)
    return values


def folded(values, rule=PLANT_RULE, **more):
    return fold_signs(Track(0), rule, values, np.zeros(len(values), dtype=np.int64), **more)


def answered(values, end, *, wait=1, until_day=None, after=()):
    """The values with an answer to the first sign, given so many days after it was seen."""
    sign = folded(values).signs[0]
    answer = SignAnswer(seen_day=sign.seen_day, day=sign.seen_day + wait, end=end, until_day=until_day)
    return folded(values, answers=[answer, *after]), answer


def test_a_leak_is_seen_within_days_with_its_start_and_size():
    """Half more from day 300: seen in a week, begun that day, about 50 %."""
    (sign,) = folded(values_with(0.5, until=None, days=320)).signs
    assert LEAK <= sign.seen_day <= LEAK + 6
    assert sign.began_day == LEAK
    assert sign.percent == 50


def test_it_is_over_when_seven_usable_days_are_back():
    """It ends by itself, and says since when."""
    (sign,) = folded(values_with(0.5, until=LEAK + 12)).signs
    assert (sign.end, sign.back_day) == (SignEnd.OVER, LEAK + 12)
    assert sign.ended_day == LEAK + 15


def test_unanswered_for_thirty_days_it_closes():
    """On the 30th day and not on the 29th; what follows is then usual."""
    values = values_with(0.5)
    seen = folded(values).signs[0].seen_day
    assert folded(values[: seen + 30]).open_sign is not None
    (sign,) = folded(values[: seen + 31]).signs
    assert (sign.end, sign.ended_day) == (SignEnd.NOT_ANSWERED, seen + 30)
    assert len(folded(values).signs) == 1


def test_what_was_mended_and_is_back_leaves_usual_as_it_was():
    """The days of the rise count for nothing, so the next leak is seen without the wait of 30 days."""
    values = values_with(0.5, until=LEAK + 8)
    values[LEAK + 22 :] += math.log(1.5)
    track, _ = answered(values, SignEnd.MENDED, wait=2)
    first, second = track.signs[:2]
    assert (first.end, first.back_day is not None) == (SignEnd.MENDED, True)
    assert LEAK + 22 <= second.seen_day <= LEAK + 28


def test_what_was_mended_and_is_not_back_is_asked_again_once():
    """On the tenth usable day and not on the ninth; answered again it is not asked a third time."""
    values = values_with(0.5)
    track, answer = answered(values, SignEnd.MENDED)
    asked = track.signs[0].asked_again_day
    assert asked == answer.day + 10
    assert folded(values[:asked], answers=[answer]).open_sign is None
    again = SignAnswer(seen_day=answer.seen_day, day=asked + 1, end=SignEnd.MENDED)
    last = folded(values, answers=[answer, again]).signs
    assert (len(last), last[0].end, last[0].ended_day) == (1, SignEnd.MENDED, asked + 1)


def test_a_known_cause_makes_usual_start_anew():
    """The same level is no sign any more; half more on top of it is one, after 20 and ten days."""
    values = values_with(0.5, days=420)
    values[LEAK + 60 :] += math.log(1.5)
    track, _ = answered(values, SignEnd.KNOWN)
    assert [one.end for one in track.signs[:1]] == [SignEnd.KNOWN]
    assert LEAK + 60 <= track.signs[1].seen_day <= LEAK + 66


def test_a_known_cause_with_an_end_makes_usual_start_anew_once_more():
    """The day after its last day."""
    track, answer = answered(values_with(0.5), SignEnd.KNOWN, until_day=LEAK + 50)
    assert answer.until_day == track.signs[0].until_day
    seen = quiet(folded(values_with(0.5)[: LEAK + 70], answers=[answer]), PLANT_RULE)
    assert seen is not None
    assert seen.reason is QuietReason.AFTER_SIGN


@pytest.mark.parametrize(("grown", "signs"), [(1.2, 1), (1.35, 2)])
def test_a_rise_for_which_nothing_was_found_is_not_said_again_unless_it_grew(grown, signs):
    """It drops away, comes back within 90 days no more than a quarter larger: silent; larger: a sign."""
    values = values_with(0.5, until=LEAK + 9, noise=0.005)
    values[LEAK + 50 :] += math.log(1.5 * grown)
    track, _ = answered(values, SignEnd.NOTHING_FOUND)
    assert len([one for one in track.signs if one.seen_day < LEAK + 75]) == signs


def test_an_answer_given_today_counts_before_today_is_folded_in():
    """The page shows it at once."""
    values = values_with(0.5, days=LEAK + 8)
    sign = folded(values).open_sign
    track = folded(values, answers=[SignAnswer(seen_day=sign.seen_day, day=LEAK + 8, end=SignEnd.KNOWN)])
    assert track.open_sign is None
    assert track.signs[0].end is SignEnd.KNOWN


def test_with_more_than_half_the_pumps_out_no_sign_is_made():
    """Two of four out may speak, three may not."""
    out = np.zeros((4, 2), dtype=np.bool_)
    out[:2, 0], out[:3, 1] = True, True
    ones = np.ones((4, 2))
    days = PlantDays(first_day=10, seconds=ones, interpolated=out & False, swept_m3_per_h=ones, out=out)
    assert half_out(days) == {11}
    values = values_with(0.5, days=LEAK + 9)
    assert not folded(values, barred=frozenset(range(LEAK, LEAK + 9))).signs
    found = quiet(folded(values), PLANT_RULE, barred=True)
    assert found is not None
    assert found.reason is QuietReason.HALF_OUT


def test_an_overhaul_ends_a_pumps_sign_and_starts_its_usual_anew():
    """What was longer before says nothing of the pump after it."""
    values = values_with(0.3) - math.log(500)
    seen = folded(values, PUMP_RULE).signs[0].seen_day
    (sign,) = folded(values, PUMP_RULE, renewed=[seen + 3]).signs
    assert (sign.end, sign.ended_day) == (SignEnd.RENEWED, seen + 3)


def test_a_pump_that_needs_less_is_a_sign_downwards():
    """The plant has none of that kind."""
    values = values_with(-0.25)
    assert folded(values - math.log(500), PUMP_RULE).signs[0].direction == -1
    assert not folded(values).signs


def test_a_restless_ship_and_one_with_days_missing_say_why():
    """What would have to rise by half is not watched for; five usable days of ten are too few, six are enough."""
    wild = math.log(500) + np.repeat(np.random.default_rng(2).normal(0, 0.6, 40), 10)
    assert quiet(folded(wild), PLANT_RULE).reason is QuietReason.RESTLESS
    for missing, reason in ((4, None), (5, QuietReason.DAYS_MISSING)):
        values = values_with(0)
        values[-10 : -10 + missing] = np.nan
        found = quiet(folded(values), PLANT_RULE)
        assert (found and found.reason) == reason


def test_a_new_kind_of_day_is_not_judged():
    """Ten days laid up, never seen before."""
    values, kinds = values_with(0), np.zeros(420, dtype=np.int64)
    kinds[-10:] = 1
    found = quiet(fold_signs(Track(0), PLANT_RULE, values, kinds), PLANT_RULE)
    assert found is not None
    assert found.reason is QuietReason.NEW_KIND


def test_the_least_that_shows_is_never_under_twelve_percent():
    """On the quietest ship, and more on another."""
    assert least_that_shows(folded(values_with(0, noise=0.001)), PLANT_RULE) == pytest.approx(0.12)
    assert least_that_shows(folded(values_with(0, noise=0.2)), PLANT_RULE) > 0.12
    assert least_that_shows(Track(0), PLANT_RULE) is None


def test_the_line_of_days_lies_at_what_is_usual_and_rises_with_the_leak():
    """About nothing before, about ln 1.5 after."""
    off = deviations(folded(values_with(0.5, days=LEAK + 10)), PLANT_RULE)
    assert abs(np.median(off[:LEAK])) < 0.02
    assert np.median(off[LEAK:]) == pytest.approx(math.log(1.5), abs=0.03)


def _days(seconds, interpolated=None, out=None):
    seconds = np.array(seconds, dtype=np.float64)
    none = np.zeros(seconds.shape, dtype=np.bool_)
    return PlantDays(
        first_day=0,
        seconds=seconds,
        interpolated=none if interpolated is None else np.array(interpolated, dtype=np.bool_),
        swept_m3_per_h=np.full(seconds.shape, 50.0),
        out=none if out is None else np.array(out, dtype=np.bool_),
    )


@pytest.mark.parametrize(("share", "counts"), [(0.39, True), (0.40, False)])
def test_a_day_counts_while_less_than_two_fifths_of_it_is_laid_over_gaps(share, counts):
    """39 % of the hours may be of a pump whose counter was silent, 40 % may not."""
    values = plant_values(_days([[share * 1000], [(1 - share) * 1000]], [[True], [False]]))
    assert np.isfinite(values).tolist() == [counts]


@pytest.mark.parametrize(("share", "length", "counts"), [(0.2, 14, True), (0.2, 15, False), (0.1, 15, True)])
def test_a_gap_over_a_fortnight_takes_its_days_out(share, length, counts):
    """Of a pump that carries more than a tenth."""
    seconds = np.tile([[share * 1000], [(1 - share) * 1000]], (1, length))
    values = plant_values(_days(seconds, [[True] * length, [False] * length]))
    assert np.isfinite(values).all() == counts


def test_days_without_air_or_with_hours_not_known_are_left_out():
    """A pump out of service whose counter says nothing ran nothing."""
    values = plant_values(_days([[0, np.nan, np.nan], [0, 7200, 7200]], out=[[False, False, True], [False] * 3]))
    assert np.isfinite(values).tolist() == [False, False, True]


def test_a_pump_is_measured_against_sisters_that_ran():
    """One that ran no more than 0.2 h is no measure, and says nothing itself."""
    values = pump_values(_days([[7200, 7200], [3600, 720], [3600, 3600]]))
    assert values[0] == pytest.approx([math.log(2), math.log(2)], abs=1e-5)
    assert np.isnan(values[1, 1])


def test_days_as_text_come_back_as_they_were():
    """And what is folded on from them is the same."""
    rng = np.random.default_rng(4)
    seconds = 20_000 * rng.lognormal(0, 0.05, (3, 240))
    seconds[0, 200:] *= 1.4
    seconds[2, 100:120] = np.nan
    days, names, kinds = _days(seconds), ["a", "b", "c"], ["sea" if n % 9 else None for n in range(240)]
    whole = SignDays.none(0, names).more(days, names, kinds, answers={}, renewed={"b": [150]})
    part = SignDays.none(0, names).more(
        PlantDays(
            first_day=0,
            seconds=seconds[:, :230],
            interpolated=days.interpolated[:, :230],
            swept_m3_per_h=days.swept_m3_per_h[:, :230],
            out=days.out[:, :230],
        ),
        names,
        kinds[:230],
        answers={},
        renewed={"b": [150]},
    )
    on = SignDays.from_text(part.to_text()).more(days.since(210), names, kinds[230:], answers={}, renewed={"b": [150]})
    assert on.to_text() == whole.to_text()
    assert whole.pumps["a"].signs
    with pytest.raises(ValueError, match="version"):
        SignDays.from_text('{"version": 0}')
