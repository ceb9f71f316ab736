"""Pull-down and hold tests at their bounds: four samples, a minute, the ends of the band."""

import pytest

from scheduler.domain.capacity.minimum import ATMOSPHERE_KPA, Swept
from scheduler.domain.capacity.tests import Band, Sample, compare_band, leak_of_hold, measured, pull_down_seconds
from scheduler.errors import Refused

PULL = [Sample(10.0 * n, 90.0 - 10.0 * n) for n in range(5)]


def test_a_pressure_at_which_the_pump_draws_nothing_is_never_reached():
    """Just above it is, in a finite time."""
    with pytest.raises(Refused, match="never reach"):
        pull_down_seconds(2.0, Swept(60.0), Band(90.0, 5.0), ultimate_kpa=5.0)
    assert pull_down_seconds(2.0, Swept(60.0), Band(90.0, 5.01), ultimate_kpa=5.0) > 0


def test_four_samples_are_enough_and_three_are_not():
    """With figures to fit, a spread needs more than two."""
    assert measured(2.0, PULL[:4]).samples == 4
    with pytest.raises(Refused, match="3 samples"):
        measured(2.0, PULL[:3])


def test_samples_at_the_ends_of_the_band_are_in_it():
    """Of 90, 80, 70, 60 and 50 kPa four lie from 80 to 50."""
    assert measured(2.0, PULL, band=Band(80.0, 50.0)).samples == 4
    with pytest.raises(Refused, match="3 samples"):
        measured(2.0, PULL, band=Band(79.9, 50.0))


def test_a_pressure_that_stays_is_no_pull_down():
    """It falls from the first to the last."""
    with pytest.raises(Refused, match="does not fall"):
        measured(2.0, [Sample(10.0 * n, 90.0) for n in range(5)])


@pytest.mark.parametrize(
    ("samples", "seconds", "leak"), [(4, 60.0, True), (4, 59.9, False), (3, 60.0, False), (9, 59.9, False)]
)
def test_a_hold_of_four_samples_and_a_minute_tells_of_the_leak(samples, seconds, leak):
    """Fewer or shorter and it is not determinable; each alone is too little."""
    hold = [Sample(seconds * n / (samples - 1), 50.0 + n) for n in range(samples)]
    assert (measured(2.0, PULL, hold).leak is not None) is leak


@pytest.mark.parametrize(("rise", "leak"), [(2.0, 13.333), (0.0, 0.0), (-2.0, 0.0)])
def test_a_pressure_that_falls_in_a_hold_is_no_leak(rise, leak):
    """Two kPa in five minutes in two cubic metres are 13.3 Pa m3/s: q = V dp/dt (derived)."""
    assert leak_of_hold(2.0, rise, 300.0).pa_m3_per_s == pytest.approx(leak, abs=1e-3)


def test_pumps_are_compared_over_a_stretch_above_the_stop_setpoint_up_to_atmosphere():
    """15 kPa wide; shorter where there is no more to atmosphere."""
    assert compare_band(50.0) == Band(ATMOSPHERE_KPA - 50.0 + 15.0, ATMOSPHERE_KPA - 50.0)
    assert compare_band(10.0) == Band(ATMOSPHERE_KPA, ATMOSPHERE_KPA - 10.0)
