"""What is usual for a plant on each kind of day and each weekday, by medians, so that odd days and past leaks hardly count.

Values are natural logarithms of the air handled a day: swept capacity times running hours. That a vacuum pump handles its
swept capacity times the time it runs is common practice, no source.
"""

from collections.abc import Callable

import bottleneck as bn
import numpy as np
from numpy.typing import NDArray

from scheduler.domain.voyage.days import Floats

Ints = NDArray[np.int64]

FIT_DAYS = 365
"""Days back that a fit rests on."""
LEAST_OF_KIND = 6
"""A kind of day with fewer days in a fit has no usual."""
LEAST_FOR_WEEKDAYS = 120
"""From so many usable days on weekdays have an effect of their own."""
WEEKDAY_TRUST = 8
"""A weekday's effect counts n / (n + 8) of what its n days say."""
LEVEL_DAYS = 61
"""Window of the running median that takes season and slow change out of the effects."""
ROUNDS = 3
WEEK = 7


def day_effects(values: Floats, kinds: Ints, first_day: int, ends: Ints) -> tuple[Floats, Floats]:
    """Effects of each kind of day and each weekday, fitted on the last 365 days before each end.

    Args:
        values: a day, oldest first; NaN where it cannot be used. kinds: code of each day's kind, from 0.
        first_day: epoch day of the first of them. ends: indices; a fit uses the days before its end.

    Returns:
        (fits, kinds), NaN where a kind has under 6 days, and (fits, 7) by epoch day % 7.
    """
    padded = np.concatenate([np.full(FIT_DAYS, np.nan), values])
    padded_kinds = np.concatenate([np.full(FIT_DAYS, -1, dtype=np.int64), kinds])
    rows = np.asarray(ends)[:, None] + np.arange(FIT_DAYS)
    codes = int(kinds.max(initial=0)) + 1
    enough = (~np.isnan(padded[rows])).sum(axis=1) >= LEAST_FOR_WEEKDAYS
    return polish(
        padded[rows],
        padded_kinds[rows],
        (rows[:, 0] - FIT_DAYS + first_day) % WEEK,
        codes,
        level=running_level,
        least=LEAST_OF_KIND,
        trust=WEEKDAY_TRUST,
        weekdays=enough,
    )


def polish(
    values: Floats,
    kinds: Ints,
    first_weekday: Ints,
    codes: int,
    *,
    level: Callable[[Floats], Floats],
    least: int,
    trust: float,
    weekdays: NDArray[np.bool_],
) -> tuple[Floats, Floats]:
    """Effects of kinds and weekdays by rounds of medians, for several rows of days at once.

    Args:
        values: (rows, days), NaN where unknown. first_weekday: of each row's first day, 0 to 6.
        level: what is neither, from (rows, days) to the same shape.
        least: days that a kind needs. trust: n / (n + trust) of a weekday's median counts. weekdays: rows that fit them.

    Source: J. W. Tukey, Exploratory Data Analysis (1977), chapter 11, median polish, with a running median as its level.
    """
    rows, days = values.shape
    known = ~np.isnan(values)
    masks = [known & (kinds == code) for code in range(codes)]
    of_kind = np.full((rows, codes + 1), np.nan)  # the last is of days of no kind
    of_place = np.zeros((rows, WEEK))  # a weekday's effect, by its place in the weeks that begin on the row's first day
    for code, mask in enumerate(masks):
        enough = mask.sum(axis=1) >= least
        of_kind[enough, code] = _median(values[enough], mask[enough])
    kind_at = np.arange(rows)[:, None] * (codes + 1) + np.where(kinds < 0, codes, kinds)
    counts = (~np.isnan(_weeks(values))).sum(axis=1)
    shrunk = counts / np.maximum(counts + trust, 1e-9) * weekdays[:, None]
    by_weekday = weekdays.any()
    for _ in range(ROUNDS):
        kind_part = of_kind.ravel().take(kind_at)
        rest = values - kind_part
        if by_weekday:
            weekday_part = np.tile(of_place, -(-days // WEEK))[:, :days]
            less = rest - weekday_part
            rest -= level(less)
            rest -= weekday_part
        else:
            rest -= level(rest)
        for code, mask in enumerate(masks):
            step = _median(rest, mask)
            of_kind[:, code] += np.where(np.isnan(step), 0.0, step)
        if by_weekday:
            rest += weekday_part + kind_part - of_kind.ravel().take(kind_at)
            found = bn.nanmedian(_weeks(rest), axis=1)
            of_place = np.where(np.isnan(found), 0.0, found) * shrunk
    order = (np.arange(WEEK) - first_weekday[:, None]) % WEEK
    return of_kind[:, :codes], np.take_along_axis(of_place, order, axis=1)


def running_level(values: Floats) -> Floats:
    """Median of the 61 days around each day of each row, of those known."""
    half = LEVEL_DAYS // 2
    ahead = np.concatenate([values, np.full((len(values), half), np.nan)], axis=1)
    found: Floats = bn.move_median(ahead, LEVEL_DAYS, min_count=1, axis=1)
    return found[:, half:]


def _weeks(values: Floats) -> Floats:
    """(rows, weeks, 7): each row cut into weeks from its first day on, NaN after its end."""
    rows, days = values.shape
    over = np.full((rows, -days % WEEK), np.nan)
    return np.concatenate([values, over], axis=1).reshape(rows, -1, WEEK)


def _median(values: Floats, mask: NDArray[np.bool_]) -> Floats:
    if not len(values):
        return np.zeros(0)
    found: Floats = bn.nanmedian(np.where(mask, values, np.nan), axis=1)
    return found
