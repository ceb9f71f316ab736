"""Sets of the published kind through one mapping: units once each, in consecutive weeks, with a crew of so many a week.

The data here is invented (a fixed random draw of the usual size: 21 units, 52 weeks, 20 hands a week, half of the units in each
half of the year). Source of the second opinion: Google OR-Tools CP-SAT in a process of its own.
"""

import json
import subprocess
import sys
from pathlib import Path
from random import Random

import pytest

from scheduler.planning.judge.check import judge
from tests.external.planner.units import KW, Unit, UnitSet, as_plain, greatest_reserve

ROOT = Path(__file__).parents[3]
STEP_KW = KW


def invented(seed: int, units: int = 21, weeks: int = 52, crew: int = 20) -> UnitSet:
    """A set of the usual shape from a fixed draw: capacities in MW, one to eight weeks out, a demand with a winter peak."""
    random = Random(seed)
    made = []
    for number in range(units):
        lasts = random.choice([1, 2, 3, 4, 5, 6, 8])
        half = number % 2
        most = random.choice([4, 6, 8, 10])
        made.append(
            Unit(
                name=f"U{number + 1:02}",
                mw=random.choice([50, 76, 100, 155, 197, 240, 350, 400]),
                crew=tuple(random.randint(most // 2, most) for _ in range(lasts)),
                first=1 + half * weeks // 2,
                last=weeks if half else weeks // 2,
            )
        )
    whole = sum(unit.mw for unit in made)
    demand = tuple(
        round(whole * (0.62 + 0.1 * abs(1 - 2 * week / weeks) + 0.02 * random.random())) for week in range(weeks)
    )
    names = [unit.name for unit in made]
    return UnitSet(
        units=tuple(made),
        demand_mw=demand,
        crew=tuple(crew - (2 if week % 13 == 0 else 0) for week in range(weeks)),
        groups=((tuple(names[:4]), 1), (tuple(names[4:9]), 2)),
    )


def _second(units: UnitSet) -> int:
    done = subprocess.run(
        [sys.executable, "-m", "tests.external.planner.second_reserve", "60"],
        input=json.dumps(as_plain(units)), capture_output=True, text=True, check=True, cwd=ROOT,
    )  # fmt: skip
    told = json.loads(done.stdout)
    assert told["proven"]
    return int(told["kw"])


SETS = [
    invented(1, units=9, weeks=26, crew=14),
    *(pytest.param(invented(seed), marks=pytest.mark.long) for seed in (1, 4, 5)),
]


@pytest.mark.parametrize("units", SETS, ids=["9 units", "21 units, a", "21 units, b", "21 units, c"])
def test_two_solvers_find_the_same_greatest_reserve(units: UnitSet) -> None:
    """All units in their windows at the reserve that CP-SAT proves best, not all with a MW more; recounted from the starts."""
    best = _second(units)
    found, plan = greatest_reserve(units, best - 40 * STEP_KW, best + 40 * STEP_KW, step_kw=STEP_KW)
    assert found == best
    assert judge(units.problem(found), plan).lawful
    assert len(plan.slots) == len(units.units)
    assert min(units.reserves_kw(plan)) == best
    windows = {unit.name: (unit.first - 1, unit.last) for unit in units.units}
    for slot in plan.slots:
        first, last = windows[str(slot.pump)]
        assert first <= slot.start
        assert slot.end <= last
