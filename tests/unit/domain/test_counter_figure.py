"""What a counter shows leads: due at what it will show, in its own counts, worked out and worded in one place."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.due.jobs import DueJob
from scheduler.domain.hours.counter_figure import CounterFigure
from scheduler.wording.figures import NARROW, NBSP
from scheduler.wording.hours import counter_line, since_words
from tests.unit.api.invented import plant

AT = datetime(2026, 11, 29, 16, 47, tzinfo=UTC)
HOURS = CounterFigure(at=AT, value_milli=24_800_000, seconds_per_count=3600)
TENTHS = CounterFigure(at=AT, value_milli=145_880_000, seconds_per_count=360)


def job(left_h: float, since_h: float) -> DueJob:
    """An invented job with hours."""
    one = next(
        line.due for line in plant(3).jobs if line.due.interval_seconds or line.due.running_seconds_left is not None
    )
    return replace(
        one,
        kind_name="Knife inspection",
        interval_seconds=1500 * 3600,
        since_seconds=round(since_h * 3600),
        running_seconds_left=round(left_h * 3600),
        estimated=False,
    )


def said(figure: CounterFigure, one: DueJob) -> str:
    """With plain spaces."""
    return counter_line(figure, one).replace(NARROW, " ").replace(NBSP, " ")


def test_the_counters_figure_leads() -> None:
    """39 h past due: due at a figure that the counter showed."""
    line = "counter shows 24 800; since knife inspection 1 539 of 1 500 h; due at 24 761"
    assert said(HOURS, job(-39, 1539)) == line


def test_a_counter_of_tenths_says_its_own_counts_first() -> None:
    """Hours stand behind it."""
    line = "counter shows 145 880 (14 588 h); since knife inspection 1 539 of 1 500 h; due at 145 490 (14 549 h)"
    assert said(TENTHS, job(-39, 1539)) == line


def test_estimated_hours_say_about() -> None:
    """While a counter is silent, or held."""
    one = replace(job(61, 1439), estimated=True)
    assert said(HOURS, one).endswith("since knife inspection about 1 439 of 1 500 h; due at about 24 861")


@pytest.mark.parametrize(
    ("left_s", "shows"), [(0, 24_800), (3599, 24_800), (3600, 24_801), (-1, 24_799), (-24_800 * 3600, 0)]
)
def test_due_at_is_rounded_down(left_s: int, shows: int) -> None:
    """It never looks later than it is."""
    assert HOURS.after(left_s) == shows * 1000


def test_before_its_start_a_counter_showed_nothing() -> None:
    """A counter exchanged since: the line ends without a figure."""
    new = replace(HOURS, value_milli=20_000)
    assert new.after(-21 * 3600) is None
    assert said(new, job(-39, 1539)).endswith("of 1 500 h")


def test_it_starts_again_at_its_modulus() -> None:
    """9 990 h and 20 more on a counter of four digits."""
    small = CounterFigure(at=AT, value_milli=9_990_000, seconds_per_count=3600, modulus=10_000)
    assert small.after(20 * 3600) == 10_000


@given(st.integers(0, 10**8), st.sampled_from([3600, 360, 36, 60, 1]), st.integers(-(10**8), 10**8))
def test_it_shows_what_has_run_to_a_count(value: int, per: int, seconds: int) -> None:
    """The counts up to a figure are the seconds that led to it, less than one count short."""
    figure = CounterFigure(at=AT, value_milli=value * 1000, seconds_per_count=per)
    after = figure.after(seconds)
    assert after is None or 0 <= seconds - (after - value * 1000) * per // 1000 < per


@given(st.integers(0, 10**8), st.sampled_from([3600, 360, 36, 60, 1]), st.integers(-(10**8), 10**8))
def test_what_it_showed_goes_back_to_what_has_run(value: int, per: int, seconds: int) -> None:
    """The seconds until a figure, less than one count short of those that led to it."""
    figure = CounterFigure(at=AT, value_milli=value * 1000, seconds_per_count=per)
    after = figure.after(seconds)
    assert after is None or 0 <= seconds - figure.run_until(after) < per


@pytest.mark.parametrize(("shows", "hours"), [(10, 20), (9_990, 0), (9_980, -10), (4_989, 4_999), (4_990, -5_000)])
def test_one_that_starts_again_goes_the_shorter_way_round(shows: int, hours: int) -> None:
    """Four digits: 10 after 9 990 is 20 h later."""
    small = CounterFigure(at=AT, value_milli=9_990_000, seconds_per_count=3600, modulus=10_000)
    assert small.run_until(shows * 1000) == hours * 3600


def test_without_an_interval_hours_stand_alone() -> None:
    """1 539 h."""
    assert since_words(1539 * 3600, None).replace(NARROW, " ").replace(NBSP, " ") == "1 539 h"
