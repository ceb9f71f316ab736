"""Forecasts on two simulated ships of the tuning set: the trial itself is sound, and no method is told the truth."""

import pytest

from scheduler.domain.due.scoring import HORIZONS_DAYS, MEAN, PLAIN, WITH_CALENDAR, score
from tests.bench.fleet_sim import on
from tests.bench.trials import MADE_ON_DAYS, Trial, calendar_of, cases, outcomes, trials

SEEDS = (1000, 1004)


@pytest.fixture(scope="module")
def tried() -> list[Trial]:
    return trials(SEEDS)


@pytest.mark.long
def test_every_method_is_asked_the_same_and_meets_the_same_truth(tried: list[Trial]) -> None:
    """Two pumps on each day and horizon; one outcome, whatever was forecast; intervals in order."""
    assert len(tried) == len(SEEDS) * len(MADE_ON_DAYS) * 2 * len(HORIZONS_DAYS)
    for trial in tried:
        assert len({o.actual_days for o in trial.outcomes.values()}) == 1
        assert all(o.early_days <= o.likely_days <= o.late_days for o in trial.outcomes.values())


@pytest.mark.long
def test_the_dates_are_of_the_right_order(tried: list[Trial]) -> None:
    """Most truths lie between early and late; from 90 days on the interval score beats that of the plain mean."""
    for days in HORIZONS_DAYS:
        plain, mean = (score(outcomes(tried, method, days)) for method in (PLAIN, MEAN))
        assert plain.covered > 0.5
        assert days < 90 or plain.interval_score_days < mean.interval_score_days
    assert (
        score(outcomes(tried, WITH_CALENDAR, 90)).median_error_days
        < score(outcomes(tried, PLAIN, 90)).median_error_days
    )


def test_the_calendar_of_a_case_is_the_log_up_to_its_day_and_the_plan_after_it() -> None:
    """Day by day what was logged and what was planned then, not what was sailed later."""
    case = next(iter(cases(SEEDS[:1])))
    kinds = dict([*case.known.log, *case.known.plan])
    first = min(kinds)
    calendar = calendar_of(case.known)
    assert calendar.kinds(first, len(kinds)) == [kinds[day] for day in sorted(kinds)]
    assert calendar.last_on() == on(case.day + case.ship.plan_days - 1)
    assert [kind for _, kind in case.known.plan] != case.ship.kinds[case.day : case.day + case.ship.plan_days]
