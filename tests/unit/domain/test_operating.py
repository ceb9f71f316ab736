"""The operating calendar: kinds of day, their weights, and the forecast made in operating days."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from scheduler.domain.due.forecast import forecast
from scheduler.domain.voyage.days import WEIGHTS, Axis, Calendar, Operating, Stretch
from scheduler.errors import Refused

AT = datetime(2027, 3, 1, tzinfo=UTC)
TODAY = AT.date()
DAY = timedelta(days=1)


def stretch(first: int, last: int, kind: str) -> Stretch:
    """From so many days after today to so many, both included."""
    return Stretch(from_on=TODAY + first * DAY, to_on=TODAY + last * DAY, kind=kind)


def weekly(first: int, last: int) -> list[Stretch]:
    """Five days at sea, two in port, in turn."""
    return [
        s for day in range(first, last, 7) for s in (stretch(day, day + 4, "sea"), stretch(day + 5, day + 6, "port"))
    ]


def ran(first: int, sea_hours: float, port_share: float) -> list[int]:
    """Seconds a day up to yesterday of a pump that follows the weekly turn exactly."""
    return [round(3600 * sea_hours * (1.0 if (day - first) % 7 < 5 else port_share)) for day in range(first, 0)]


def test_the_last_stretch_that_holds_a_day_counts():
    """A correction is added after what it corrects; days outside are not known."""
    calendar = Calendar(stretches=(stretch(1, 4, "sea"), stretch(3, 3, "port")))
    assert calendar.kinds(TODAY, 6) == [None, "sea", "sea", "port", "sea", None]
    assert calendar.kinds(TODAY + timedelta(days=4), 1) == ["sea"]
    assert calendar.kinds(TODAY + timedelta(days=1), 1) == ["sea"]
    assert calendar.kinds(TODAY + timedelta(days=5), 1) == calendar.kinds(TODAY, 1) == [None]
    assert calendar.last_on() == TODAY + 4 * DAY


def test_a_stretch_that_ends_before_it_begins_is_refused():
    """It says which dates, and what to do."""
    with pytest.raises(Refused, match="2027-02-28, before it begins on 2027-03-01"):
        stretch(0, -1, "sea")


@pytest.mark.parametrize("weight", [0.0, -1.0, 3.5, float("nan")])
def test_a_weight_that_cannot_be_is_refused(weight):
    """Nought would let a lay-up last for ever."""
    with pytest.raises(Refused, match="day of port"):
        Calendar(weights={"port": weight})


def test_a_stretch_of_a_kind_without_a_weight_is_refused():
    """Nothing is taken for something else."""
    with pytest.raises(Refused, match="'canal', which has no weight here"):
        Calendar(stretches=(stretch(0, 1, "canal"),))


def test_the_axis_counts_days_by_their_worth():
    """Half a port day of 0.3 and then sea: 0.15 and 1; ten operating days from there end ten days after that port day."""
    axis = Axis(TODAY, (0.0, 0.3, 1.3, 2.3), 0.9)
    assert axis.at(AT + 0.5 * DAY) == pytest.approx(0.15)
    assert axis.days_from(AT + 0.5 * DAY, 1.15) == pytest.approx(1.5)
    assert axis.days_from(AT, 2.3 + 0.9 * 4) == pytest.approx(7)
    assert axis.at(AT + 7 * DAY) == pytest.approx(2.3 + 0.9 * 4)


def test_too_little_in_the_log_and_the_calendar_is_left_aside():
    """Two months of logged days are needed; a plan alone says nothing of what a sea day runs."""
    days = [36_000] * 300
    plan = Calendar(stretches=(stretch(0, 300, "lay-up"),))
    assert Operating.of(plan, [days], TODAY - DAY) is None
    assert Operating.of(None, [days], TODAY - DAY) is None
    assert Operating.of(Calendar(stretches=(stretch(-60, -1, "sea"),)), [days], TODAY - DAY) is not None


def test_what_a_port_day_runs_is_learned_from_the_ships_own_days():
    """A year of port days at 0.8 of a sea day, weight given 0.3, counting as 20 days: (104 x 0.8 + 20 x 0.3) / 124."""
    first = -364
    found = Operating.of(Calendar(stretches=tuple(weekly(first, 0))), [ran(first, 20, 0.8)], TODAY - DAY)
    assert found is not None
    assert found.weights["sea"] == 1
    assert found.weights["port"] == pytest.approx((104 * 0.8 + 20 * 0.3) / 124, abs=0.001)
    assert found.weights["lay-up"] == pytest.approx(WEIGHTS["lay-up"])


def test_days_outside_any_stretch_take_the_usual_mix():
    """Before the log and after the plan alike: the mean worth of the logged days of the last year."""
    calendar = Calendar(stretches=tuple(weekly(-364, 14)), weights={"sea": 1.0, "port": 0.3})
    found = Operating.of(calendar, [ran(-399, 10, 0.3)], TODAY - DAY)
    assert found is not None
    assert found.usual == pytest.approx((5 + 2 * 0.3) / 7, abs=0.02)
    assert found.past[0] == found.usual == found.axis.usual
    assert len(found.axis.sums) == 15
    assert len(found.up_to(20)) == 419
    assert found.up_to(20)[-1] == found.usual


def test_a_lay_up_in_the_plan_puts_the_date_off_and_its_end_shows():
    """100 sea days' hours, 60 days of lay-up first: much later than without, and about 60 x 0.2 days sooner than 160."""
    first, days = -720, [36_000] * 720
    at_sea = Calendar(stretches=(stretch(first, 400, "sea"),))
    laid_up = Calendar(stretches=(*at_sea.stretches, stretch(0, 59, "lay-up")))
    there, later = (
        forecast(
            at=AT,
            hours_left_seconds=1000 * 3600,
            own_daily_seconds=days,
            sister_daily_seconds=[days],
            as_of=AT,
            calendar=calendar,
        )
        for calendar in (at_sea, laid_up)
    )
    assert (there.likely_at - AT) / DAY == pytest.approx(100, abs=0.1)
    assert (later.likely_at - AT) / DAY == pytest.approx(160 - 12, abs=0.2)
    assert there.h_per_sea_day == pytest.approx(10)
    assert there.h_per_day == pytest.approx(10)


def test_with_the_calendar_a_ship_that_keeps_to_it_is_forecast_to_the_day():
    """Weekly turn of 5 and 2, 10 h and 3 h: 560 h more are 10 weeks, early and late within days of it."""
    first = -728
    calendar = Calendar(stretches=tuple(weekly(first, 200)))
    days = ran(first, 10, 0.3)
    found = forecast(
        at=AT,
        hours_left_seconds=560 * 3600,
        own_daily_seconds=days,
        sister_daily_seconds=[days],
        as_of=AT,
        calendar=calendar,
    )
    assert (found.likely_at - AT) / DAY == pytest.approx(70, abs=1.5)
    assert found.h_per_day == pytest.approx(8, abs=0.1)
    assert found.h_per_sea_day == pytest.approx(10, abs=0.1)


def test_all_days_worth_the_same_is_the_forecast_without_a_calendar():
    """Weight 1 throughout changes nothing but what is said."""
    rng = np.random.default_rng(5)
    own, sister = ([int(s) for s in rng.integers(0, 80_000, 700)] for _ in range(2))
    calendar = Calendar(stretches=(Stretch(from_on=date(2020, 1, 1), to_on=date(2030, 1, 1), kind="sea"),))
    with_it, without = (
        forecast(
            at=AT,
            hours_left_seconds=900 * 3600,
            own_daily_seconds=own,
            sister_daily_seconds=[sister],
            as_of=AT - 3 * DAY,
            calendar=c,
        )
        for c in (calendar, None)
    )
    for one, other in zip(
        (with_it.early_at, with_it.likely_at, with_it.late_at),
        (without.early_at, without.likely_at, without.late_at),
        strict=True,
    ):
        assert abs(one - other) <= timedelta(seconds=1)


@pytest.mark.parametrize(("weight", "good"), [(0.019, False), (0.02, True), (3.0, True), (3.001, False)])
def test_the_least_and_the_most_weight_are_weights(weight, good):
    """A little beyond is none."""
    if good:
        assert Calendar(weights={"port": weight}).weights["port"] == weight
        return
    with pytest.raises(Refused, match="day of port"):
        Calendar(weights={"port": weight})
