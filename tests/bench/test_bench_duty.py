"""Simulated: what a lead order does to the dates of the overhauls over twenty years, beside two other ways to share the hours.

Run: pytest -m bench -s tests/bench/test_bench_duty.py
"""

from collections.abc import Callable, Mapping
from itertools import pairwise

import pytest

from scheduler.planning.explain.lead_order import advise

pytestmark = pytest.mark.bench
PUMPS, TOTAL, INTERVAL, YEARS, PERIOD_DAYS = 6, 24.0, 4000.0, 20, 7
Share = Callable[[Mapping[str, float]], Mapping[str, float]]


def _ladder(left: Mapping[str, float]) -> Mapping[str, float]:
    told = advise(left, interval_hours=INTERVAL, pump_hours_per_day=TOTAL, now_h_per_day={})
    return {rung.pump: rung.h_per_day for rung in told.ladder}


def _equal(left: Mapping[str, float]) -> Mapping[str, float]:
    return dict.fromkeys(left, TOTAL / PUMPS)


def _equalising(left: Mapping[str, float]) -> Mapping[str, float]:
    """The pump with the most hours left leads: hours since overhaul are made equal."""
    order = sorted(left, key=lambda pump: (-left[pump], pump))
    return {pump: 19.0 if pump == order[0] else 1.0 for pump in order}


def _overhauls(share: Share, start: Mapping[str, float]) -> list[float]:
    """Days on which an overhaul falls due, each done on the day."""
    left, due = dict(start), []
    for day in range(YEARS * 365):
        if day % PERIOD_DAYS == 0:
            rates = share(left)
        for pump, rate in rates.items():
            left[pump] -= rate
            if left[pump] <= 0:
                due.append(float(day))
                left[pump] = INTERVAL
    return due


def _most_in_30_days(due: list[float]) -> int:
    return max(sum(1 for other in due if 0 <= other - day < 30) for day in due)


@pytest.mark.parametrize("start", ["new", "staggered"])
def test_the_ladder_keeps_overhauls_apart(start: str) -> None:
    """Six pumps, 24 pump-hours a day, 4000 h: from new (all equal) and from an even stagger."""
    spread = 0.0 if start == "new" else INTERVAL / PUMPS
    left = {f"p{i}": INTERVAL - i * spread for i in range(PUMPS)}
    found = {}
    for name, share in (("ladder", _ladder), ("equal rate", _equal), ("equalising", _equalising)):
        due = _overhauls(share, left)
        gaps = [b - a for a, b in pairwise(due)]
        found[name] = min(gaps), _most_in_30_days(due)
        print(
            f"\nsimulated, start {start}, {name}: least gap {min(gaps):.0f} d, at most {_most_in_30_days(due)} due in any 30 days"
        )
    assert found["ladder"][0] >= 130
    assert found["ladder"][1] == 1
    if start == "new":
        assert found["equalising"][1] == PUMPS
