"""Forecasts on simulated ships that they were not tuned on, their dates as published, and how long they take.

DEVELOPERS.md's table comes from here. All figures are simulated: `fleet_sim` is invented and frozen.
"""

import os
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest

from scheduler.domain.base.enums import JobState
from scheduler.domain.due.forecast import Forecast, pace_of, plant_grounds, reach
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.publishing import dates_moved
from scheduler.domain.due.scoring import HORIZONS_DAYS, MEAN, PLAIN, WITH_CALENDAR, Score, score
from tests.bench.fleet_sim import SCORING_SEEDS, simulate
from tests.bench.load import SHORT
from tests.bench.trials import MEAN_WIDE, Case, Trial, calendar_of, instant, ours, outcomes, trials
from tests.calendar_cases import knife_job, posted

pytestmark = pytest.mark.bench
PLANNING_WINDOW = timedelta(days=60)
WATCHED_DAYS = 30
WINDOW = timedelta(days=14)
FROM_DAY = 1250
SHIPS = SCORING_SEEDS[::6] if SHORT else SCORING_SEEDS


def tried_on(seed: int) -> list[Trial]:
    """The trials of one ship."""
    return trials([seed])


@pytest.fixture(scope="module")
def scores() -> dict[tuple[int, str], Score]:
    """Figures of every method at every horizon on the scoring seeds, printed as DEVELOPERS.md has them."""
    with ProcessPoolExecutor(os.cpu_count()) as workers:
        tried = [t for ship in workers.map(tried_on, SHIPS) for t in ship]
    found = {
        (days, method): score(outcomes(tried, method, days))
        for days in HORIZONS_DAYS
        for method in (PLAIN, WITH_CALENDAR, MEAN, MEAN_WIDE)
    }
    print(
        f"\n| days ahead | simulated forecasts ({len(SHIPS)} ships) | between early and late | interval score | median error |"
    )
    print("|---|---|---|---|---|")
    for (days, method), s in found.items():
        print(
            f"| {days} | {method} ({s.forecasts}) | {s.covered:.0%} | {s.interval_score_days:.0f} d | {s.median_error_days:.1f} d |"
        )
    return found


@pytest.mark.parametrize("days", HORIZONS_DAYS)
@pytest.mark.parametrize("method", [PLAIN, WITH_CALENDAR])
def test_early_to_late_covers_what_it_says(scores: dict[tuple[int, str], Score], days: int, method: str) -> None:
    """At least five forecasts a ship and a horizon, and 75 to 97 % of the truths between early and late (86 % is aimed at)."""
    assert scores[days, method].forecasts >= 5 * len(SHIPS)
    assert 0.75 <= scores[days, method].covered <= 0.97


def test_better_than_the_mean_of_a_year(scores: dict[tuple[int, str], Score]) -> None:
    """At 90 days the interval score is at least a quarter better than that of the mean of the last 365 days."""
    for method in (PLAIN, WITH_CALENDAR):
        assert scores[90, method].interval_score_days <= 0.75 * scores[90, MEAN].interval_score_days
        assert scores[90, method].interval_score_days < scores[90, MEAN_WIDE].interval_score_days


def test_the_operating_calendar_is_worth_a_quarter(scores: dict[tuple[int, str], Score]) -> None:
    """At 90 days the median error with the calendar is at least a quarter lower than without."""
    assert scores[90, WITH_CALENDAR].median_error_days <= 0.75 * scores[90, PLAIN].median_error_days


def job_of(found: Forecast, left_seconds: int, at: datetime) -> DueJob:
    """A knife inspection with that forecast, its window two weeks long."""
    opens_at = found.likely_at - WINDOW
    state = JobState.PAST_DUE if left_seconds <= 0 else JobState.WINDOW_OPEN if at >= opens_at else JobState.AHEAD
    return replace(
        knife_job(state=state, ran_hours=1500 - left_seconds // 3600, as_of=at),
        due_at=found.likely_at,
        window_opens_at=opens_at,
        limit_at=found.likely_at + WINDOW,
        forecast=found,
    )


def moves_of(seed: int) -> tuple[int, int]:
    """Of one job watched for 30 days: how often the published date moved after the first, and the reckoned date changed."""
    ship = simulate(seed)
    horizon = int(np.random.default_rng(seed).integers(20, 301))
    year = np.concatenate([days[-365:] for days in ship.known(FROM_DAY).daily_seconds])
    goal = float(year.mean()) * horizon + float(ship.seconds[0, :FROM_DAY].sum())
    published, moved, changed, last_on = None, 0, 0, None
    for day in range(FROM_DAY, FROM_DAY + WATCHED_DAYS + 1):
        known = ship.known(day)
        left = round(goal - float(ship.seconds[0, : day - known.unread_days[0]].sum()))
        found = ours(Case(ship, known, 0, day, horizon, left), calendar_of(known))
        job = job_of(found, left, instant(day))
        now = posted(job, published, at=instant(day), planning_window=PLANNING_WINDOW)
        moved += dates_moved(now, 0)
        published = now.new
        changed += last_on not in (None, found.likely_at.date())
        last_on = found.likely_at.date()
    return moved, changed


def test_a_published_date_moves_at_most_twice_a_month() -> None:
    """One job of each ship, watched daily for 30 days with the calendar: moves a job, beside those of the bare forecast."""
    with ProcessPoolExecutor(os.cpu_count()) as workers:
        counts = list(workers.map(moves_of, SHIPS[::2]))
    moved, changed = (sum(c[n] for c in counts) / len(counts) for n in (0, 1))
    print(
        f"\n{len(counts)} jobs, 30 days, simulated: a published date moved {moved:.2f} times, the bare forecast {changed:.1f} times"
    )
    assert moved <= 2
    assert moved < changed / 4


def cpu_seconds(work: Callable[[], object]) -> float:
    """CPU seconds of one call."""
    begin = time.process_time()
    work()
    return time.process_time() - begin


def test_three_hundred_pumps_in_under_ten_seconds() -> None:
    """50 plants of 6 pumps with three years of days and a calendar; beside it, the year's mean of each pump in numpy."""
    rng = np.random.default_rng(7)
    known = simulate(SCORING_SEEDS[4]).known(1500)
    calendar = calendar_of(known)
    plants = [[[int(s) for s in rng.integers(0, 80_000, 1098)] for _ in range(6)] for _ in range(50)]
    at = instant(1500)

    def forecasts() -> list[object]:
        found: list[object] = []
        for pumps in plants:
            misses, operating = plant_grounds(pumps, at, calendar)
            for n, own in enumerate(pumps):
                pace = pace_of(own, pumps[:n] + pumps[n + 1 :], misses, operating=operating)
                found.append(reach(pace, 3_600_000, as_of=at, at=at))
        return found

    assert len(forecasts()) == 300
    took = cpu_seconds(forecasts)
    means = cpu_seconds(lambda: [float(np.mean(own[-365:])) for pumps in plants for own in pumps])
    ratio = took / means
    print(
        f"\n300 pumps' forecasts {took:.2f} s CPU, {ratio:.0f} times the mean of a year of each ({means * 1e3:.1f} ms)"
    )
    assert took < 10
