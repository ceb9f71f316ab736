"""Two solvers agree: HiGHS through the planner, CP-SAT through a model of its own, on generated ships.

Source: Google OR-Tools CP-SAT as an independent solver; the ships are invented.
"""

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest
from hypothesis import settings

from scheduler.planning.judge.check import judge
from scheduler.planning.problem.codec import problem_to_text
from scheduler.planning.problem.values import Derated, MinimumStretch, Problem
from scheduler.planning.search.stagger import stagger
from tests.unit.planning.brute import ranked
from tests.unit.planning.cases import crew_by_day, ship

FULL_ROUNDS, FULL_SHIPS = 8, 6
ROUNDS, SHIPS_A_ROUND = (FULL_ROUNDS, FULL_SHIPS) if settings.get_current_profile_name() == "full" else (1, 2)
DAYS = 45
ROOT = Path(__file__).parents[3]


def generated(seed: int) -> Problem:
    """An invented ship: two to four unequal pumps, tight minima, at times a pump down, dates shown before, set-up to share."""
    random = Random(seed)
    pumps = random.randint(2, 4)
    base = ship(pumps, days=DAYS, spare_pumps=random.choice([0.8, 1.0, 1.2, 1.6]))
    capacities = tuple(replace(p, litres_per_h=random.choice([50_000, 55_000, 60_000])) for p in base.pumps)
    if random.random() < 0.5:
        down = random.randrange(0, 600)
        broken = Derated(from_step=down, to_step=down + random.randrange(24, 200), litres_per_h=0)
        capacities = (replace(capacities[0], derated=(broken,)), *capacities[1:])
    full = random.randrange(0, 24 * 30)
    full_ship = MinimumStretch(
        from_step=full,
        to_step=full + random.randrange(24, 120),
        litres_per_h=(pumps - 1) * 55_000,
        label="turnaround",
        pumps=random.choice([0, pumps - 1]),
    )
    jobs = []
    for job in base.jobs:
        shift = random.randint(-72, 72)
        shown = random.choice(base.start_steps) if random.random() < 0.2 else None
        frozen = random.choice(base.start_steps[:40]) + random.choice([0, 2]) if random.random() < 0.1 else None
        jobs.append(
            replace(
                job,
                due=job.due + shift,
                ideal=job.ideal + shift,
                limit=job.limit + shift - random.choice([0, 0, 48]),
                earliest=max(0, job.earliest + shift),
                setup_steps=random.choice([0, 1]) if job.pump else 0,
                published_start=shown,
                kept_start=frozen,
                all_closed=job.pump is None and random.random() < 0.5,
                parts_from=random.choice([None] * 5 + [24 * 20]),
            )
        )
    return replace(
        base,
        pumps=capacities,
        minimum=(*base.minimum, full_ship),
        crew=crew_by_day(DAYS, hands=random.choice([2, 2, 3])),
        jobs=tuple(jobs),
        person_hours=random.choice([8, 24]),
        avoid_nights=random.random() < 0.5,
        day_starts=random.choice([(), tuple(range(0, 240, 24)) + tuple(range(239, 24 * DAYS, 24))]),
    )


def second_opinions(problems: list[Problem]) -> list[list[int]]:
    """What CP-SAT finds, in a process of its own, for each problem."""
    text = "\n".join(problem_to_text(problem) for problem in problems)
    command = [sys.executable, "-m", "tests.external.planner.second_solver"]
    done = subprocess.run(command, input=text, capture_output=True, text=True, check=False, cwd=ROOT)
    assert done.returncode == 0, done.stderr[-2000:]
    return [json.loads(line) for line in done.stdout.splitlines()]


@pytest.mark.long
@pytest.mark.parametrize("turn", range(ROUNDS))
def test_both_solvers_find_the_same_value_in_every_tier(turn: int) -> None:
    """Proven by the planner, proven by CP-SAT, equal: pinned, frozen, unplaced, late, moved, cover, nights, dates and isolations,
    the week."""
    problems = [generated(seed) for seed in range(turn * SHIPS_A_ROUND, (turn + 1) * SHIPS_A_ROUND)]
    for problem, second in zip(problems, second_opinions(problems), strict=True):
        plan = stagger(problem)
        assert judge(problem, plan).faults == ()
        assert plan.proven, plan.remarks
        assert list(ranked(plan)) == second


def test_the_full_number_of_ships_is_asked_for_in_ci() -> None:
    """At least forty ships in the full profile; a line of the CI with that profile runs this file, and what is marked long in it."""
    lines = [line for line in (ROOT / ".ci" / "run").read_text().splitlines() if "HYPOTHESIS_PROFILE=full" in line]
    assert any("-m long" in line and "tests/external/planner/test_second_solver.py" in line.split() for line in lines)
    assert FULL_ROUNDS * FULL_SHIPS >= 40
