"""The score of forecasts: worked by hand, against published definitions, and on past days of a plant."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.due.past_forecasts import ended_by
from scheduler.domain.due.scoring import (
    ALPHA,
    MEAN,
    PLAIN,
    WITH_CALENDAR,
    ForecastOutcome,
    from_own_past,
    interval_score,
    mean_of_a_year,
    score,
)
from scheduler.domain.voyage.days import Calendar, Stretch

TODAY = date(2027, 3, 1)


def of(early: float, likely: float, late: float, actual: float) -> ForecastOutcome:
    """A forecast and its truth, in days."""
    return ForecastOutcome(early_days=early, likely_days=likely, late_days=late, actual_days=actual)


def test_the_interval_score_is_the_published_one():
    """Source: Gneiting and Raftery, JASA 102 (477), 2007, eq. 43:
    (u - l) + 2/alpha (l - x) for x < l + 2/alpha (x - u) for x > u. Worked by hand at alpha 0.14 and 0.1."""
    assert pytest.approx(0.14) == ALPHA
    assert interval_score(80, 120, 100) == 40
    assert interval_score(80, 120, 80) == interval_score(80, 120, 120) == 40
    assert interval_score(80, 120, 127, 0.14) == pytest.approx(40 + 2 / 0.14 * 7)
    assert interval_score(80, 120, 73, 0.14) == pytest.approx(140)
    assert interval_score(0, 1, 3, 0.1) == pytest.approx(1 + 20 * 2)


@given(st.lists(st.floats(0, 100), min_size=3, max_size=60), st.floats(0, 100), st.floats(0, 100))
def test_no_other_interval_scores_better_than_the_quantiles(truths, one, other):
    """The score is proper: of all intervals the truths' own 7 and 93 % quantiles have the least mean score."""
    low, high = np.quantile(truths, [0.07, 0.93], method="inverted_cdf")

    def total(early: float, late: float) -> float:
        return sum(interval_score(early, late, truth) for truth in truths)

    assert total(low, high) <= total(min(one, other), max(one, other)) + 1e-6


def test_a_score_by_hand():
    """Four forecasts: one sooner by 7, one later by 14, two inside, errors 5, 0, 25 and 40."""
    found = score([of(80, 100, 120, 105), of(80, 100, 120, 100), of(80, 98, 120, 73), of(80, 94, 120, 134)])
    assert (found.forecasts, found.covered, found.sooner, found.later) == (4, 0.5, 0.25, 0.25)
    assert found.median_error_days == 15
    assert found.interval_score_days == pytest.approx((40 + 40 + 140 + 240) / 4)
    with pytest.raises(ValueError, match="no forecast"):
        score([])


def test_unfinished_runs_are_counted_as_kaplan_and_meier_do():
    """Remission times in weeks under 6-mercaptopurine, 21 patients, 12 of them censored: the survivor function.

    Source: Freireich et al., Blood 21, 1963, as worked in Kalbfleisch and Prentice, The statistical analysis of failure
    time data (figures from memory; three libraries agree with them).
    """
    ended = [6, 6, 6, 7, 10, 13, 16, 22, 23]
    still = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
    values, gone = ended_by(
        np.array([*ended, *still], dtype=float),
        np.array([True] * len(ended) + [False] * len(still)),
        np.ones(21),
    )
    survivors = {t: 1 - float(gone[values == t][-1]) for t in sorted(set(ended))}
    expected = [0.8571, 0.8067, 0.7529, 0.6902, 0.6275, 0.5378, 0.4482]
    assert list(survivors.values()) == pytest.approx(expected, abs=1e-4)
    assert values[np.searchsorted(gone, 0.5 - 1e-12)] == 23


@given(st.lists(st.tuples(st.integers(1, 40), st.booleans()), min_size=1, max_size=60))
def test_all_ended_is_the_plain_share_and_unfinished_ones_only_make_it_later(runs):
    """Without unfinished runs the share ended is a count; calling some unfinished never raises it."""
    lengths, ended = np.array([r for r, _ in runs], dtype=float), np.array([e for _, e in runs])
    values, all_gone = ended_by(lengths, np.ones(len(runs), dtype=bool), np.ones(len(runs)))
    assert all_gone == pytest.approx(
        [
            (lengths <= v).mean() if v != w else g
            for v, w, g in zip(values, [*values[1:], np.inf], all_gone, strict=True)
        ]
    )
    values, gone = ended_by(lengths, ended, np.ones(len(runs)))
    for v in set(lengths):
        assert gone[values == v][-1] <= (lengths <= v).mean() + 1e-9


def test_the_plain_sum_to_compare_with():
    """10 h every day: no spread. 0 and 20 h in turn: 10 h a day, s.d. 10, so 100 days +- 1.476 x 10 x 10 / 10."""
    assert mean_of_a_year([36_000] * 400, 1000) == (100, 100, 100)
    early, likely, late = mean_of_a_year([0, 72_000] * 200, 1000)
    assert likely == pytest.approx(100, abs=0.5)
    assert (late - likely, likely - early) == (pytest.approx(14.76, abs=0.1), pytest.approx(14.76, abs=0.1))
    assert mean_of_a_year([], 1) == (4, 4, 4)


def test_a_steady_ship_scores_to_the_day():
    """Years at 10 h: every forecast inside, no error, all methods alike."""
    pumps = [[36_000] * 850]
    for found in from_own_past(pumps, TODAY - timedelta(days=1)):
        for name in (PLAIN, MEAN):
            told = score(found.outcomes[name])
            assert told.median_error_days < 0.01
            assert told.forecasts >= 1
        assert score(found.outcomes[PLAIN]).covered == 1


def test_forecasts_of_the_past_do_not_know_what_came_after():
    """A ship whose hours double half a year ago: those made before are late by half, those made after are not."""
    pumps = [[18_000] * 500 + [36_000] * 180]
    (found,) = from_own_past(pumps, TODAY - timedelta(days=1), horizons_days=(90,))
    errors = [o.likely_days - o.actual_days for o in found.outcomes[PLAIN]]
    assert max(errors) > 40
    assert all(o.actual_days == pytest.approx(o.likely_days, rel=0.02) for o in found.outcomes[PLAIN][-5:])


def test_too_short_a_history_gives_none_and_says_what_it_takes():
    """200 days: enough for 30 days ahead, not for 90 or 365."""
    month, quarter, year = from_own_past([[36_000] * 200], TODAY)
    assert len(month.outcomes[PLAIN]) >= 2
    assert (quarter.outcomes[PLAIN], year.outcomes[PLAIN]) == ([], [])
    assert (month.needs_days, quarter.needs_days, year.needs_days) == (164, 284, 834)
    assert all(not found.outcomes[PLAIN] for found in from_own_past([], TODAY))


def test_with_a_calendar_both_ways_are_scored():
    """Two months at sea and one laid up, in turn: the calendar knows the stretch ahead and errs less."""
    first, stretches, days = 630, [], []
    for day in range(0, first, 90):
        on = TODAY - timedelta(days=first - day)
        stretches += [
            Stretch(from_on=on, to_on=on + timedelta(days=59), kind="sea"),
            Stretch(from_on=on + timedelta(days=60), to_on=on + timedelta(days=89), kind="lay-up"),
        ]
        days += [36_000] * 60 + [7_200] * 30
    (found,) = from_own_past(
        [days[:first]] * 2, TODAY - timedelta(days=1), Calendar(stretches=tuple(stretches)), horizons_days=(90,)
    )
    plain, with_it = score(found.outcomes[PLAIN]), score(found.outcomes[WITH_CALENDAR])
    assert with_it.median_error_days < plain.median_error_days / 2
    assert with_it.forecasts == plain.forecasts
