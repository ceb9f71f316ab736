"""Reliability figures against published examples and other libraries."""

import csv
from pathlib import Path

import numpy as np
import pytest

from scheduler.domain.record.reliability import mean_count, mtbf, trend, weibull
from scheduler.errors import Refused

LIVES = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
REPAIRS = [5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478]


def test_weibull_with_right_censored_lives():
    """Source: NIST/SEMATECH e-Handbook 8.4.1.3: ten failures, ten survivors at 500 h: scale 606.5280, shape 1.7208, logL -75.135."""
    life = weibull(LIVES, [500] * 10)
    assert life.scale_hours == pytest.approx(606.528, abs=0.01)
    assert life.shape == pytest.approx(1.7208, abs=1e-4)
    assert life.log_likelihood == pytest.approx(-75.135, abs=1e-3)


@pytest.mark.long
def test_the_same_by_another_library():
    """Source: scipy.stats' own censored fit of the same lives; the bound of the shape by its log-likelihood's curvature."""
    from scipy import stats  # a second to import, and all tests are imported by every process of pytest

    lives = stats.CensoredData(uncensored=LIVES, right=[500] * 10)
    shape, _, scale = stats.weibull_min.fit(lives, floc=0)
    life = weibull(LIVES, [500] * 10)
    assert life.scale_hours == pytest.approx(scale, rel=1e-4)
    assert life.shape == pytest.approx(shape, rel=1e-4)

    def minus_log_likelihood(log_shape, log_scale):
        return stats.weibull_min.nnlf((np.exp(log_shape), 0, np.exp(log_scale)), np.array(LIVES)) - 10 * (
            stats.weibull_min.logsf(500, np.exp(log_shape), 0, np.exp(log_scale))
        )

    at, step = np.log([life.shape, life.scale_hours]), 1e-3
    ends = [(np.array([i, 0]) * step, np.array([0, i]) * step) for i in (1, -1)]
    f = minus_log_likelihood
    second = [[0.0, 0.0], [0.0, 0.0]]
    for i in range(2):
        for j in range(2):
            second[i][j] = (
                f(*(at + ends[0][i] + ends[0][j]))
                - f(*(at + ends[0][i] + ends[1][j]))
                - f(*(at + ends[1][i] + ends[0][j]))
                + f(*(at + ends[1][i] + ends[1][j]))
            ) / (4 * step**2)
    error = np.sqrt(np.linalg.inv(second)[0, 0])
    assert life.shape_low == pytest.approx(life.shape * np.exp(-stats.norm.ppf(0.95) * error), rel=1e-3)


def test_mean_time_between_failures_with_bounds():
    """Source: NIST/SEMATECH e-Handbook 8.4.5.1: two failures in 800 h, 90 %: 127.069 to 2251.229."""
    found = mtbf(2, 800)
    assert found.best == 400
    assert found.low == pytest.approx(127.069, abs=1e-3)
    assert found.high == pytest.approx(2251.229, abs=1e-3)


@pytest.mark.parametrize(("confidence", "low"), [(0.90, 434.29), (0.95, 333.81), (0.50, 1442.70)])
def test_no_failure_gives_a_lower_bound_only(confidence, low):
    """Source: NIST/SEMATECH e-Handbook 8.4.5.1: T / -ln(alpha) for 1000 h without a failure."""
    found = mtbf(0, 1000, confidence)
    assert found.low == pytest.approx(low, abs=0.01)
    assert found.best is None
    assert found.high is None


def test_two_tests_for_a_trend_that_disagree():
    """Source: NIST/SEMATECH e-Handbook 8.4.5.2's repairs (T 1500): chi-square 37.2281 (p 0.0110), Laplace -1.32695 (p 0.0923)."""
    found = trend([(REPAIRS, 1500)])
    assert found.mil_hdbk == pytest.approx(37.2281, abs=1e-4)
    assert found.mil_hdbk_p == pytest.approx(0.0110, abs=1e-4)
    assert found.laplace == pytest.approx(-1.32695, abs=1e-5)
    assert found.laplace_p == pytest.approx(0.0923, abs=1e-4)
    assert found.says.startswith("not clear")


def _valve_seats():
    with Path(__file__).with_name("valve_seats.csv").open() as file:
        return [
            ([float(day) for day in row["replaced_on_days"].split()], float(row["observed_days"]))
            for row in csv.DictReader(file)
        ]


def test_the_valve_seats_of_forty_one_engines():
    """Source: Nelson (1995), valve-seat replacements, data as in the R package reda (valveSeats)."""
    told = {one.hours: one for one in mean_count(_valve_seats())}
    assert told[61].mean == pytest.approx(0.024390, abs=1e-5)
    assert told[653].mean == pytest.approx(1.542688, abs=1e-5)
    assert told[653].error == pytest.approx(0.31166, abs=1e-5)
    assert told[653].at_risk == 9
    assert max(one.mean for one in told.values() if one.hours <= 365) == pytest.approx(0.609756, abs=1e-5)


def test_the_valve_seats_come_closer_together():
    """Source: the same data pooled, recomputed with two libraries: Laplace 2.37869, MIL-HDBK 66.1484, p 0.0173 two-sided."""
    found = trend(_valve_seats())
    assert found.laplace == pytest.approx(2.37869, abs=1e-4)
    assert found.mil_hdbk == pytest.approx(66.1484, abs=1e-3)
    assert found.mil_hdbk_p * 2 == pytest.approx(0.0173, abs=1e-4)
    assert found.says == "failures come closer together"


def test_few_failures_carry_no_fit():
    """Refused in words."""
    with pytest.raises(Refused, match="carry no life distribution"):
        weibull(LIVES[:9])
