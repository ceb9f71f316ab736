"""The rule of signs at each boundary: just under and just over, on days made by hand that do not wander."""

import math
from dataclasses import replace

import numpy as np
import pytest

from scheduler.domain.hours.sign_values import QuietReason, Sign, SignAnswer, SignEnd
from scheduler.domain.hours.signs import PLANT_RULE, PUMP_RULE, Track, deviations, fold_signs, least_that_shows, quiet

NONE = math.nan
LEAK = 200


def flat(days):
    return np.zeros(days, dtype=np.int64)


def folded(values, rule=PUMP_RULE, **more):
    return fold_signs(Track(0), rule, np.array(values, dtype=np.float64), flat(len(values)), **more)


def level(*steps, days=300):
    """Days at nothing, from each given day on at what is given with it."""
    values = np.zeros(days)
    for day, rise in steps:
        values[day:] = rise
    return values


def with_past(values, rises):
    """A track of these days whose rises were what is given."""
    values, rises = np.array(values, dtype=np.float64), np.array(rises, dtype=np.float64)
    return Track(0, values, flat(len(values)), rises)


def swinging(rise, days=120):
    """Past rises as often so much up as down: their spread is 1.4826 times that."""
    return np.where(np.arange(days) % 2 == 0, rise, -rise)


def next_day(track, value=0.0, rule=PUMP_RULE, **more):
    return fold_signs(track, rule, np.array([value]), flat(1), **more)


def test_a_pump_may_speak_on_its_ninetieth_day():
    """It rose by three tenths of what shows on day 87; before the first day known nothing counts."""
    for first in (0, 7):
        values = level((first + 85, 0.4), days=first + 120)
        values[:first] = NONE
        assert folded(values).signs[0].seen_day == first + 90


def test_forty_past_rises_up_to_a_week_ago_are_enough():
    """Days known from 60 on, and one long before: 20 of before and ten make the first rise on day 88, the fortieth on 127."""
    values = level((125, 0.4), days=160)
    values[1:60] = NONE
    assert folded(values).signs[0].seen_day == 127 + 7


@pytest.mark.parametrize(
    ("first", "last", "says"), [(34, 392, True), (35, 392, True), (35, 393, False), (33, 391, False)]
)
def test_past_rises_are_of_a_year_and_end_a_week_ago(first, last, says):
    """Forty on a day of which the oldest is 365 and the newest 7 days old: one of them a day off, and they are too few."""
    rises = np.full(400, NONE)
    rises[[first, *range(300, 338), last]] = 0.0
    assert (least_that_shows(with_past(np.zeros(400), rises), PUMP_RULE) is not None) == says


def test_the_least_that_shows_is_two_and_a_half_spreads_and_twelve_percent_at_least():
    """The spread is 1.4826 times the median distance from the median, wherever that lies."""
    for about in (0.0, 0.3):
        rises = np.append(swinging(0.1) + about, np.full(7, 9.0))
        least = least_that_shows(with_past(np.zeros(127), rises), PUMP_RULE)
        assert least == pytest.approx(math.expm1(2.5 * 0.14826))
    assert least_that_shows(with_past(np.zeros(120), swinging(0.01)), PUMP_RULE) == pytest.approx(0.12)


@pytest.mark.parametrize(("rise", "seen"), [(0.1133, False), (0.1134, True), (-0.1133, False), (-0.1134, True)])
def test_a_sign_is_more_than_twelve_percent_on_the_quietest_pump(rise, seen):
    """ln 1.12 is 0.11333."""
    track = with_past(level((120, rise), days=129), np.zeros(129))
    signs = next_day(track, rise).signs
    assert bool(signs) == seen
    assert not seen or signs[0].width == 0.03


@pytest.mark.parametrize(("rise", "seen"), [(0.2222, False), (0.2225, True), (-0.2222, False), (-0.2225, True)])
def test_a_sign_is_more_than_two_and_a_half_spreads(rise, seen):
    """Where past rises swing by 0.06 that is 0.22239."""
    track = with_past(level((121, rise), days=130), swinging(0.06, 130))
    assert bool(next_day(track, rise).signs) == seen


@pytest.mark.parametrize(("swing", "restless"), [(0.1093, False), (0.1095, True)])
def test_where_less_than_a_half_would_not_show_nothing_is_said(swing, restless):
    """Two and a half spreads of ln 1.5; not even of a rise to twice as much."""
    track = next_day(with_past(level((131, 0.7), days=140), swinging(swing, 140)), 0.7)
    assert bool(track.signs) == (not restless)
    found = quiet(next_day(with_past(np.zeros(140), swinging(swing, 140))), PUMP_RULE)
    assert (found.reason if found else None) == (QuietReason.RESTLESS if restless else None)


def test_a_plant_has_no_sign_downwards_and_a_pump_has():
    """The same days."""
    values = level((LEAK, -0.4), days=240)
    assert [one.direction for one in folded(values).signs] == [-1]
    assert not folded(values, PLANT_RULE).signs


def test_a_start_has_three_days_at_least():
    """Six usable days now of which two are high make a sign; it is said to have begun on the third last."""
    values = level((LEAK - 1, 0.6), days=LEAK + 1)
    values[LEAK - 9 : LEAK - 5] = NONE
    (sign,) = folded(values).signs
    assert (sign.seen_day, sign.began_day) == (LEAK, LEAK - 2)
    assert folded(level((LEAK, 0.4))).signs[0].began_day == LEAK


def test_a_start_lies_within_the_last_forty_days():
    """A tenth more every other day since long before, then more: the oldest of the forty days, though the one before it fits too."""
    values = level((140, 0.1), days=199)
    values[141:188:2] = NONE
    values[[159, 160]], values[190:] = 0.1, 0.2
    (sign,) = next_day(with_past(values, np.zeros(199)), 0.2).signs
    assert (sign.seen_day, sign.began_day) == (199, 160)


@pytest.mark.parametrize(("left", "over"), [(0.1115, True), (0.1116, False)])
def test_it_is_over_when_half_of_a_quarter_is_left(left, over):
    """ln 1.25 / 2 is 0.11157: seven days at just under are back, at just over they are not."""
    seen = LEAK + 2
    values = level((LEAK, 0.4), (seen + 1, left), days=seen + 9)
    sign = folded(values[: seen + 8]).signs[0]
    assert (sign.end is SignEnd.OVER) == over
    if over:
        assert (sign.back_day, sign.ended_day) == (seen + 1, seen + 7)
        assert folded(values[: seen + 7]).open_sign is not None


def test_a_sign_goes_on_through_days_that_would_show_none():
    """A ninth is left of it: too little to be a sign and too much to be over; unanswered it closes on its thirtieth day."""
    seen = LEAK + 2
    (sign,) = folded(level((LEAK, 0.4), (seen + 1, 0.112), days=seen + 40)).signs
    assert (sign.end, sign.ended_day) == (SignEnd.NOT_ANSWERED, seen + 30)


def test_four_of_seven_usable_days_are_back_three_are_not():
    """By their median; days that cannot be used are passed over, and it is back since the first of those."""
    values = level((LEAK, 0.4), (LEAK + 10, 0.0), days=LEAK + 30)
    values[LEAK + 11] = NONE
    (sign,) = folded(values).signs
    assert (sign.back_day, sign.ended_day) == (LEAK + 10, LEAK + 14)


def test_an_answer_closes_the_sign_it_names_up_to_twenty_days_off_and_no_other():
    """A sign seen anew may move by as much; an answer is of the day after it was seen at the earliest."""
    values = level((LEAK, 0.4), days=LEAK + 30)
    seen = folded(values).signs[0].seen_day
    for off, closes in ((20, True), (21, False), (-20, True), (-21, False)):
        answer = SignAnswer(seen_day=seen + off, day=seen + 21, end=SignEnd.KNOWN)
        assert (folded(values, answers=[answer]).open_sign is None) == closes
    for day, closes in ((seen + 1, True), (seen, False)):
        answer = SignAnswer(seen_day=seen, day=day, end=SignEnd.KNOWN)
        assert (folded(values, answers=[answer]).signs[0].end is SignEnd.KNOWN) == closes


def test_after_a_known_cause_twenty_days_and_ten_are_waited_for():
    """It rose again meanwhile; so after its last day, which counts from the day after it on, and after an overhaul."""
    values = level((LEAK, 0.4), (LEAK + 80, 0.8), days=LEAK + 130)
    answer = SignAnswer(seen_day=LEAK + 2, day=LEAK + 58, end=SignEnd.KNOWN)
    first = replace(answer, day=LEAK + 20)
    last = replace(first, until_day=LEAK + 58)
    for signs in (
        folded(values, answers=[first], renewed=[LEAK + 58]).signs,
        folded(values, answers=[last]).signs,
        folded(values, renewed=[LEAK - 1, LEAK + 58]).signs,
    ):
        assert signs[-1].seen_day == LEAK + 58 + 30
        assert signs[-1].after_day == LEAK + 58


def test_the_day_of_an_overhaul_is_of_the_old_pump():
    """A rise that would show on just that day is none; the day before it still is one."""
    values = level((LEAK, 0.4), days=LEAK + 5)
    assert not folded(values, renewed=[LEAK + 2]).signs
    assert folded(values, renewed=[LEAK + 3]).signs[0].seen_day == LEAK + 2
    assert folded(values, renewed=[LEAK + 4]).signs[0].ended_day == LEAK + 4


@pytest.mark.parametrize(("begins", "seen"), [(80, 91), (88, 91), (89, 91), (90, 92)])
def test_a_rise_for_which_nothing_was_found_is_silent_for_ninety_days(begins, seen):
    """Said again on the ninety-first, where it has been back for long."""
    answer = SignAnswer(seen_day=LEAK + 2, day=LEAK + 3, end=SignEnd.NOTHING_FOUND)
    day = answer.day
    values = level((LEAK, 0.4), (day + 1, 0.0), (day + begins, 0.4), days=day + 110)
    first, second = folded(values, answers=[answer]).signs
    assert (first.end, second.seen_day) == (SignEnd.NOTHING_FOUND, day + seen)


@pytest.mark.parametrize(("grown", "signs"), [(0.2231, 1), (0.2233, 2)])
def test_unless_it_grew_by_another_quarter(grown, signs):
    """ln 1.25 is 0.22314."""
    answer = SignAnswer(seen_day=LEAK + 2, day=LEAK + 3, end=SignEnd.NOTHING_FOUND)
    values = level((LEAK, 0.4), (LEAK + 4, 0.0), (LEAK + 50, 0.4 + grown), days=LEAK + 80)
    assert len(folded(values, answers=[answer]).signs) == signs


def test_a_fall_is_not_the_same_as_a_rise_for_which_nothing_was_found():
    """It is said."""
    answer = SignAnswer(seen_day=LEAK + 2, day=LEAK + 3, end=SignEnd.NOTHING_FOUND)
    values = level((LEAK, 0.4), (LEAK + 4, 0.0), (LEAK + 50, -0.4), days=LEAK + 80)
    assert [one.direction for one in folded(values, answers=[answer]).signs] == [1, -1]


def _ended(**more):
    sign = Sign(seen_day=108, direction=1, began_day=106, rise=0.3, width=0.03, after_day=-1, base_day=98)
    return replace(sign, **more)


@pytest.mark.parametrize(
    ("back_day", "days"),
    [(None, 15), (110, 15), (111, 15), (112, 14)],
)
def test_the_days_of_a_rise_that_was_mended_are_no_measure(back_day, days):
    """From its start to the day it was mended, or to the day before it was back, where that was later."""
    known = _ended(seen_day=100, began_day=98, end=SignEnd.KNOWN, ended_day=100)
    mended = _ended(end=SignEnd.MENDED, ended_day=110, mended_day=110, back_day=back_day)
    track = replace(with_past(np.zeros(131), np.zeros(131)), signs=(known, mended))
    found = quiet(track, PUMP_RULE)
    assert found is not None
    assert (found.reason, found.days, found.speaks_day) == (QuietReason.AFTER_SIGN, days, 130 + 20 - days)


def test_days_since_a_sign_are_waited_for_up_to_twenty():
    """Nineteen are too few; with a sign open nothing is waited for; after one that was mended no day is lost."""
    for days, waits in ((131, True), (132, False)):
        track = replace(with_past(np.zeros(days), np.zeros(days)), signs=(_ended(end=SignEnd.OVER, ended_day=101),))
        assert (quiet(track, PUMP_RULE) is not None) == waits
    again = replace(with_past(np.zeros(125), np.zeros(125)), signs=(_ended(),))
    known = _ended(seen_day=100, began_day=98, end=SignEnd.KNOWN, ended_day=100)
    assert quiet(replace(again, signs=(known, _ended())), PUMP_RULE) is None
    assert quiet(again, PUMP_RULE) is None
    mended = _ended(end=SignEnd.MENDED, ended_day=110, mended_day=110)
    assert quiet(replace(again, signs=(mended,)), PUMP_RULE) is None


def test_how_long_it_learns_is_said_with_its_day():
    """A plant after 149 days of 150, a pump with 39 rises of 40; from the first day known on."""
    values = np.zeros(157)
    values[:7] = NONE
    found = quiet(with_past(values, np.zeros(157)), PLANT_RULE)
    assert found is not None
    assert (found.reason, found.days, found.speaks_day) == (QuietReason.NO_HISTORY, 149, 157)
    assert quiet(with_past(np.append(values, 0.0), np.zeros(158)), PLANT_RULE) is None
    rises = np.full(120, NONE)
    rises[60:99] = 0.0
    found = quiet(with_past(np.zeros(120), rises), PUMP_RULE)
    assert found is not None
    assert (found.reason, found.speaks_day) == (QuietReason.NO_HISTORY, 120)
    rises[99] = 0.0
    assert quiet(with_past(np.zeros(120), rises), PUMP_RULE) is None


def test_six_usable_days_of_ten_are_enough_to_speak():
    """Five are said with their number."""
    for missing, says in ((4, None), (5, 5)):
        values = np.zeros(200)
        values[190 : 190 + missing] = NONE
        found = quiet(with_past(values, np.zeros(200)), PUMP_RULE)
        assert (found and found.days) == says


def test_the_line_is_measured_against_the_days_before_the_last_ten():
    """Half of 56 high; the last ten days are no measure, nor are days before an end, nor a rise while it stands."""
    values = np.concatenate([np.full(40, 0.9), np.full(28, 0.2), np.zeros(28), np.full(10, -0.5)])
    past = with_past(values, np.zeros(106))
    assert deviations(past, PUMP_RULE)[-1] == pytest.approx(-0.6)
    ended = replace(past, signs=(_ended(seen_day=60, began_day=58, end=SignEnd.OVER, ended_day=67),))
    assert deviations(ended, PUMP_RULE)[-1] == pytest.approx(-0.5)
    stands = replace(past, signs=(_ended(seen_day=100, began_day=96, after_day=-1, base_day=39),))
    assert deviations(stands, PUMP_RULE)[-1] == pytest.approx(-1.4)
    assert len(deviations(Track(5), PUMP_RULE)) == 0


def test_a_track_cut_at_a_day_has_the_days_before_it_or_from_it_on():
    """Its first day moves with what is dropped; further than all days nothing is left."""
    track = replace(with_past(np.arange(10), np.arange(10)), first_day=100)
    assert (track.before(104).values.tolist(), track.before(104).next_day) == ([0, 1, 2, 3], 104)
    assert (track.after(104).values.tolist(), track.after(104).first_day) == ([4, 5, 6, 7, 8, 9], 104)
    assert (track.before(99).next_day, track.after(99).first_day) == (100, 100)
    assert (track.before(200).next_day, track.after(200).first_day) == (110, 110)


def test_no_sign_is_made_on_a_day_that_is_barred_and_an_open_one_goes_on():
    """The first day that is not barred may."""
    values = level((LEAK, 0.4), days=LEAK + 40)
    barred = frozenset(range(LEAK, LEAK + 6))
    assert folded(values, barred=barred).signs[0].seen_day == LEAK + 6
    later = folded(values, barred=frozenset(range(LEAK + 3, LEAK + 40)))
    assert (later.signs[0].seen_day, later.signs[0].end) == (LEAK + 2, SignEnd.NOT_ANSWERED)
