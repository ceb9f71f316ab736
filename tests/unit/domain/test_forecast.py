"""The forecast of running hours: rate, early, likely and late dates."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from scheduler.domain.due.forecast import (
    DEFAULT_H_PER_DAY,
    LEAST_H_PER_DAY,
    Forecast,
    forecast,
    pace_of,
    reach,
    seconds_run_by,
)
from scheduler.domain.due.past_forecasts import misses_of

AT = datetime(2027, 3, 1, tzinfo=UTC)
TEN = [36_000] * 400
FIVE = [18_000] * 400
DAY = timedelta(days=1)


def of(
    own: list[int], *sisters: list[int], left_hours: float = 1000, as_of: datetime | None = AT, **changes: Any
) -> Forecast:
    return forecast(
        **(
            {
                "at": AT,
                "hours_left_seconds": round(left_hours * 3600),
                "own_daily_seconds": own,
                "sister_daily_seconds": sisters,
                "as_of": as_of,
            }
            | changes
        )
    )


def days_to(found: Forecast) -> tuple[float, float, float]:
    return tuple((at - AT) / DAY for at in (found.early_at, found.likely_at, found.late_at))


def test_the_rate_is_half_the_pumps_own_and_half_the_plants_mean():
    """Own 10 h a day, plant mean (10 + 5) / 2: 8.75."""
    assert of(TEN, FIVE).h_per_day == pytest.approx(8.75)


def test_a_rate_never_falls_under_a_fifth_of_the_plants():
    """A pump that never ran among seven that ran 10 h a day is still given more than a fifth of their mean."""
    found = of([0] * 400, *[TEN] * 7)
    assert found.h_per_day >= 0.2 * 8.75


def test_without_any_history_the_stated_default_and_the_prior_serve():
    """No days at all: 8 h a day, no runs counted, early and late from the prior (0.60 and 1.68 of the likely time)."""
    found = of([])
    assert (found.h_per_day, found.runs, found.look_back_days) == (DEFAULT_H_PER_DAY, 0, 0)
    early, likely, late = days_to(found)
    assert likely == pytest.approx(125, abs=1e-4)
    assert (early / likely, late / likely) == (pytest.approx(0.597, abs=0.001), pytest.approx(1.676, abs=0.001))


def test_a_new_pump_goes_by_its_sisters_until_it_has_a_week_of_its_own():
    """No own days beside sisters at 10: 10. One own day of 3 h: only a seventh of its half."""
    assert of([], TEN, TEN).h_per_day == pytest.approx(10)
    plant = (3 + 10 + 10) / 3
    assert of([10_800], TEN, TEN).h_per_day == pytest.approx(plant / 2 + (3 + 6 * plant) / 7 / 2)


def test_a_steady_plant_is_surer_of_its_date_than_the_prior():
    """Years at the same rate: 100 days ahead, early and late lie close to likely, and runs were counted."""
    found = of(TEN * 3, *[TEN * 3] * 5)
    early, likely, late = days_to(found)
    assert likely == pytest.approx(100, abs=0.01)
    assert 80 < early <= likely <= late < 120
    assert found.runs > 100


def test_a_plant_that_varies_is_less_sure():
    """Stretches of 4 h a day in turn with stretches of 16 widen the dates."""
    varied = [(4 if day // 70 % 2 else 16) * 3600 for day in range(1200)]
    steady, wild = days_to(of(TEN * 3, *[TEN * 3] * 5)), days_to(of(varied, *[varied] * 5))
    assert wild[2] - wild[0] > 2 * (steady[2] - steady[0])


def test_a_pump_that_stands_is_marked_and_its_dates_are_wider():
    """Two weeks without a turn while the sister runs: standing, early earlier and late later than the share alone."""
    stood = TEN[:-14] + [0] * 14
    found, usual = of(stood, TEN), of(TEN, TEN)
    assert found.idle
    assert not usual.idle
    span, usual_span = days_to(found), days_to(usual)
    assert span[2] - span[0] > usual_span[2] - usual_span[0]


def test_the_look_back_that_served_best_is_taken():
    """A rate that wanders slowly is best met by the short look-back, one that alternates by a long one."""
    drifting = [round((4 + 12 * day / 1000) * 3600) for day in range(1000)]
    alternating = [(2 if day // 60 % 2 else 18) * 3600 for day in range(1000)]
    assert {row.look_back_days for row in misses_of([drifting, drifting])} == {90}
    found = {row.run_days: row.look_back_days for row in misses_of([alternating, alternating])}
    assert min(found.values()) > 90


def test_a_figure_already_passed_gives_when_it_was_passed():
    """25 h over at midnight after two days of 10 h: three times the same instant, half a day before those and one more."""
    found = of(TEN, left_hours=-25)
    assert found.early_at == found.likely_at == found.late_at == AT - 2.5 * DAY


def test_days_of_standing_since_are_stepped_over():
    """5 h over, the pump having stood for ten days: passed on the day before them."""
    found = of(TEN[:-10] + [0] * 10, left_hours=-5)
    assert found.likely_at == AT - 10.5 * DAY


def test_just_reached_is_now_and_far_passed_is_long_ago():
    """Nothing left is the reading's instant; more than all history is before it, and never out of the calendar."""
    assert of(TEN, left_hours=0).likely_at == AT
    assert of(TEN, left_hours=-4010).likely_at < AT - 400 * DAY
    assert of([0] * 30, left_hours=-1e9).likely_at.year > 1970


def test_a_silent_counter_leaves_the_likely_date_where_it_was():
    """Ten days without a reading: the likely date counts from the reading; the early one allows for running nonstop."""
    fresh = of(TEN, TEN)
    later = of(TEN + [0] * 10, TEN + TEN[:10], at=AT + 10 * DAY)
    assert later.likely_at == fresh.likely_at
    assert later.early_at < fresh.early_at
    assert later.late_at == fresh.late_at


def test_busier_sisters_bring_a_silent_pumps_date_forward_and_idle_ones_do_not_put_it_off():
    """While the counter is silent, what the sisters do can only raise the rate."""
    at = AT + 60 * DAY
    fresh = of(TEN, TEN)
    busier = of(TEN + [0] * 60, TEN + [72_000] * 60, at=at)
    idle = of(TEN + [0] * 60, TEN + [0] * 60, at=at)
    assert busier.likely_at < fresh.likely_at
    assert idle.likely_at == fresh.likely_at


def test_no_reading_at_all_counts_from_now():
    """Without as_of the hours left are taken to be those of now."""
    assert of(TEN, as_of=None) == of(TEN)


def test_a_plant_at_a_standstill_still_gets_a_date():
    """All pumps at nought for a year: the least rate, and a date in the calendar however much is left."""
    found = of([0] * 400, [0] * 400, left_hours=1e9)
    assert found.h_per_day == LEAST_H_PER_DAY
    assert found.likely_at.year < 2100


def test_an_adjustment_booked_on_one_day_is_no_rate():
    """A day of 4000 h or of less than nothing counts as 24 h or 0."""
    assert of([*TEN[:-1], 4000 * 3600], TEN).h_per_day == pytest.approx(of([*TEN[:-1], 86_400], TEN).h_per_day)
    assert of([*TEN[:-1], -5000], TEN).h_per_day == pytest.approx(of([*TEN[:-1], 0], TEN).h_per_day)


def test_hours_run_by_the_likely_date_are_the_hours_left():
    """The curve read forwards and backwards agrees."""
    varied = [(4 if day // 45 % 2 else 16) * 3600 for day in range(900)]
    pace = pace_of(varied, [TEN * 2], misses_of([varied, TEN * 2]))
    for hours in (1, 50, 800, 5000):
        found = reach(pace, hours * 3600, as_of=AT, at=AT)
        assert seconds_run_by(pace, AT, found.likely_at) == pytest.approx(hours * 3600, abs=2)
    assert seconds_run_by(pace, AT, AT - DAY) == 0
