"""How far the last ten days lie from the 56 usable days before them, each day under the fit of its week."""

import math

import bottleneck as bn
import numpy as np
from numpy.typing import NDArray

from scheduler.domain.hours.usual import WEEK, Ints, day_effects
from scheduler.domain.voyage.days import Floats

NOW_DAYS, LEAST_NOW = 10, 6
BEFORE_DAYS, LEAST_BEFORE, WITHIN_DAYS = 56, 20, 240
MOST_STEP = 2 * math.log(1.25)
"""Each day counts as no further than this from what was usual: one odd day is no sign."""


class DayResiduals:
    """Residuals of a plant's or pump's days; those of a plant under the fit of the week that each new day is in."""

    def __init__(self, first_day: int, values: Floats, kinds: Ints, done: int, by_kind: bool) -> None:
        """done: days folded in before; the others are new. by_kind: less the effects of kind and weekday."""
        self.first_day, self.values, self.kinds = first_day, values, kinds
        self._by_kind = by_kind
        self._cached: tuple[int, Floats] = (-1, values)
        self._new = new = np.arange(done, len(values))
        if not by_kind or not len(new):
            return
        starts = np.maximum(0, new - (first_day + new) % WEEK)
        ends, self._fit_of = np.unique(starts, return_inverse=True)
        self._week_start = dict(zip(new.tolist(), starts.tolist(), strict=True))
        self._kind_effects, self._weekday_effects = day_effects(values, kinds, first_day, ends)
        self._ends = {end: n for n, end in enumerate(ends.tolist())}

    def residuals(self, n: int) -> Floats:
        """Of all days up to index n, under the fit of the week of n."""
        if not self._by_kind:
            return self.values[: n + 1]
        end = self._week_start[n]
        if self._cached[0] != end:
            fit = self._ends[end]
            until = min(len(self.values), end + WEEK)
            weekday = (self.first_day + np.arange(until)) % WEEK
            effects = self._kind_effects[fit][self.kinds[:until]] + self._weekday_effects[fit][weekday]
            self._cached = end, self.values[:until] - effects
        return self._cached[1][: n + 1]

    def new_rises(self) -> Floats:
        """Now less before of each new day, signs left aside; NaN where it cannot be reckoned."""
        found = np.full(len(self._new), np.nan)
        if not len(found):
            return found
        if not self._by_kind:
            return self._rises(self._new, ~np.isnan(self.values))
        known = ~np.isnan(self._kind_effects)
        for pattern in np.unique(known, axis=0):
            fits = (known == pattern).all(axis=1)
            mine = fits[self._fit_of]
            usable = ~np.isnan(self.values) & pattern[self.kinds]
            found[mine] = self._rises(self._new[mine], usable)
        return found

    def _rises(self, days: Ints, usable: NDArray[np.bool_]) -> Floats:
        at = np.flatnonzero(usable)
        if not len(at):
            return np.full(len(days), np.nan)
        last = np.searchsorted(at, days - NOW_DAYS, side="right")
        first = np.maximum(last - BEFORE_DAYS, np.searchsorted(at, days - WITHIN_DAYS, side="right"))
        mu = self._usual(days, at, first, last)
        now_at = days[:, None] - np.arange(NOW_DAYS)
        inside = (now_at >= 0) & usable[np.maximum(now_at, 0)]
        now = np.clip(self._under(days, np.maximum(now_at, 0)) - mu[:, None], -MOST_STEP, MOST_STEP)
        count = inside.sum(axis=1)
        rise = np.where(inside, now, 0.0).sum(axis=1) / np.maximum(count, 1)
        fine = usable[days] & (count >= LEAST_NOW) & (last - first >= LEAST_BEFORE)
        found: Floats = np.where(fine, rise, np.nan)
        return found

    def _usual(self, days: Ints, at: Ints, first: Ints, last: Ints) -> Floats:
        """The median of the usable days from `first` up to `last`, which are places in `at`, for each of `days`."""
        if not self._by_kind:  # every day under the same fit: a running median, but where the 240 days cut it short
            running = bn.move_median(np.append(np.full(BEFORE_DAYS, np.nan), self.values[at]), BEFORE_DAYS, min_count=1)
            found: Floats = running[last + BEFORE_DAYS - 1]
            cut = first > np.maximum(last - BEFORE_DAYS, 0)
            if cut.any():
                found[cut] = self._medians(days[cut], at, first[cut], last[cut])
            return found
        return self._medians(days, at, first, last)

    def _medians(self, days: Ints, at: Ints, first: Ints, last: Ints) -> Floats:
        places = last[:, None] - BEFORE_DAYS + np.arange(BEFORE_DAYS)
        before = self._under(days, at[np.clip(places, 0, len(at) - 1)])
        before[places < first[:, None]] = np.nan
        found: Floats = bn.nanmedian(before, axis=1)
        return found

    def _under(self, days: Ints, at: Ints) -> Floats:
        """Residuals of the days `at`, a row for each of `days`, under its fit."""
        if not self._by_kind:
            return self.values[at]
        fit = self._fit_of[days - self._new[0]][:, None]
        weekday = (self.first_day + at) % WEEK
        found: Floats = self.values[at] - self._kind_effects[fit, self.kinds[at]] - self._weekday_effects[fit, weekday]
        return found
