"""Forecasts made on simulated ships, beside plain baselines, and what came of them."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import groupby
from typing import NamedTuple

import numpy as np

from scheduler.domain.due.forecast import Forecast, forecast
from scheduler.domain.due.past_forecasts import PRIOR_SIGMA
from scheduler.domain.due.scoring import HORIZONS_DAYS, MEAN, PLAIN, WITH_CALENDAR, ForecastOutcome, mean_of_a_year
from scheduler.domain.voyage.days import Calendar, Stretch
from tests.bench.fleet_sim import Known, Ship, on, simulate

MADE_ON_DAYS = (900, 1150, 1400)
THREE_YEARS = 3 * 366
DAY = timedelta(days=1)
SPREAD = 1.476
"""Standard normal quantile of 93 %."""
MEAN_WIDE = "the same, early and late by the prior"


class Case(NamedTuple):
    """A pump of a ship on a day: what is known, and how much is left."""

    ship: Ship
    known: Known
    pump: int
    day: int
    horizon_days: int
    left_seconds: int

    @property
    def read_on_day(self) -> int:
        """The day at the start of which the counter was last read."""
        return self.day - self.known.unread_days[self.pump]


def instant(day: int) -> datetime:
    """The midnight at which a day of the simulation starts."""
    return datetime.combine(on(day), datetime.min.time(), UTC)


def calendar_of(known: Known) -> Calendar:
    """Log and plan as stretches."""
    days = [*known.log, *known.plan]
    runs = [list(run) for _, run in groupby(enumerate(days), lambda p: (p[1][0].toordinal() - p[0], p[1][1]))]
    return Calendar(
        stretches=tuple(Stretch(from_on=run[0][1][0], to_on=run[-1][1][0], kind=run[0][1][1]) for run in runs)
    )


def cases(seeds: Iterable[int]) -> Iterator[Case]:
    """Two pumps of each ship on each day, hours left for each horizon at the plant's mean of its last year."""
    for seed in seeds:
        ship = simulate(seed)
        for day in MADE_ON_DAYS:
            known = ship.known(day)
            year = np.concatenate([days[-365:] for days in known.daily_seconds])
            for pump in (0, len(ship.seconds) - 1):
                for horizon in HORIZONS_DAYS:
                    yield Case(ship, known, pump, day, horizon, round(float(year.mean()) * horizon))


def ours(case: Case, calendar: Calendar | None) -> Forecast:
    """The tool's own forecast, from what was known."""
    days = [
        [*known, *([0] * unread)][-THREE_YEARS:]
        for known, unread in zip(case.known.daily_seconds, case.known.unread_days, strict=True)
    ]
    return forecast(
        at=instant(case.day),
        hours_left_seconds=case.left_seconds,
        own_daily_seconds=days[case.pump],
        sister_daily_seconds=[row for n, row in enumerate(days) if n != case.pump],
        as_of=instant(case.read_on_day),
        calendar=calendar,
    )


@dataclass(frozen=True, slots=True)
class Trial:
    """What came of one case, by method."""

    case: Case
    outcomes: dict[str, ForecastOutcome]


def trial(case: Case) -> Trial:
    """The case forecast by each method, and its outcome."""
    actual, reached = case.ship.days_until(case.pump, case.read_on_day, case.left_seconds)
    read_at = instant(case.read_on_day)

    def outcome(early: float, likely: float, late: float) -> ForecastOutcome:
        return ForecastOutcome(
            early_days=early, likely_days=likely, late_days=late, actual_days=actual, reached=reached
        )

    found = {}
    for name, calendar in ((PLAIN, None), (WITH_CALENDAR, calendar_of(case.known))):
        f = ours(case, calendar)
        found[name] = outcome(*((at - read_at) / DAY for at in (f.early_at, f.likely_at, f.late_at)))
    early, likely, late = mean_of_a_year(case.known.daily_seconds[case.pump], case.left_seconds / 3600)
    found[MEAN] = outcome(early, likely, late)
    wide = float(np.exp(SPREAD * PRIOR_SIGMA))
    found[MEAN_WIDE] = outcome(likely / wide, likely, likely * wide)
    return Trial(case, found)


def trials(seeds: Iterable[int]) -> list[Trial]:
    """Every case of these ships."""
    return [trial(case) for case in cases(seeds)]


def outcomes(tried: Sequence[Trial], method: str, horizon_days: int) -> list[ForecastOutcome]:
    """Those of one method and horizon."""
    return [t.outcomes[method] for t in tried if t.case.horizon_days == horizon_days]
