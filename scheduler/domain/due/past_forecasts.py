"""How the sum "hours left divided by recent hours a day" turned out on this plant before.

The sum is made anew for every third day of the past, with what was known then, and set against the days it really took.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

LOOK_BACKS_DAYS = (90, 180, 365)
MONTH_DAYS, MONTH_RUN_DAYS = 30, 120
"""A look-back tried besides for runs up to so long, where a calendar tells a lay-up from a lower rate."""
CLEARLY_BETTER = 0.8
"""A shorter look-back is taken when its miss is less than this share of the longest one's: tuned on simulated ships."""
LEAST_OF_PLANT, LEAST_OF_YEAR = 1 / 5, 1 / 3
"""A rate is never under these shares of the plant's mean over the look-back, over the last year: judgement, no source."""
RUN_DAYS = (7, 14, 30, 60, 120, 240)
"""Lengths of run at which past sums are replayed; between them the curve is a straight line."""
EARLY, LATE = 0.07, 0.93
STANDING_EARLY, STANDING_LATE = 0.02, 0.98
PRIOR_RUNS, PRIOR_SIGMA = 8.0, 0.35
"""Pseudo-runs, lognormal about 1, that stand in for the ship's own past while that is short: tuned on simulated ships."""
_STEP_DAYS = 3
_PRIOR = tuple(np.exp(PRIOR_SIGMA * np.array([NormalDist().inv_cdf((i + 0.5) / 41) for i in range(41)])))
_PROBABILITIES = (STANDING_EARLY, EARLY, LATE, STANDING_LATE)

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Days = Sequence[int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Misses:
    """How the sum turned out on this plant before, for runs of one length: quantiles of real days / reckoned days.

    quantiles: 2 %, 7 %, 93 %, 98 %, held to either side of 1, for the sum itself is the likely date: to shift it by how
    past sums turned out made it worse on simulated ships. runs: past runs they rest on, 0 for the prior alone. With an operating
    calendar the days are operating days.
    """

    run_days: int
    look_back_days: int
    runs: int
    quantiles: tuple[float, ...]


def hours_of(days: Days) -> Floats:
    """Hours a day, each held to what a day can hold (an adjustment may have booked more, or less than nothing)."""
    return np.clip(np.asarray(days, dtype=np.float64) / 3600, 0.0, 24.0)


def misses_of(pumps: Sequence[Days], worth: Floats | None = None) -> tuple[Misses, ...]:
    """For each length of run that the past has room for, the look-back that served this plant best, and how far it was out.

    Args:
        pumps: seconds a day of every pump, newest last, all ending on the same day; lengths may differ.
        worth: operating days that each of those days was worth, newest last (`operating.Operating.past`); none: 1 each.

    A run not finished yet counts as "at least so long". Look-backs of 90, 180 and 365 days are tried as far as the
    history goes, with a calendar one of 30 days too; the longest is taken unless another has a clearly smaller median
    |log ratio| over the same days.
    """
    hours = [hours_of(days) for days in pumps if len(days)]
    length = max(map(len, hours), default=0)
    shortest = 2 * RUN_DAYS[0]
    tried = [n for n in LOOK_BACKS_DAYS if length >= n + (shortest if n == LOOK_BACKS_DAYS[0] else 90)]
    if not tried:
        none = tuple(float(np.exp(PRIOR_SIGMA * NormalDist().inv_cdf(p))) for p in _PROBABILITIES)
        return (Misses(run_days=RUN_DAYS[0], look_back_days=LOOK_BACKS_DAYS[0], runs=0, quantiles=none),)
    past = _Past.of(hours, length, worth)
    mean_worth = float(past.gone[-1]) / length
    look_backs = tried if worth is None else [MONTH_DAYS, *tried]
    compared = {n: past.replay(n, tried[-1]) for n in look_backs}
    whole = {n: past.replay(n, max(n, LOOK_BACKS_DAYS[0])) for n in look_backs}
    found = []
    for place, days in enumerate(RUN_DAYS):
        fit = [n for n in whole if place < len(whole[n]) and (n in tried or days <= MONTH_RUN_DAYS)]
        if not fit:
            break
        best = fit[-1]
        if place < len(compared[best]):
            miss = {n: _median_miss(*compared[n][place]) for n in fit}
            shorter = min(fit, key=lambda n: (miss[n], n))
            best = shorter if miss[shorter] < miss[best] * CLEARLY_BETTER else best
        ratios, finished = whole[best][place]
        quantiles = product_limit(ratios, finished, _STEP_DAYS * mean_worth / days)
        found.append(Misses(run_days=days, look_back_days=best, runs=len(ratios), quantiles=quantiles))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Past:
    """Hours summed up at each midnight, one row a pump; the first day of each; operating days gone at each midnight."""

    sums: Floats
    firsts: NDArray[np.int64]
    gone: Floats

    @classmethod
    def of(cls, hours: Sequence[Floats], length: int, worth: Floats | None) -> "_Past":
        sums = np.zeros((len(hours), length + 1))
        firsts = np.array([length - len(days) for days in hours])
        for row, days, first in zip(sums, hours, firsts, strict=True):
            row[first + 1 :] = np.cumsum(days)
        each = np.ones(length) if worth is None else worth[-length:]
        return cls(sums, firsts, np.append(0.0, np.cumsum(each)))

    def replay(self, look_back: int, start: int) -> list[tuple[Floats, Bools]]:
        """For each length of run that fits after `start`: ratios of real to reckoned days, and which runs were finished."""
        sums, gone = self.sums, self.gone
        length = sums.shape[1] - 1
        days = np.arange(start, length, _STEP_DAYS)
        longest = (gone[-1] - gone[start]) / 2
        runs = np.array([k for k in RUN_DAYS if k <= longest] or RUN_DAYS[:1], dtype=np.float64)
        own, plant, known = self._means(days, look_back)
        year = self._means(days, np.minimum(days, LOOK_BACKS_DAYS[-1]))[1]
        rates = mixed(own, plant, year)
        ratios, finished = [], []
        for row, rate, use in zip(sums, rates, known & (rates > 0), strict=True):
            s = days[use]
            target = row[s] + runs[:, None] * rate[use]
            end = np.searchsorted(row, target.ravel()).reshape(target.shape)
            done = end <= length
            end = np.minimum(end, length)
            before = row[end - 1]
            part = np.where(done, (target - before) / np.maximum(row[end] - before, 1e-9), 1.0)
            took = gone[end - 1] + part * (gone[end] - gone[end - 1]) - gone[s]
            ratios.append(took / runs[:, None])
            finished.append(done)
        return list(zip(np.concatenate(ratios, axis=1), np.concatenate(finished, axis=1), strict=True))

    def _means(self, days: NDArray[np.int64], look_back: int | NDArray[np.int64]) -> tuple[Floats, Floats, Bools]:
        """Hours a day over a look-back: of each pump, of the plant; and whether the pump was there all the while."""
        own = (self.sums[:, days] - self.sums[:, days - look_back]) / (self.gone[days] - self.gone[days - look_back])
        known = self.firsts[:, None] <= days - look_back
        plant = np.where(known, own, 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
        return own, plant, known


def mixed(own: Floats | float, plant: Floats | float, year: Floats | float) -> Floats:
    """The rate: half a pump's own mean and half the plant's, not under a share of the plant's over look-back and year."""
    least = np.maximum(np.multiply(plant, LEAST_OF_PLANT), np.multiply(year, LEAST_OF_YEAR))
    return np.asarray(np.maximum(np.add(own, plant) / 2, least))


def _median_miss(ratios: Floats, finished: Bools) -> float:
    """Median |log ratio|; an unfinished run counts only once it is longer than reckoned."""
    sure = ratios[finished | (ratios > 1)]
    return float(np.median(np.abs(np.log(np.maximum(sure, 1e-3))))) if len(sure) else np.inf


def product_limit(ratios: Floats, finished: Bools, weight: float) -> tuple[float, ...]:
    """Quantiles (2, 7, 93, 98 %) of the ratios pooled with the prior; runs that overlap share one run's `weight`.

    Source: Kaplan and Meier, Nonparametric estimation from incomplete observations, JASA 53 (282), 1958 (from memory).
    """
    values = np.concatenate([ratios, _PRIOR])
    weights = np.concatenate([np.full(len(ratios), weight), np.full(len(_PRIOR), PRIOR_RUNS / len(_PRIOR))])
    ended = np.concatenate([finished, np.ones(len(_PRIOR), dtype=np.bool_)])
    values, gone = ended_by(values, ended, weights)
    places = np.minimum(np.searchsorted(gone, np.array(_PROBABILITIES) - 1e-12), len(values) - 1)
    early, late = values[places[:2]], values[places[2:]]
    return tuple(map(float, [*np.minimum(early, 1.0), *np.maximum(late, 1.0)]))


def ended_by(values: Floats, ended: Bools, weights: Floats) -> tuple[Floats, Floats]:
    """Values in order, and the share that has ended by each, where some are only known to last at least so long.

    Of equal values the ended ones come first.

    Source: Kaplan and Meier, as above.
    """
    order = np.lexsort((~ended, values))
    values, weights, ended = values[order], weights[order], ended[order]
    at_risk = weights[::-1].cumsum()[::-1]
    return values, 1 - np.cumprod(1 - np.where(ended, weights, 0.0) / at_risk)
