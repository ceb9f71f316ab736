"""The air a plant's pumps handled each day, from their running hours: swept capacity times running time.

That a vacuum pump handles its swept capacity times the time it runs is common practice, no source. Capacities are rated
ones, never those put right by tests, so that a test cannot look like a leak.
"""

from dataclasses import dataclass, replace

import bottleneck as bn
import numpy as np
from numpy.typing import NDArray

from scheduler.domain.voyage.days import Floats

MOST_INTERPOLATED = 0.4
"""A day counts while pumps with hours laid over a gap carry less than this of the day's hours."""
LONG_GAP_DAYS = 14
LONG_GAP_SHARE = 0.1
"""A pump that carries more than this takes the days of a gap of over 14 days out."""
LEAST_SISTER_S = 0.2 * 3600
"""A sister that ran no more than this on a day is no measure."""
DIGITS = 5
"""Decimals of a logarithm that are stored; what is folded is what is stored, so that both give the same."""


@dataclass(frozen=True, slots=True, eq=False)
class PlantDays:
    """Days of a plant, a row a position and a column a day. All arrays are (positions, days).

    seconds: NaN where not known. swept_m3_per_h: rated, of the pump that stood there; NaN for none. out: out of service
    for the whole day.
    """

    first_day: int
    seconds: Floats
    interpolated: NDArray[np.bool_]
    swept_m3_per_h: Floats
    out: NDArray[np.bool_]

    def since(self, day: int) -> "PlantDays":
        """The days from an epoch day on."""
        n = max(0, day - self.first_day)
        return replace(
            self,
            first_day=self.first_day + n,
            seconds=self.seconds[:, n:],
            interpolated=self.interpolated[:, n:],
            swept_m3_per_h=self.swept_m3_per_h[:, n:],
            out=self.out[:, n:],
        )


def plant_values(days: PlantDays) -> Floats:
    """Logarithm of the swept m³ of each day; NaN on days that do not count and on those without any."""
    ran = known_seconds(days)
    total = ran.sum(axis=0)
    share = ran / np.maximum(total, 1.0)
    laid = np.where(days.interpolated, share, 0.0).sum(axis=0)
    long_gap = (_run_lengths(days.interpolated) > LONG_GAP_DAYS) & (share > LONG_GAP_SHARE)
    air = (ran / 3600 * np.where(ran > 0, days.swept_m3_per_h, 0.0)).sum(axis=0)
    fine = ~np.isnan(total) & (air > 0) & (laid < MOST_INTERPOLATED) & ~long_gap.any(axis=0)
    found: Floats = np.where(fine, np.round(np.log(np.where(fine, air, 1.0)), DIGITS), np.nan)
    return found


def pump_values(days: PlantDays) -> Floats:
    """(positions, days): logarithm of each pump's air less the median of its sisters'; NaN where that says nothing.

    Only days without hours laid over a gap count, and sisters in service that ran more than 0.2 h.
    """
    ran = known_seconds(days)
    fine = (ran > LEAST_SISTER_S) & ~days.out & ~days.interpolated.any(axis=0) & (days.swept_m3_per_h > 0)
    air = np.log(np.where(fine, ran / 3600 * days.swept_m3_per_h, 1.0))
    air[~fine] = np.nan
    found = np.full_like(air, np.nan)
    for position in range(len(air)):
        sisters = np.delete(air, position, axis=0)
        if len(sisters):
            found[position] = air[position] - bn.nanmedian(sisters, axis=0)
    rounded: Floats = np.asarray(np.round(found, DIGITS), dtype=np.float64)
    return rounded


def half_out(days: PlantDays) -> frozenset[int]:
    """Epoch days on which more than half the pumps were out of service."""
    over = days.out.sum(axis=0) * 2 > len(days.out)
    return frozenset((days.first_day + np.flatnonzero(over)).tolist())


def known_seconds(days: PlantDays) -> Floats:
    """Seconds run by each position on each day; a position out of service whose hours nobody knows ran nothing."""
    found: Floats = np.where(np.isnan(days.seconds) & days.out, 0.0, days.seconds)
    return found


def _run_lengths(marked: NDArray[np.bool_]) -> NDArray[np.int64]:
    """For each marked day of each row, how many marked days stand together."""
    found = np.zeros(marked.shape, dtype=np.int64)
    for row, marks in enumerate(marked):
        edges = np.flatnonzero(np.diff(np.concatenate([[False], marks, [False]]).astype(np.int8)))
        for start, end in edges.reshape(-1, 2):
            found[row, start:end] = end - start
    return found
