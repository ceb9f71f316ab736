"""The simulated fleet on which forecasts are tuned and scored stays as it was frozen."""

import hashlib
from pathlib import Path

import numpy as np
import pytest

from tests.bench import fleet_sim
from tests.bench.fleet_sim import DAYS, LAY_UP, PORT, SCORING_SEEDS, SEA, TUNING_SEEDS, simulate

FROZEN = "2348b5a79cfd0dbee9b11592361488f016cce64c0fd3a2e41fd85a7a1d637552"
"""SHA-256 of the simulator. A new one means that every figure in DEVELOPERS.md made with it has to be measured again."""


def test_the_simulator_is_the_one_that_was_frozen_before_tuning():
    """Not a letter of it has changed."""
    text = Path(fleet_sim.__file__).read_text(encoding="utf-8")
    assert hashlib.sha256(text.encode()).hexdigest() == FROZEN


def test_no_ship_is_both_tuned_on_and_scored_on():
    """The two sets of seeds share none, and each trade meets each control in both."""
    assert not set(TUNING_SEEDS) & set(SCORING_SEEDS)
    assert {(s % 3, s // 3 % 3) for s in TUNING_SEEDS} == {(s % 3, s // 3 % 3) for s in SCORING_SEEDS}
    assert len({(s % 3, s // 3 % 3) for s in TUNING_SEEDS}) == 9


@pytest.fixture(scope="module", params=[3000, 3004, 3008])
def ship(request):
    return simulate(request.param)


@pytest.mark.long
def test_a_seed_always_gives_the_same_ship(ship):
    """Twice the same, to the second."""
    again = simulate(ship.seed)
    assert np.array_equal(again.seconds, ship.seconds)
    assert again.kinds == ship.kinds


def test_days_hold_what_days_can_hold(ship):
    """No pump runs more than a day or less than nothing, and all three kinds of day occur."""
    assert ship.seconds.min() >= 0
    assert ship.seconds.max() <= 86_400
    assert set(ship.kinds) == {SEA, PORT, LAY_UP}


def test_what_is_known_ends_at_the_last_reading_and_loses_nothing(ship):
    """Days of a gap share what the counter shows after it, so the sum up to the last reading is the true one."""
    day = 1800
    known = ship.known(day)
    for row, daily, unread in zip(ship.seconds, known.daily_seconds, known.unread_days, strict=True):
        assert len(daily) == day - ship.history_from - unread
        assert sum(daily) == row[ship.history_from : day - unread].sum()
    assert known.log[-1][0] < known.plan[0][0] == fleet_sim.on(day)
    assert len(known.plan) == min(ship.plan_days, DAYS - day)


def test_the_days_until_so_many_hours_have_run_are_counted_out(ship):
    """The seconds of the next forty days take forty days."""
    wanted = float(ship.seconds[0, 1000:1040].sum())
    days, reached = ship.days_until(0, 1000, wanted)
    assert reached
    assert days <= 40
    assert ship.seconds[0, 1000 : 1000 + int(np.ceil(days))].sum() >= wanted
    assert not ship.days_until(0, 1000, 1e12)[1]
