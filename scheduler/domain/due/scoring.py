"""How good forecasts were: how often the truth lay between early and late, how wide that was, how far the likely date was out.

The same figures score the tool on simulated ships and on a real ship's own past.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from statistics import NormalDist, mean, median

import numpy as np

from scheduler.domain.due.forecast import LEAST_H_PER_DAY, Forecast, pace_of, plant_grounds, reach
from scheduler.domain.due.past_forecasts import EARLY, LATE, Days, hours_of
from scheduler.domain.voyage.days import Calendar, Floats

HORIZONS_DAYS = (30, 90, 365)
LEAST_PAST_DAYS = 104
"""History a forecast is asked to have before it is scored: the shortest look-back and two weeks."""
PLAIN, WITH_CALENDAR, MEAN = "own past runs", "with the operating calendar", "mean of the last 365 days"
ALPHA = 1 - (LATE - EARLY)
"""Share of truths that should lie outside early..late: 0.14 for 7 to 93 %."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastOutcome:
    """One forecast and what came of it, all in days from the same instant.

    reached: false when the hours had not run by the end of what is known; then `actual_days` is that end.
    """

    early_days: float
    likely_days: float
    late_days: float
    actual_days: float
    reached: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """Figures of a set of forecasts.

    covered: share with the truth in early..late. interval_score_days: mean, smaller is better. median_error_days: of
    |likely - actual|. sooner, later: share of truths before early, after late.
    """

    forecasts: int
    covered: float
    interval_score_days: float
    median_error_days: float
    sooner: float
    later: float


def interval_score(early: float, late: float, actual: float, alpha: float = ALPHA) -> float:
    """Width of the interval, and 2 / alpha times how far the truth lies outside it. Smaller is better.

    Source: Gneiting and Raftery, Strictly proper scoring rules, prediction, and estimation, JASA 102 (477), 2007, eq. 43.

    >>> interval_score(80.0, 120.0, 100.0), round(interval_score(80.0, 120.0, 127.0), 6)
    (40.0, 140.0)
    """
    return late - early + 2 / alpha * max(early - actual, actual - late, 0.0)


def score(outcomes: Sequence[ForecastOutcome]) -> Score:
    """The figures of these forecasts.

    Raises:
        ValueError: there are none.
    """
    if not outcomes:
        raise ValueError("there is no forecast to score")
    n = len(outcomes)
    sooner = sum(o.actual_days < o.early_days for o in outcomes)
    later = sum(o.actual_days > o.late_days for o in outcomes)
    return Score(
        forecasts=n,
        covered=(n - sooner - later) / n,
        interval_score_days=mean(interval_score(o.early_days, o.late_days, o.actual_days) for o in outcomes),
        median_error_days=median(abs(o.likely_days - o.actual_days) for o in outcomes),
        sooner=sooner / n,
        later=later / n,
    )


def mean_of_a_year(own: Days, hours_left: float) -> tuple[float, float, float]:
    """The plain sum to compare with: days by the pump's mean of its last 365 days, with the 7 and 93 % of its spread.

    The spread is that of its days, taken as independent of each other, as a table of running hours gives it.
    """
    year = hours_of(own[-365:])
    rate = max(float(year.mean()) if len(year) else 0.0, LEAST_H_PER_DAY)
    days = hours_left / rate
    spread = NormalDist().inv_cdf(LATE) * float(year.std() if len(year) else 0.0) * days**0.5 / rate
    return days - spread, days, days + spread


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnPast:
    """Forecasts made at past days of a plant, by method, and what came of them; needs_days: history that is called for."""

    horizon_days: int
    needs_days: int
    outcomes: Mapping[str, Sequence[ForecastOutcome]]


def from_own_past(
    pumps: Sequence[Days], last_on: date, calendar: Calendar | None = None, horizons_days: Sequence[int] = HORIZONS_DAYS
) -> tuple[OwnPast, ...]:
    """For each horizon, forecasts as they would have been made every 15th day, against when the hours really had run.

    Args:
        pumps: seconds a day of every pump up to `last_on`, newest last; lengths may differ.
        calendar: as logged. What was planned in the past is not kept, so this tells what a plan that was kept is worth.

    Each forecast is for the hours that a pump runs in that many days at the plant's mean of the year before. Only those
    made at least twice the horizon ago count; hours that have not run even so are taken as run at the end.
    """
    length = max(map(len, pumps), default=0)
    methods: dict[str, Calendar | None] = {PLAIN: None} | ({WITH_CALENDAR: calendar} if calendar else {})
    found: dict[int, dict[str, list[ForecastOutcome]]] = {h: {m: [] for m in (*methods, MEAN)} for h in horizons_days}
    for ago in range(2 * min(horizons_days, default=length), length - LEAST_PAST_DAYS + 1, 15):
        then = [days[: max(0, len(days) - ago)] for days in pumps]
        made_at = datetime.combine(last_on - timedelta(days=ago - 1), time(), UTC)
        plant = float(np.mean([hours_of(days[-365:]).mean() for days in then if len(days)]))
        grounds = {name: plant_grounds(then, made_at, used) for name, used in methods.items()}
        for place, (days, own) in enumerate(zip(pumps, then, strict=True)):
            if len(own) < LEAST_PAST_DAYS:
                continue
            others = then[:place] + then[place + 1 :]
            paces = {name: pace_of(own, others, misses, operating=op) for name, (misses, op) in grounds.items()}
            ran = np.cumsum(hours_of(days[len(own) :]))
            for horizon in (h for h in horizons_days if ago >= 2 * h):
                left = max(plant, LEAST_H_PER_DAY) * horizon
                actual, reached = _took(ran, left)
                for name, pace in paces.items():
                    f = reach(pace, round(left * 3600), as_of=made_at, at=made_at)
                    found[horizon][name].append(_outcome(f, made_at, actual, reached))
                early, likely, late = mean_of_a_year(own, left)
                found[horizon][MEAN].append(
                    ForecastOutcome(
                        early_days=early, likely_days=likely, late_days=late, actual_days=actual, reached=reached
                    )
                )
    return tuple(OwnPast(horizon_days=h, needs_days=2 * h + LEAST_PAST_DAYS, outcomes=found[h]) for h in horizons_days)


def _outcome(forecast: Forecast, made_at: datetime, actual: float, reached: bool) -> ForecastOutcome:
    early, likely, late = (
        (at - made_at) / timedelta(days=1) for at in (forecast.early_at, forecast.likely_at, forecast.late_at)
    )
    return ForecastOutcome(early_days=early, likely_days=likely, late_days=late, actual_days=actual, reached=reached)


def _took(ran: Floats, left: float) -> tuple[float, bool]:
    """Days until so many hours had run, and whether they had; `ran` is summed up day by day."""
    day = int(np.searchsorted(ran, left))
    if day == len(ran):
        return float(len(ran)), False
    before = float(ran[day - 1]) if day else 0.0
    return day + (left - before) / (float(ran[day]) - before), True
