"""What is said of signs, at each boundary: which pump is named, how much, from when, in which kind of day; and days as stored."""

import math
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from scheduler.domain.hours.air import PlantDays
from scheduler.domain.hours.sign_days import MOST_DAYS, SignDays
from scheduler.domain.hours.sign_facts import plant_signs
from scheduler.domain.hours.sign_values import QuietReason, Sign, SignAnswer, SignEnd
from scheduler.domain.hours.signs import Track

DAYS = 300
SEEN = 290


def on(day):
    return date(1970, 1, 1) + timedelta(days=day)


def track(values=None, kinds=None, first_day=0, **more):
    values = np.zeros(DAYS) if values is None else np.array(values, dtype=np.float64)
    kinds = np.zeros(len(values), dtype=np.int64) if kinds is None else np.array(kinds)
    return Track(first_day, values, kinds, np.zeros(len(values)), **more)


def sign(**more):
    given = {"seen_day": SEEN, "direction": 1, "began_day": SEEN - 4, "rise": math.log(1.25), "width": 0.03}
    return Sign(**{**given, "after_day": -1, "base_day": SEEN - 10, **more})


def facts(numbered, *, plant=None, pumps=(), kinds=("",), hours=None, **more):
    """Of a plant whose pumps are a, b and c."""
    days = SignDays(
        plant or track(),
        {name: track() for name in pumps or "abc"},
        kinds,
        np.full(DAYS, 40.0) if hours is None else np.array(hours),
    )
    given = {"half_out": False, "by_starts": True, "whole_hours": False, **more}
    return plant_signs(days, [(n, position, one) for n, (position, one) in enumerate(numbered, 1)], **given)


@pytest.mark.parametrize(("apart", "named"), [(21, "a"), (22, None), (-21, "a"), (-22, None)])
def test_a_pump_whose_sign_began_within_three_weeks_of_the_plants_is_named(apart, named):
    """One that needs longer; a pump that needs less is not looked for."""
    plant, pump = sign(began_day=SEEN - 30), sign(began_day=SEEN - 30 + apart)
    assert facts([(None, plant), ("a", pump)]).plant_sign.names == named
    assert facts([(None, plant), ("a", replace(pump, direction=-1))]).plant_sign.names is None


def test_of_two_pumps_the_nearer_in_time_is_named():
    """However they are called, and whichever came first."""
    plant = sign(began_day=SEEN - 30)
    near, far = sign(began_day=SEEN - 33), sign(began_day=SEEN - 20)
    assert facts([(None, plant), ("a", far), ("b", near)]).plant_sign.names == "b"
    assert facts([("a", near), (None, plant), ("b", far)]).plant_sign.names == "a"


@pytest.mark.parametrize(("apart", "shown"), [(21, 1), (22, 2), (-21, 1), (-22, 2)])
def test_a_pump_that_needs_less_since_its_sister_needs_more_is_not_said(apart, shown):
    """Within three weeks it is the same fact; a pump is no sister of itself."""
    up, down = sign(), sign(began_day=SEEN - 4 + apart, direction=-1, seen_day=SEEN + 1)
    assert len(facts([("a", up), ("b", down)]).signs) == shown
    assert len(facts([("a", up), ("a", down)]).signs) == 2


def test_where_people_look_stand_the_plants_sign_and_pumps_that_need_longer():
    """While they are open; the list has all, the newest first."""
    ended = sign(end=SignEnd.OVER, ended_day=SEEN + 5, seen_day=SEEN - 50, began_day=SEEN - 60)
    down = sign(direction=-1, began_day=100, seen_day=SEEN - 1)
    found = facts([(None, sign()), ("a", sign(seen_day=SEEN + 1)), ("b", down), ("c", ended)])
    assert [one.position for one in found.open] == ["a", None]
    assert [one.position for one in found.signs] == ["a", None, "b", "c"]
    assert facts([("a", sign())]).plant_sign is None
    assert facts([(None, ended)]).plant_sign is None


@pytest.mark.parametrize(("width", "to_the_week"), [(0.12, False), (0.1201, True)])
def test_on_a_restless_ship_the_start_is_said_to_the_week(width, to_the_week):
    """Over 0.12."""
    assert facts([(None, sign(width=width))]).plant_sign.to_the_week == to_the_week


@pytest.mark.parametrize(("ago", "said"), [(14, True), (15, False)])
def test_that_it_is_back_is_said_for_a_fortnight(ago, said):
    """Of the plant's newest sign alone; a sign that ended without coming back is not called back."""
    back = sign(end=SignEnd.OVER, ended_day=DAYS - 1, back_day=DAYS - 1 - ago, seen_day=200)
    assert (facts([(None, back)]).back_again is not None) == said
    assert facts([("a", back)]).back_again is None
    assert facts([(None, replace(back, back_day=None))]).back_again is None
    assert facts([(None, back), (None, sign(end=SignEnd.KNOWN, ended_day=SEEN + 1))]).back_again is None


@pytest.mark.parametrize(
    ("factor", "percent"), [(1.249, 20), (1.251, 30), (1.04, 10), (1 / 1.04, 10), (1 / 1.34, 30), (1 / 1.33, 20)]
)
def test_the_size_is_said_to_the_nearest_tenth_and_ten_at_least(factor, percent):
    """Of what it was: a quarter less is what a third more is upwards."""
    rise = math.log(factor)
    one = sign(rise=abs(rise), direction=1 if rise > 0 else -1)
    assert facts([("a", one)]).signs[0].rise_percent == percent


def test_hours_a_day_are_what_the_rise_takes_of_those_since_it_began():
    """A quarter more than usual is a fifth of what runs now; days not known are passed over; days after its end are another matter."""
    hours = np.full(DAYS, 40.0)
    hours[: SEEN - 4], hours[SEEN] = 7.0, math.nan
    assert facts([(None, sign())], hours=hours).plant_sign.hours_a_day == pytest.approx(8.0)
    ended = sign(end=SignEnd.OVER, ended_day=SEEN + 3)
    hours[SEEN + 3 :] = 90.0
    assert facts([(None, ended)], hours=hours).signs[0].hours_a_day == pytest.approx(8.0)
    assert facts([("a", sign())], hours=hours).signs[0].hours_a_day is None
    hours[SEEN - 4 :] = math.nan
    assert facts([(None, sign())], hours=hours).plant_sign.hours_a_day is None


def test_the_kind_of_day_is_that_of_most_days_since_it_began():
    """None where no calendar is kept; of a pump none is said."""
    kinds = np.zeros(DAYS, dtype=np.int64)
    kinds[SEEN - 4 : SEEN + 4] = 1
    one = [(None, sign())]
    assert facts(one, plant=track(kinds=kinds), kinds=("sea", "port")).plant_sign.kind == "port"
    kinds[SEEN : SEEN + 4] = 0
    assert facts(one, plant=track(kinds=kinds), kinds=("sea", "port")).plant_sign.kind == "sea"
    assert facts(one, plant=track(kinds=kinds), kinds=("", "port")).plant_sign.kind is None
    assert facts([("a", sign())], kinds=("sea",)).signs[0].kind is None


def test_dates_are_those_of_the_sign_and_usual_ends_ten_days_before_it_was_seen():
    """And so many usable days are in it, 56 at most."""
    values = np.zeros(DAYS)
    values[100:104] = math.nan
    for after, days in ((SEEN - 67, 56), (SEEN - 66, 56), (SEEN - 65, 55)):
        one = facts([(None, sign(after_day=after))], plant=track(values)).plant_sign
        assert one.days_used == days
    assert (one.began_on, one.seen_on, one.usual_until_on) == (on(SEEN - 4), on(SEEN), on(SEEN - 10))
    gap = facts([(None, sign(after_day=98, base_day=110))], plant=track(values)).plant_sign
    assert gap.days_used == 8  # 99, and 104 to 110
    assert (one.end, one.ended_on, one.back_on, one.asked_again) == (None, None, None, False)
    again = sign(asked_again_day=SEEN + 2)
    assert facts([(None, again)]).plant_sign.asked_again
    assert not facts([(None, replace(again, end=SignEnd.MENDED, ended_day=SEEN + 3))]).signs[0].asked_again


def test_the_line_has_120_days_and_the_least_that_shows_is_rounded_up():
    """Twelve percent is twelve, what is a little more is thirteen; the line ends on the last day known."""
    found = facts([])
    assert (len(found.off), found.last_on, found.least_percent) == (120, on(DAYS - 1), 12)
    swing = np.where(np.arange(DAYS + 1) % 2 == 0, 0.031, -0.031)
    least = facts([], plant=replace(track(np.zeros(DAYS + 1)), rises=swing)).least_percent
    assert least == 13  # of 12.17
    assert facts([], plant=Track(0)).least_percent is None


def test_why_pumps_say_nothing_is_said_only_where_all_are_silent():
    """Counters to the whole hour first, then that the document says nothing of turns; else what the first of them waits for."""
    assert facts([]).pumps_quiet is None
    assert facts([], by_starts=False).pumps_quiet.reason is QuietReason.TURNS_NOT_KNOWN
    assert facts([], by_starts=False, whole_hours=True).pumps_quiet.reason is QuietReason.WHOLE_HOURS
    young = track(np.zeros(50))
    days = SignDays(track(), {"a": young, "b": track()}, ("",), np.full(DAYS, 40.0))
    given = {"half_out": False, "by_starts": True, "whole_hours": False}
    assert plant_signs(days, [], **given).pumps_quiet is None
    all_young = replace(days, pumps={"a": young, "b": young})
    assert plant_signs(all_young, [], **given).pumps_quiet.reason is QuietReason.NO_HISTORY
    assert facts([], half_out=True).quiet.reason is QuietReason.HALF_OUT
    assert facts([], half_out=True).pumps_quiet.reason is QuietReason.HALF_OUT


def plant_days(count, first_day=0, pumps=3, seconds=7200.0):
    ran = np.full((pumps, count), seconds)
    none = np.zeros(ran.shape, dtype=np.bool_)
    return PlantDays(
        first_day=first_day, seconds=ran, interpolated=none, swept_m3_per_h=np.full(ran.shape, 50.0), out=none.copy()
    )


def more(days, book, kinds=None, **given):
    given = {"answers": {}, "renewed": {}, **given}
    new = book.seconds.shape[1] - (days.plant.next_day - book.first_day)
    return days.more(book, ["a", "b", "c"], kinds or [None] * new, **given)


def test_three_years_of_days_are_stored_and_sixty_more_before_the_oldest_go():
    """1158 days are all there; one more, and the newest 1098 are."""
    given = {"answers": {}, "renewed": {}}
    first = plant_days(MOST_DAYS + 60, pumps=1)
    days = SignDays.none(0, ["a"]).more(first, ["a"], [None] * (MOST_DAYS + 60), **given)
    assert (days.plant.first_day, len(days.hours)) == (0, MOST_DAYS + 60)
    days = days.more(plant_days(30, MOST_DAYS + 31, pumps=1), ["a"], [None], **given)
    assert (days.plant.first_day, days.plant.next_day) == (61, MOST_DAYS + 61)
    assert {len(one.values) for one in (days.plant, *days.pumps.values())} == {MOST_DAYS}
    assert len(days.hours) == MOST_DAYS


def test_kinds_have_codes_in_the_order_in_which_they_came():
    """A day of no kind is one of its own; what was coded stays."""
    days = more(SignDays.none(0, ()), plant_days(3), ["sea", None, "port"])
    days = more(days, plant_days(6), ["port", "yard", None])
    assert days.kinds == ("sea", "", "port", "yard")
    assert days.plant.kinds.tolist() == [0, 1, 2, 2, 3, 1]


def test_hours_of_the_plant_are_those_of_all_its_pumps_in_hours():
    """Of the new days; cut with the days before one, and none from before the first."""
    days = more(SignDays.none(5, ()), plant_days(4, 3), [None] * 2)
    assert days.hours.tolist() == [6.0, 6.0]
    assert days.before(6).hours.tolist() == [6.0]
    assert days.before(4).hours.tolist() == []
    assert days.before(6).plant.next_day == 6


def test_answers_overhauls_and_days_with_half_the_pumps_out_reach_their_own_pump():
    """An answer to the plant closes no pump's sign, nor one pump's another's."""
    book = plant_days(225)
    book.seconds[:, 200:] *= 1.5
    book.seconds[0, 200:] *= 1.5
    whole = more(SignDays.none(0, "abc"), book)
    seen = {name: one.signs[0].seen_day for name, one in (("", whole.plant), *whole.pumps.items()) if one.signs}
    assert set(seen) == {"", *"abc"}  # against a's the others' hours are less
    for name, day in seen.items():
        answers = {name: [SignAnswer(seen_day=day, day=day + 1, end=SignEnd.KNOWN)]}
        answered = more(SignDays.none(0, "abc"), book, answers=answers)
        open_now = {n for n, one in (("", answered.plant), *answered.pumps.items()) if one.open_sign is not None}
        assert open_now == set(seen) - {name}
    renewed = more(SignDays.none(0, "abc"), book, renewed={"a": [seen["a"] + 1], "b": [215]})
    assert renewed.pumps["a"].signs[0].end is SignEnd.RENEWED
    assert renewed.plant.open_sign is not None
    book.out[:2, 190:] = True
    silent = more(SignDays.none(0, "abc"), book)
    assert not silent.plant.signs
    assert not silent.pumps["a"].signs
    five = plant_days(225, pumps=5)
    five.seconds[3, 200:] *= 1.5
    for out, speaks in ((2, True), (3, False)):
        five.out[:out, 190:] = True
        days = SignDays.none(0, "abcde").more(five, list("abcde"), [None] * 225, answers={}, renewed={})
        assert bool(days.pumps["d"].signs) == speaks
