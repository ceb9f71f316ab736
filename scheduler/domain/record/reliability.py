"""Figures of reliability for a handful of failures: kept small, and refused where the data do not carry them.

Times are running hours. A preventive replacement is a unit that was taken away before it failed: censored, no failure.
Sources stand with each function; the figures are checked against published examples in `tests/external/reliability`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log, sqrt
from statistics import NormalDist
from typing import NamedTuple

import numpy as np

from scheduler.domain.record.distributions import chi2_quantile, chi2_survival, root
from scheduler.errors import Refused

CONFIDENCE = 0.90
LEAST_FAILURES = 10
"""Fewer failures carry no Weibull fit and no advice on intervals (judgement, no source)."""
ALPHA = 0.05
NORMAL = NormalDist()


class Bounds(NamedTuple):
    """A figure with its bounds, hours; high and best none when there was no failure."""

    best: float | None
    low: float
    high: float | None


def mtbf(failures: int, hours: float, confidence: float = CONFIDENCE) -> Bounds:
    """Mean running hours between failures over a time that ended by itself (not with a failure), chi-square bounds.

    Without a failure only a one-sided lower bound is given.

    Raises:
        Refused: no hours.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.5.1.
    """
    if not hours > 0 or failures < 0:
        raise Refused(f"{failures} failures in {hours:g} running hours give no figure: hours above 0 were expected.")
    alpha = 1 - confidence
    if failures == 0:
        return Bounds(None, -hours / log(alpha), None)
    low = 2 * hours / chi2_quantile(1 - alpha / 2, 2 * (failures + 1))
    high = 2 * hours / chi2_quantile(alpha / 2, 2 * failures)
    return Bounds(hours / failures, low, high)


@dataclass(frozen=True, slots=True)
class Trend:
    """Two tests for a trend, and what they say together. p: one-sided, of the direction found."""

    laplace: float
    laplace_p: float
    mil_hdbk: float
    mil_hdbk_p: float
    says: str


def trend(units: Sequence[tuple[Sequence[float], float]]) -> Trend:
    """Whether failures come closer together or further apart, by Laplace's and the MIL-HDBK test; both must agree.

    Args:
        units: (hours of each failure since the start, hours observed) of each unit; three failures or more in all.

    Raises:
        Refused: fewer than three failures, or a failure outside the hours observed.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 8.2.3.4; pooled over units as in Ascher and Feingold (from memory).
    """
    times = [(t, end) for failures, end in units for t in failures]
    if len(times) < 3:
        raise Refused(f"{len(times)} failures show no trend either way: three or more were expected.")
    if any(not 0 < t <= end for t, end in times):
        raise Refused("A failure lies outside the hours observed. Check the hours.")
    n = len(times)
    u = sum(t - end / 2 for t, end in times) / sqrt(sum(end**2 for _, end in times) / 12)
    # A failure at the very end of its time says nothing in the MIL-HDBK test: ln 1 is 0.
    statistic = 2 * sum(log(end / t) for t, end in times)
    laplace_p = NORMAL.cdf(-abs(u))
    better = statistic > 2 * n
    mil_p = chi2_survival(statistic, 2 * n) if better else 1 - chi2_survival(statistic, 2 * n)
    return Trend(u, laplace_p, statistic, mil_p, _trend_words(u, laplace_p, better, mil_p))


def _trend_words(u: float, laplace_p: float, better: bool, mil_p: float) -> str:
    by_laplace = 0 if laplace_p >= ALPHA else -1 if u < 0 else 1
    by_mil = 0 if mil_p >= ALPHA else -1 if better else 1
    if by_laplace == by_mil:
        return {0: "no trend", -1: "failures come further apart", 1: "failures come closer together"}[by_laplace]
    return "not clear: the two tests disagree"


class MeanCount(NamedTuple):
    """Mean number of failures a unit up to some hours, its standard error, and how many units were still observed."""

    hours: float
    mean: float
    error: float
    at_risk: int


def mean_count(units: Sequence[tuple[Sequence[float], float]]) -> list[MeanCount]:
    """The mean cumulative function of a fleet, at each time of failure, with robust standard errors.

    Args:
        units: (hours of each failure, hours observed) of each unit.

    Source: Nelson, Recurrent Events Data Analysis (2003), and the variance of Lawless and Nadeau (1995) (from memory).
    """
    times = sorted({t for failures, _ in units for t in failures})
    ends = np.array([end for _, end in units])
    gone = np.zeros(len(units))
    told, total = [], 0.0
    for time in times:
        there = ends >= time
        at_risk = int(there.sum())
        each = np.array([sum(t == time for t in failures) for failures, _ in units], dtype=float)
        step = float(each.sum()) / at_risk
        total += step
        gone = gone + np.where(there, (each - step) / at_risk, 0.0)
        told.append(MeanCount(time, total, sqrt(float(gone @ gone)), at_risk))
    return told


@dataclass(frozen=True, slots=True)
class Weibull:
    """A life distribution: scale (hours) and shape, with the lower bound of the shape; how many failures it rests on."""

    scale_hours: float
    shape: float
    shape_low: float
    log_likelihood: float
    failures: int


def weibull(failed: Sequence[float], censored: Sequence[float] = (), *, least: int = LEAST_FAILURES) -> Weibull:
    """Maximum likelihood fit with right-censored lives.

    Raises:
        Refused: fewer than `least` failures, a life that is not above 0, or lives that are all equal.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.3.
    """
    if len(failed) < least:
        raise Refused(
            f"{len(failed)} failures carry no life distribution: {least} or more were expected. Wait, or pool like parts of "
            "several ships."
        )
    if any(not life > 0 for life in (*failed, *censored)) or len(set(failed)) == 1:
        raise Refused("Lives above 0 that are not all equal were expected. Check the hours.")
    x, every = np.array(failed), np.array([*failed, *censored])
    top = float(every.max())
    logs, every_log = np.log(x / top), np.log(every / top)

    def score(shape: float) -> float:
        weights = np.exp(shape * every_log)
        return float(weights @ every_log / weights.sum() - 1 / shape - logs.mean())

    shape = root(score, 1e-3, 1e3)
    n = len(x)
    scale = top * float((np.exp(shape * every_log).sum() / n) ** (1 / shape))
    likelihood = n * log(shape) - n * shape * log(scale) + (shape - 1) * float(np.log(x).sum())
    likelihood -= float(((every / scale) ** shape).sum())
    return Weibull(scale, shape, _shape_low(every, n, scale, shape), likelihood, n)


def _shape_low(every: np.ndarray, failures: int, scale: float, shape: float) -> float:
    """Lower 90 % bound of the shape by the observed information, on the log scale."""
    z = np.log(every / scale)
    power = np.exp(shape * z)
    i_ss = failures / shape**2 + float((power * z**2).sum())
    i_ll = shape**2 * failures
    i_sl = -float((power * (1 + shape * z)).sum()) + failures
    variance = i_ll / (i_ss * i_ll - i_sl**2)
    return shape * exp(-NORMAL.inv_cdf(1 - (1 - CONFIDENCE) / 2) * sqrt(variance) / shape)
