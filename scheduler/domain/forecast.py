"""When a figure of running hours will be reached: early, likely and late.

In one sentence: hours left divided by this pump's recent hours a day (half its own, half the plant's mean); the early
and late dates show how much sooner or later the same sum turned out on this ship before.

Three steps, so that a plant pays for its history once: `misses_of` replays the sum over the plant's past, `pace_of`
gives a pump its rate and its curve (days until a run is done, early, likely and late), `reach` reads a date from it.
`forecast` does all three for one pump. The curves rise with the hours left, so more running hours never give a later
date; and they are frozen at the last reading, so a counter that goes quiet never lets a date slip.
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from scheduler.errors import Refused

LOOK_BACKS_DAYS = (90, 180, 365)
RUN_DAYS = (7, 14, 30, 60, 120, 240)
"""Lengths of run at which past sums are replayed; between them the curve is a straight line."""
EARLY, LATE = 0.07, 0.93
STANDING_EARLY, STANDING_LATE = 0.02, 0.98
DEFAULT_H_PER_DAY = 8.0
"""Rate while there is no history at all: judgement, no source."""
LEAST_H_PER_DAY = 0.25
"""A plant at a standstill still gets a date: judgement, no source."""
PRIOR_RUNS, PRIOR_SIGMA = 4.0, 0.25
"""Pseudo-runs, lognormal about 1, that stand in for the ship's own past while that is short: judgement, no source."""
_FULL_WEEK = 7
_RECENT_DAYS = 14
_STEP_DAYS = 3
_FAR = timedelta(days=40 * 365)
_PRIOR = tuple(np.exp(PRIOR_SIGMA * np.array([NormalDist().inv_cdf((i + 0.5) / 40) for i in range(40)])))
_PROBABILITIES = (STANDING_EARLY, EARLY, 0.5, LATE, STANDING_LATE)

Floats = NDArray[np.float64]
Days = Sequence[int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """When the hours left will have run.

    h_per_day: the rate used. look_back_days: how much of the past it rests on. runs: past runs counted (0: the prior
    alone). standing: the pump has hardly run of late, the dates are wide.
    """

    early_at: datetime
    likely_at: datetime
    late_at: datetime
    h_per_day: float
    look_back_days: int
    runs: int
    standing: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Misses:
    """How the sum turned out on this plant before: for each length of run, quantiles of real days / reckoned days.

    quantiles has one row a length of run: 2 %, 7 %, 50 %, 93 %, 98 %.
    """

    look_back_days: int
    runs: int
    run_days: tuple[int, ...]
    quantiles: tuple[tuple[float, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """A pump's rate and its curve: after `run_days` of running at the rate, so many real days will have gone."""

    h_per_day: float
    look_back_days: int
    runs: int
    standing: bool
    run_days: tuple[float, ...]
    early_days: tuple[float, ...]
    likely_days: tuple[float, ...]
    late_days: tuple[float, ...]


def date_at_rate(at: datetime, hours_left: float, h_per_day: float) -> datetime:
    """The instant at which `hours_left` will have run from `at` at a steady `h_per_day`.

    Raises:
        Refused: the rate is not above 0 and at most 24 running hours a day.
    """
    if not 0 < h_per_day <= 24:
        raise Refused(
            f"A rate of {h_per_day:g} running hours a day cannot be: above 0 and at most 24 was expected. "
            "Give the hours the pump runs in a day."
        )
    return at + timedelta(days=hours_left / h_per_day)


def forecast(
    *,
    at: datetime,
    hours_left_seconds: int,
    own_daily_seconds: Days,
    sister_daily_seconds: Sequence[Days],
    as_of: datetime | None,
) -> Forecast:
    """When the hours left will have run.

    Args:
        at: now.
        hours_left_seconds: running seconds left at the last reading; 0 or less when the point is passed.
        own_daily_seconds: seconds run on each UTC day up to yesterday (of `at`), newest last; may be empty.
        sister_daily_seconds: the same for each other pump of the plant.
        as_of: instant of the last reading, none when there is none (then `at`).

    Days from the last reading on are not believed, whatever they say. A figure already passed gives when it was
    passed, three times the same instant, never later than the last reading.
    """
    last_at = min(as_of or at, at)
    unknown = days_unknown(last_at, at)
    own = own_daily_seconds[: max(0, len(own_daily_seconds) - unknown)]
    then = [days[: max(0, len(days) - unknown)] for days in sister_daily_seconds]
    pace = pace_of(own, then, misses_of([own, *then]), sisters_now=sister_daily_seconds)
    return reach(pace, hours_left_seconds, as_of=last_at, at=at, own_daily_seconds=own)


def days_unknown(as_of: datetime, at: datetime) -> int:
    """How many of the days up to yesterday are not wholly covered by the last reading."""
    return max(0, (at.date() - as_of.date()).days)


def pace_of(own: Days, sisters: Sequence[Days], misses: Misses, *, sisters_now: Sequence[Days] | None = None) -> Pace:
    """A pump's rate: half its own mean and half the plant's over the look-back, never under a fifth of the plant's.

    Args:
        own: seconds a day of this pump, newest last, up to its last reading.
        sisters: the other pumps' over the same days.
        misses: of the same plant over the same days.
        sisters_now: the other pumps' up to yesterday; while this pump's counter is silent they can only raise the rate.

    Until there is a week of history the missing days count as the plant's mean, and the plant's as the default.
    """
    look_back = misses.look_back_days
    plant = _plant_mean([own, *sisters], look_back)
    known = _clean(own[-look_back:])
    mean = (float(known.sum()) + plant * max(0, _FULL_WEEK - len(known))) / max(_FULL_WEEK, len(known))
    if sisters_now is not None:
        plant = max(plant, _plant_mean([own, *sisters_now], look_back))
    h_per_day = max(mean / 2 + plant / 2, plant / 5, LEAST_H_PER_DAY)
    standing = len(known) >= _RECENT_DAYS and float(known[-_RECENT_DAYS:].mean()) < plant / 10
    columns = (0, 2, 4) if standing else (1, 2, 3)
    curves = (
        np.maximum.accumulate([0.0, *(k * row[c] for k, row in zip(misses.run_days, misses.quantiles, strict=True))])
        for c in columns
    )
    early, likely, late = (tuple(map(float, curve)) for curve in curves)
    return Pace(
        h_per_day=h_per_day,
        look_back_days=min(look_back, len(known)),
        runs=misses.runs,
        standing=standing,
        run_days=(0.0, *map(float, misses.run_days)),
        early_days=early,
        likely_days=likely,
        late_days=late,
    )


def reach(pace: Pace, left_seconds: int, *, as_of: datetime, at: datetime, own_daily_seconds: Days = ()) -> Forecast:
    """When `left_seconds`, left at the reading of `as_of`, will have run; see `forecast`.

    The likely date counts from the reading at the usual rate. The early date allows for the pump having run without a
    stop since then. Dates are floored to the second.
    """
    as_of = min(as_of, at)
    if left_seconds <= 0:
        early_at = likely_at = late_at = _passed_at(pace, -left_seconds, as_of, own_daily_seconds)
    else:
        left_days = left_seconds / 3600 / pace.h_per_day
        early_at = _later(as_of, _early_days(pace, left_seconds / 86400, (at - as_of) / timedelta(days=1)))
        likely_at = _later(as_of, _along(left_days, pace.run_days, pace.likely_days))
        late_at = _later(as_of, _along(left_days, pace.run_days, pace.late_days))
    return Forecast(
        early_at=early_at.replace(microsecond=0),
        likely_at=likely_at.replace(microsecond=0),
        late_at=late_at.replace(microsecond=0),
        h_per_day=pace.h_per_day,
        look_back_days=pace.look_back_days,
        runs=pace.runs,
        standing=pace.standing,
    )


def seconds_run_by(pace: Pace, as_of: datetime, then: datetime) -> int:
    """Running seconds likely to be added between the reading of `as_of` and `then`; 0 when `then` is not later."""
    real_days = max(0.0, (then - as_of) / timedelta(days=1))
    return round(_along(real_days, pace.likely_days, pace.run_days) * pace.h_per_day * 3600)


def _early_days(pace: Pace, left: float, silent: float) -> float:
    """Earliest end, in days from the last reading: run without a stop for some part of the silence, then as usual.

    The curve is a broken line, so its least value lies at a corner.
    """
    longest = min(silent, left)
    ratio = 24 / pace.h_per_day
    corners = {0.0, longest, *(min(max(left - k / ratio, 0.0), longest) for k in pace.run_days)}
    return min(e + _along((left - e) * ratio, pace.run_days, pace.early_days) for e in corners)


def _passed_at(pace: Pace, over_seconds: int, as_of: datetime, own: Days) -> datetime:
    """When a figure was passed: back from the last reading through the days as they were, then at the rate."""
    midnight = as_of.replace(hour=0, minute=0, second=0, microsecond=0)
    per_second = pace.h_per_day / 24
    over = over_seconds - (as_of - midnight).total_seconds() * per_second
    if over <= 0:
        return as_of - timedelta(seconds=over_seconds / per_second)
    for ago, seconds in enumerate(reversed(own)):
        if seconds >= over:
            return midnight - timedelta(days=ago + over / seconds)
        over -= max(seconds, 0)
    return midnight - min(timedelta(days=len(own)) + timedelta(seconds=min(over / per_second, 1e10)), _FAR)


def _later(as_of: datetime, days: float) -> datetime:
    return as_of + min(timedelta(days=min(days, 1e6)), _FAR)


def _along(x: float, xs: Sequence[float], ys: Sequence[float]) -> float:
    """y of the broken line at x >= 0; beyond the last corner on along the line from the origin through that corner."""
    i = bisect_left(xs, x)
    if i == 0:
        return ys[0]
    if i == len(xs):
        return x * ys[-1] / xs[-1]
    return ys[i - 1] + (x - xs[i - 1]) / (xs[i] - xs[i - 1]) * (ys[i] - ys[i - 1])


def _clean(days: Days) -> Floats:
    """Hours a day, each held to what a day can hold (an adjustment may have booked more, or less than nothing)."""
    return np.clip(np.asarray(days, dtype=np.float64) / 3600, 0.0, 24.0)


def _plant_mean(pumps: Sequence[Days], look_back: int) -> float:
    """Mean hours a day of the pumps that have a history; days short of a week count as the default rate."""
    known = [_clean(days[-look_back:]) for days in pumps if len(days)]
    if not known:
        return DEFAULT_H_PER_DAY
    mean = float(np.mean([days.mean() for days in known]))
    missing = max(0, _FULL_WEEK - max(map(len, known)))
    return (mean * (_FULL_WEEK - missing) + DEFAULT_H_PER_DAY * missing) / _FULL_WEEK


def misses_of(pumps: Sequence[Days]) -> Misses:
    """The look-back that served this plant best, and how far its sums were out.

    Args:
        pumps: seconds a day of every pump, newest last, all ending on the same day; lengths may differ.

    For every third day of the past the sum is made with what was known then, and the days it really took are counted;
    a run not finished yet counts as "at least so long". Look-backs of 90, 180 and 365 days are tried as far as the
    history goes; the one with the least median |log ratio| over the same days is taken.

    Source: Kaplan and Meier's product-limit estimate for the unfinished runs (from memory).
    """
    hours = [_clean(days) for days in pumps if len(days)]
    length = max(map(len, hours), default=0)
    shortest = 2 * RUN_DAYS[0]
    tried = [n for n in LOOK_BACKS_DAYS if length >= n + (shortest if n == LOOK_BACKS_DAYS[0] else 90)]
    if not tried:
        row = tuple(float(np.exp(PRIOR_SIGMA * NormalDist().inv_cdf(p))) for p in _PROBABILITIES)
        return Misses(look_back_days=LOOK_BACKS_DAYS[0], runs=0, run_days=RUN_DAYS[:1], quantiles=(row,))
    sums = np.zeros((len(hours), length + 1))
    firsts = np.array([length - len(days) for days in hours])
    for row_sums, days, first in zip(sums, hours, firsts, strict=True):
        row_sums[first + 1 :] = np.cumsum(days)
    best = min(tried, key=lambda n: (_median_miss(_replay(sums, firsts, n, tried[-1], tried[-1])), n))
    replayed = _replay(sums, firsts, best, best, best)
    return Misses(
        look_back_days=best,
        runs=sum(len(ratios) for ratios, _ in replayed),
        run_days=RUN_DAYS[: len(replayed)],
        quantiles=tuple(_quantiles(r, f, _STEP_DAYS / days) for days, (r, f) in zip(RUN_DAYS, replayed, strict=False)),
    )


def _replay(
    sums: Floats, firsts: NDArray[np.int64], look_back: int, start: int, longest_after: int
) -> list[tuple[Floats, NDArray[np.bool_]]]:
    """For each length of run that fits: ratios of real to reckoned days, and whether each run was finished."""
    length = sums.shape[1] - 1
    days = np.arange(start, length, _STEP_DAYS)
    runs = np.array([k for k in RUN_DAYS if k <= (length - longest_after) / 2] or RUN_DAYS[:1], dtype=np.float64)
    own = (sums[:, days] - sums[:, days - look_back]) / look_back
    known = firsts[:, None] <= days - look_back
    plant = np.where(known, own, 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
    rates = np.maximum(own / 2 + plant / 2, plant / 5)
    ratios, finished = [], []
    for row, rate, use in zip(sums, rates, known & (rates > 0), strict=True):
        s = days[use]
        target = row[s] + runs[:, None] * rate[use]
        end = np.searchsorted(row, target.ravel()).reshape(target.shape)
        done = end <= length
        end = np.minimum(end, length)
        before = row[end - 1]
        part = np.where(done, (target - before) / np.maximum(row[end] - before, 1e-9), 1.0)
        ratios.append((end - 1 + part - s) / runs[:, None])
        finished.append(done)
    return list(zip(np.concatenate(ratios, axis=1), np.concatenate(finished, axis=1), strict=True))


def _median_miss(replayed: list[tuple[Floats, NDArray[np.bool_]]]) -> float:
    """Median |log ratio|; an unfinished run counts only once it is longer than reckoned."""
    ratios = np.concatenate([r[f | (r > 1)] for r, f in replayed])
    return float(np.median(np.abs(np.log(np.maximum(ratios, 1e-3))))) if len(ratios) else np.inf


def _quantiles(ratios: Floats, finished: NDArray[np.bool_], weight: float) -> tuple[float, ...]:
    """Product-limit quantiles of the ratios pooled with the prior; runs that overlap share one run's `weight`."""
    values = np.concatenate([ratios, _PRIOR])
    weights = np.concatenate([np.full(len(ratios), weight), np.full(len(_PRIOR), PRIOR_RUNS / len(_PRIOR))])
    ended = np.concatenate([finished, np.ones(len(_PRIOR), dtype=np.bool_)])
    order = np.lexsort((~ended, values))
    values, weights, ended = values[order], weights[order], ended[order]
    at_risk = weights[::-1].cumsum()[::-1]
    gone = 1 - np.cumprod(1 - np.where(ended, weights, 0.0) / at_risk)
    places = np.minimum(np.searchsorted(gone, np.array(_PROBABILITIES) - 1e-12), len(values) - 1)
    return tuple(map(float, values[places]))
