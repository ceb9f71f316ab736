"""Pull-down, hold and leak against published worked examples and hand arithmetic. p_atm 101.325 kPa."""

import numpy as np
import pytest

from scheduler.domain.capacity.minimum import ATMOSPHERE_KPA, Swept
from scheduler.domain.capacity.test_log import INHG_KPA
from scheduler.domain.capacity.tests import (
    Band,
    Leak,
    Sample,
    effective_swept,
    leak_of_hold,
    measured,
    pull_down_seconds,
)
from scheduler.errors import Refused

SHIP = Band(ATMOSPHERE_KPA - 35, ATMOSPHERE_KPA - 50)


@pytest.mark.parametrize(("to_kpa", "seconds"), [(50.0, 6.93), (10.0, 23.03), (1.0, 46.05)])
def test_a_cubic_metre_at_a_tenth_a_second(to_kpa, seconds):
    """Source: public engineering reference page "Vacuum - evacuation time": 1 m3, 0.1 m3/s, from 1000 mbar: 6.9, 23, 46 s."""
    assert pull_down_seconds(1.0, Swept(360.0), Band(100.0, to_kpa)) == pytest.approx(seconds, abs=0.06)


@pytest.mark.parametrize(("from_kpa", "m3_per_min"), [(100.0, 160.94), (101.3, 162.24)])
def test_a_thousand_cubic_metres_in_ten_minutes(from_kpa, m3_per_min):
    """Source: a public vacuum guide's example, 1000 m3 in 10 min from 1000 to 200 mbar: 160 m3/min; the second derived."""
    swept = effective_swept(1000.0, 600.0, Band(from_kpa, 20.0))
    assert swept.m3_per_h / 60 == pytest.approx(m3_per_min, abs=0.01)


def test_a_sewer_station_in_inches_of_mercury():
    """Source: EPA/625/1-91/024 (from memory), exact form: 19.181 m3, 254.85 m3/h, 16 to 20 inHg: 1.530 min."""
    band = Band(ATMOSPHERE_KPA - 16 * INHG_KPA, ATMOSPHERE_KPA - 20 * INHG_KPA)
    assert pull_down_seconds(19.181, Swept(254.85), band) / 60 == pytest.approx(1.530, abs=0.001)


@pytest.mark.parametrize(
    ("band", "ultimate_kpa", "leak", "seconds"),
    [
        (SHIP, 0.0, 0.0, 30.767),
        (Band(ATMOSPHERE_KPA, ATMOSPHERE_KPA - 50), 0.0, 0.0, 81.619),
        (SHIP, 10.0, 0.0, 37.161),
        (SHIP, 0.0, 50.0, 32.440),
    ],
)
def test_a_ship_s_receiver(band, ultimate_kpa, leak, seconds):
    """Source: a pump maker's fundamentals page (formula); 2 m3 and 60 m3/h worked by hand and by an ODE solver (derived)."""
    took = pull_down_seconds(2.0, Swept(60.0), band, ultimate_kpa=ultimate_kpa, leak=Leak(leak))
    assert took == pytest.approx(seconds, abs=0.01)


@pytest.mark.parametrize(("seconds", "m3_per_h"), [(45.0, 41.022), (55.0, 33.564)])
def test_what_a_worn_pump_really_sweeps(seconds, m3_per_h):
    """Source: the inverse of the formula above (derived): 2 m3 from 35 to 50 kPa below atmosphere."""
    assert effective_swept(2.0, seconds, SHIP).m3_per_h == pytest.approx(m3_per_h, abs=0.001)


def test_a_hold_gives_the_leak_three_ways():
    """Source: q = V dp/dt (a pump maker's fundamentals page); free and swept volume derived: 13.333, 0.4737, 0.9352."""
    leak = leak_of_hold(2.0, 2.0, 300.0)
    assert leak.pa_m3_per_s == pytest.approx(13.333, abs=1e-3)
    assert leak.free.m3_per_h == pytest.approx(0.4737, abs=1e-3)
    assert leak.swept_at(50.0).m3_per_h == pytest.approx(0.9352, abs=1e-3)


def test_a_decay_test_of_a_known_volume():
    """Source: 40 CFR 1065.644 inputs (2 L, 25.3 to 50.6 kPa in 70 s, 293.15 K), result by n = V dp / (R T dt): 2.966e-4 mol/s."""
    leak = leak_of_hold(0.002, 25.3, 70.0)
    assert leak.pa_m3_per_s / (8.314472 * 293.15) == pytest.approx(2.966e-4, abs=1e-7)


def _log(volume=3.0, swept=40.0, leak_free=2.0, noise=0.0, seed=0):
    flow = leak_free / 3600 * 101.3
    speed = swept / 3600
    random = np.random.default_rng(seed)
    at = np.arange(0.0, 241.0, 10.0)
    floor = flow / speed
    pull = floor + (101.3 - floor) * np.exp(-speed * at / volume)
    later = np.arange(0.0, 601.0, 10.0)
    hold = pull[-1] + flow / volume * later
    rounded = (lambda x: np.round(x + random.normal(0, noise, len(x)))) if noise else (lambda x: x)
    return (
        [Sample(float(t), float(p)) for t, p in zip(at, rounded(pull), strict=True)],
        [Sample(float(t), float(p)) for t, p in zip(later, rounded(hold), strict=True)],
    )


def test_a_clean_log_gives_back_what_made_it():
    """Source: the differential equation itself (derived): 3 m3, 40 m3/h, 2 m3/h free; ends at 44.628 kPa, hold +11.256."""
    pull, hold = _log()
    assert pull[-1].kpa == pytest.approx(44.628, abs=1e-3)
    assert hold[-1].kpa - hold[0].kpa == pytest.approx(11.256, abs=1e-3)
    found = measured(3.0, pull, hold)
    assert found.swept.m3_per_h == pytest.approx(40.0, abs=1e-3)
    assert found.leak is not None
    assert found.leak.free.m3_per_h == pytest.approx(2.0, abs=1e-3)
    assert measured(3.0, *_log(swept=28.0)).swept.m3_per_h == pytest.approx(28.0, abs=1e-3)


def test_a_leak_that_is_ignored_makes_the_pump_look_seven_percent_weaker():
    """Source: derived: V/t ln(101.3/50) over 205.7 s gives 37.08 where 40 sweep."""
    assert effective_swept(3.0, 205.7, Band(101.3, 50.0)).m3_per_h == pytest.approx(37.08, abs=0.02)
    with_leak = effective_swept(3.0, 205.7, Band(101.3, 50.0), leak=Leak(2 / 3600 * 101_300))
    assert with_leak.m3_per_h == pytest.approx(40.0, abs=0.02)


def test_the_stated_spread_is_the_spread_that_comes_about():
    """Source: repeated invented logs with a 1-kPa gauge and 0.5 kPa noise (derived): swept 0.26 m3/h, leak under 0.08."""
    found = [measured(3.0, *_log(noise=0.5, seed=seed)) for seed in range(60)]
    swept = np.array([one.swept.m3_per_h for one in found])
    leak = np.array([one.leak.free.m3_per_h for one in found if one.leak])
    assert swept.mean() == pytest.approx(40.0, abs=0.15)
    assert 0.18 < swept.std() < 0.36
    assert leak.std() < 0.08
    assert np.mean([one.swept_spread_m3_per_h for one in found]) == pytest.approx(swept.std(), rel=0.4)


def test_a_pressure_the_pump_never_reaches_is_refused_in_words():
    """Source: the formula has no solution at or under the ultimate pressure plus leak over swept volume (derived)."""
    with pytest.raises(Refused, match="never reach 50 kPa absolute"):
        pull_down_seconds(2.0, Swept(60.0), Band(66.0, 50.0), leak=Leak(1000.0))


@pytest.mark.parametrize(("inhg", "kpa"), [(16.0, 54.182), (20.0, 67.728)])
def test_inches_of_mercury(inhg, kpa):
    """Source: EPA/625/1-91/024 prints 54 and 68 kPa for 16 and 20 inHg (second-hand)."""
    assert inhg * INHG_KPA == pytest.approx(kpa, abs=0.001)
