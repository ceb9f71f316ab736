"""When a figure of running hours will be reached: early, likely and late.

In one sentence: hours left divided by this pump's recent hours a day (half its own, half the plant's mean); the early
and late dates show how much sooner or later the same sum turned out on this ship before. The likely date is the sum
itself.

Three steps, so that a plant pays for its history once: `misses_of` replays the sum over the plant's past, `pace_of`
gives a pump its rate and its curve (days until a run is done, early, likely and late), `reach` reads a date from it.
`forecast` does all three for one pump. The curves rise with the hours left, so more running hours never give a later
date; and they are frozen at the last reading, so a counter that goes quiet never lets a date slip.

With an operating calendar all of it is done in operating days (a port day is worth less than a sea day), and only the
last step turns them into dates, by the plan.
"""

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from scheduler.domain.due.past_forecasts import Days, Misses, hours_of, misses_of, mixed
from scheduler.domain.voyage.days import Axis, Calendar, Floats, Operating

DEFAULT_H_PER_DAY = 8.0
"""Rate while there is no history at all: judgement, no source."""
LEAST_H_PER_DAY = 0.25
"""A plant at a standstill still gets a date: judgement, no source."""
_FULL_WEEK = 7
_RECENT_DAYS = 14
_YEAR = 365
_FAR = timedelta(days=40 * 365)


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """When the hours left will have run.

    h_per_day: the rate used; with the operating calendar, that of a day in the usual mix. look_back_days: how much of
    the past it rests on. runs: past runs counted (0: the prior alone). standing: the pump has hardly run of late, the
    dates are wide. h_per_sea_day: the rate of a sea day; none when no operating calendar was used.
    """

    early_at: datetime
    likely_at: datetime
    late_at: datetime
    h_per_day: float
    look_back_days: int
    runs: int
    idle: bool = False
    h_per_sea_day: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """Hours a day over a look-back, and the past runs that it was tried on."""

    h_per_day: float
    look_back_days: int
    runs: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """A pump's curve: after so many running hours so many days will have gone; and the rate each corner rests on.

    With an axis all these days, and the rates', are operating days.
    """

    idle: bool
    run_hours: tuple[float, ...]
    early_days: tuple[float, ...]
    likely_days: tuple[float, ...]
    late_days: tuple[float, ...]
    rates: tuple[Rate, ...]
    axis: Axis | None = None

    def rate(self, hours_left: float) -> Rate:
        """The one that runs of about so many hours rest on."""
        corners = zip(self.run_hours[1:], self.rates, strict=True)
        return min(corners, key=lambda corner: abs(math.log(max(hours_left, 1.0) / corner[0])))[1]

    def usual(self, h_per_day: float) -> float:
        """A rate of this curve as hours a day in the usual mix of days."""
        return h_per_day * (self.axis.usual if self.axis else 1.0)


def forecast(
    *,
    at: datetime,
    hours_left_seconds: int,
    own_daily_seconds: Days,
    sister_daily_seconds: Sequence[Days],
    as_of: datetime | None,
    calendar: Calendar | None = None,
) -> Forecast:
    """When the hours left will have run.

    Args:
        at: now.
        hours_left_seconds: running seconds left at the last reading; 0 or less when the point is passed.
        own_daily_seconds: seconds run on each UTC day up to yesterday (of `at`), newest last; may be empty.
        sister_daily_seconds: the same for each other pump of the plant.
        as_of: instant of the last reading, none when there is none (then `at`).
        calendar: the ship's days as logged and planned, none when nobody keeps it.

    Days from the last reading on are not believed, whatever they say. A figure already passed gives when it was
    passed, three times the same instant, never later than the last reading.
    """
    last_at = min(as_of or at, at)
    unknown = days_unknown(last_at, at)
    own = own_daily_seconds[: max(0, len(own_daily_seconds) - unknown)]
    then = [days[: max(0, len(days) - unknown)] for days in sister_daily_seconds]
    misses, operating = plant_grounds([own, *then], last_at, calendar)
    pace = pace_of(own, then, misses, sisters_now=sister_daily_seconds, operating=operating)
    return reach(pace, hours_left_seconds, as_of=last_at, at=at, own_daily_seconds=own)


def days_unknown(as_of: datetime, at: datetime) -> int:
    """How many of the days up to yesterday are not wholly covered by the last reading."""
    return max(0, (at.date() - as_of.date()).days)


def plant_grounds(
    pumps: Sequence[Days], as_of: datetime, calendar: Calendar | None
) -> tuple[Sequence[Misses], Operating | None]:
    """What the forecasts of a plant's pumps rest on together: its past sums, and its calendar where that is of use.

    Args:
        pumps: seconds a day of every pump up to the day before `as_of`, newest last.
    """
    operating = Operating.of(calendar, pumps, as_of.date() - timedelta(days=1))
    return misses_of(pumps, operating.past if operating else None), operating


def pace_of(
    own: Days,
    sisters: Sequence[Days],
    misses: Sequence[Misses],
    *,
    sisters_now: Sequence[Days] | None = None,
    operating: Operating | None = None,
) -> Pace:
    """A pump's rate: half its own mean and half the plant's over the look-back, never under a fifth of the plant's.

    Args:
        own: seconds a day of this pump, newest last, up to its last reading.
        sisters: the other pumps' over the same days.
        misses: of the same plant over the same days.
        sisters_now: the other pumps' up to yesterday; while this pump's counter is silent they can only raise the rate.
        operating: the calendar of the same plant over the same days.

    Until there is a week of history the missing days count as the plant's mean, and the plant's as the default.
    """
    worth = operating.past if operating else np.ones(max(map(len, [own, *sisters])))
    now, now_worth = (
        (sisters, worth) if sisters_now is None else (sisters_now, _worth_now(worth, sisters_now, operating))
    )
    rates = {}
    year = _plant_mean([own, *sisters], _YEAR, worth)
    for look_back in {row.look_back_days for row in misses}:
        plant = _plant_mean([own, *sisters], look_back, worth)
        known = hours_of(own[-look_back:])
        missing = max(0, _FULL_WEEK - len(known))
        mean = (float(known.sum()) + plant * missing) / (_worth(worth, len(known)) + missing)
        raised = max(plant, _plant_mean([own, *now], look_back, now_worth))
        frozen, present = (max(float(mixed(mean, p, year)), LEAST_H_PER_DAY) for p in (plant, raised))
        rates[look_back] = frozen, present, raised
    steady = rates[misses[-1].look_back_days]
    recent = hours_of(own[-_RECENT_DAYS:])
    ran = float(recent.sum()) / max(_worth(worth, len(recent)), 1e-9)
    idle = len(recent) >= _RECENT_DAYS and ran < steady[2] / 10
    # The corners stand where the rate without the sisters' silence puts them, so that those can only bring dates forward.
    run_hours = [row.run_days * steady[0] for row in misses]
    reckoned = [hours / rates[row.look_back_days][1] for hours, row in zip(run_hours, misses, strict=True)]
    first, last = (0, 3) if idle else (1, 2)
    early, likely, late = (
        tuple(map(float, np.maximum.accumulate([0.0, *(k * ratio for k, ratio in zip(reckoned, ratios, strict=True))])))
        for ratios in ([m.quantiles[first] for m in misses], [1.0] * len(misses), [m.quantiles[last] for m in misses])
    )
    return Pace(
        idle=idle,
        run_hours=(0.0, *run_hours),
        early_days=early,
        likely_days=likely,
        late_days=late,
        rates=tuple(
            Rate(
                h_per_day=rates[row.look_back_days][1],
                look_back_days=min(row.look_back_days, len(own)),
                runs=row.runs,
            )
            for row in misses
        ),
        axis=operating.axis if operating else None,
    )


def _worth_now(worth: Floats, pumps: Sequence[Days], operating: Operating | None) -> Floats:
    later = max(0, max(map(len, pumps), default=0) - len(worth))
    return operating.up_to(later) if operating else np.ones(len(worth) + later)


def reach(
    pace: Pace,
    left_seconds: int,
    *,
    as_of: datetime,
    at: datetime,
    own_daily_seconds: Days = (),
    unseen_seconds: int = 0,
) -> Forecast:
    """When `left_seconds`, left at the reading of `as_of`, will have run; see `forecast`.

    The likely date counts from the reading at the usual rate. The early date allows for the pump having run without a
    stop since then, and for `unseen_seconds` that it may have run before without a counter telling. Dates are floored to the second.
    """
    as_of = min(as_of, at)
    likely_at = reached_at(pace, left_seconds, as_of=as_of, own_daily_seconds=own_daily_seconds)
    if left_seconds <= 0:
        early_at = late_at = likely_at
    else:
        left = left_seconds / 3600
        early_at = _later(pace, as_of, _early_days(pace, max(0.0, left - unseen_seconds / 3600), as_of, at))
        late_at = _later(pace, as_of, _along(left, pace.run_hours, pace.late_days))
    rate = pace.rate(left_seconds / 3600)
    return Forecast(
        early_at=early_at.replace(microsecond=0),
        likely_at=likely_at,
        late_at=late_at.replace(microsecond=0),
        h_per_day=pace.usual(rate.h_per_day),
        look_back_days=rate.look_back_days,
        runs=rate.runs,
        idle=pace.idle,
        h_per_sea_day=rate.h_per_day if pace.axis else None,
    )


def reached_at(pace: Pace, left_seconds: int, *, as_of: datetime, own_daily_seconds: Days = ()) -> datetime:
    """The likely date of `reach` alone. as_of: not later than now."""
    if left_seconds <= 0:
        likely_at = _passed_at(pace, -left_seconds, as_of, own_daily_seconds)
    else:
        likely_at = _later(pace, as_of, _along(left_seconds / 3600, pace.run_hours, pace.likely_days))
    return likely_at.replace(microsecond=0)


def seconds_run_by(pace: Pace, as_of: datetime, then: datetime) -> int:
    """Running seconds likely to be added between the reading of `as_of` and `then`; 0 when `then` is not later."""
    if then <= as_of:
        return 0
    real_days = pace.axis.at(then) - pace.axis.at(as_of) if pace.axis else (then - as_of) / timedelta(days=1)
    return round(_along(real_days, pace.likely_days, pace.run_hours) * 3600)


def _early_days(pace: Pace, left: float, as_of: datetime, at: datetime) -> float:
    """Earliest end, in days of the curve from the last reading: run without a stop for some part of the silence, then as usual.

    The curve is a broken line, so its least value lies at a corner.
    """
    longest = min((at - as_of) / timedelta(days=1), left / 24)
    corners = {0.0, longest, *(min(max((left - hours) / 24, 0.0), longest) for hours in pace.run_hours)}
    if pace.axis:
        corners.update(pace.axis.corners(as_of, longest))
    axis, begun = pace.axis, pace.axis.at(as_of) if pace.axis else 0.0

    def gone(days: float) -> float:  # days of the curve's own kind in so many calendar days
        return axis.at(as_of + timedelta(days=days)) - begun if axis else days

    return min(gone(e) + _along(left - e * 24, pace.run_hours, pace.early_days) for e in corners)


def _passed_at(pace: Pace, over_seconds: int, as_of: datetime, own: Days) -> datetime:
    """When a figure was passed: back from the last reading through the days as they were, then at the rate."""
    midnight = as_of.replace(hour=0, minute=0, second=0, microsecond=0)
    per_second = pace.usual(pace.rates[-1].h_per_day) / 24
    over = over_seconds - (as_of - midnight).total_seconds() * per_second
    if over <= 0:
        return as_of - timedelta(seconds=over_seconds / per_second)
    for ago, seconds in enumerate(reversed(own)):
        if seconds >= over:
            return midnight - timedelta(days=ago + over / seconds)
        over -= max(seconds, 0)
    return midnight - min(timedelta(days=len(own)) + timedelta(seconds=min(over / per_second, 1e10)), _FAR)


def _later(pace: Pace, as_of: datetime, days: float) -> datetime:
    """The instant after so many days of the curve's own kind from the last reading."""
    days = min(days, 1e6)
    return as_of + min(timedelta(days=pace.axis.days_from(as_of, days) if pace.axis else days), _FAR)


def _along(x: float, xs: Sequence[float], ys: Sequence[float]) -> float:
    """y of the broken line at x >= 0; beyond the last corner on along the line from the origin through that corner."""
    i = bisect_left(xs, x)
    if i == 0:
        return ys[0]
    if i == len(xs):
        return x * ys[-1] / xs[-1]
    return ys[i - 1] + (x - xs[i - 1]) / (xs[i] - xs[i - 1]) * (ys[i] - ys[i - 1])


def _worth(worth: Floats, days: int) -> float:
    """Operating days that the last `days` days were worth."""
    return float(worth[len(worth) - days :].sum())


def _plant_mean(pumps: Sequence[Days], look_back: int, worth: Floats) -> float:
    """Mean hours a day of the pumps that have a history; days short of a week count as the default rate."""
    known = [hours_of(days[-look_back:]) for days in pumps if len(days)]
    if not known:
        return DEFAULT_H_PER_DAY
    mean = float(np.mean([float(days.sum()) / _worth(worth, len(days)) for days in known]))
    missing = max(0, _FULL_WEEK - max(map(len, known)))
    return (mean * (_FULL_WEEK - missing) + DEFAULT_H_PER_DAY * missing) / _FULL_WEEK
