"""How long a proven plan takes and how much memory: by pumps, days, start hours and density; a thousand ships; other ways.

Every measurement runs in a process of its own; CPU seconds include the import of the solver, process start is told apart.
"""

import json
import os
import subprocess
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from scheduler.planning.codec import problem_to_text
from scheduler.planning.problem import Problem
from scheduler.planning.stagger import greedy_plan, stagger
from scheduler.solving import Worker
from tests.unit.planning.cases import ship

pytestmark = pytest.mark.bench

ROOT = Path(__file__).parents[2]
SHIPS = int(os.environ.get("LEADLINE_BENCH_SHIPS", "60"))
"""How many ships of the fleet's thousand are planned; what a thousand take is said from them."""


def _aboard(problem: Problem) -> Problem:
    """As a ship has it: eight hours a person, an hour of set-up that jobs of one pump may share."""
    jobs = tuple(replace(job, setup_steps=1 if job.pump else 0) for job in problem.jobs)
    return replace(problem, jobs=jobs, person_hours=8)


def _measure(what: str, problem: Problem) -> dict[str, Any]:
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench.planner_rivals", what],
        input=problem_to_text(problem), capture_output=True, text=True, check=True, cwd=ROOT,
    )  # fmt: skip
    found: dict[str, Any] = json.loads(done.stdout)
    return found


@pytest.mark.parametrize("days", [180, 730])
@pytest.mark.parametrize("sparse", [True, False], ids=["sparse", "dense"])
def test_a_proven_optimum_by_pumps_and_days(days: int, sparse: bool) -> None:
    """2, 4, 6 and 8 pumps: jobs, CPU seconds and memory, every plan proven."""
    print()
    for pumps in (2, 4, 6, 8):
        problem = _aboard(ship(pumps, days, sparse=sparse))
        found = _measure("planner", problem)
        print(
            f"{pumps} pumps, {days} days, {'sparse' if sparse else 'dense'}: {len(problem.jobs)} jobs, "
            f"{found['cpu_seconds']:.2f} s CPU, {found['mb']:.0f} MB, proven {found['proven']}"
        )
        assert found["proven"]


def test_the_budget_of_the_largest_ship() -> None:
    """8 pumps, about 238 jobs, two years: 10 s CPU and 300 MB are the aim; one ship, half a year: 0.5 s. (Held to thrice that.)"""
    large, usual = _aboard(ship(8, 730, sparse=True)), _aboard(ship(4))
    found, small = _measure("planner", large), _measure("planner", usual)
    print(f"\n{len(large.jobs)} jobs over 730 days: {found['cpu_seconds']:.2f} s CPU, {found['mb']:.0f} MB", end="")
    print(f"; {len(usual.jobs)} jobs over 180 days: {small['cpu_seconds']:.2f} s CPU, {small['mb']:.0f} MB")
    assert found["proven"]
    assert small["proven"]
    assert found["cpu_seconds"] < 30
    assert found["mb"] < 300
    assert small["cpu_seconds"] < 2


@pytest.mark.parametrize("hours", [(8,), (8, 13), tuple(range(8, 17)), tuple(range(24))], ids=len)
def test_what_start_hours_cost(hours: tuple[int, ...]) -> None:
    """4 pumps, half a year, one, two, nine and twenty-four start hours a day (nobody works at night)."""
    found = _measure("planner", _aboard(ship(4, hours=hours)))
    print(
        f"\n{len(hours)} start hours: {found['cpu_seconds']:.2f} s CPU, {found['mb']:.0f} MB, proven {found['proven']}"
    )
    assert found["proven"]


def test_a_fleet_on_two_processes() -> None:
    """Half a year for each of many ships of two to four pumps, all proven; LEADLINE_BENCH_SHIPS=1000 plans the whole fleet."""
    began = time.perf_counter()
    with ProcessPoolExecutor(2) as pool:
        found = list(pool.map(_planned, range(SHIPS), chunksize=5))
    took = time.perf_counter() - began
    each = sum(seconds for _, seconds in found) / 2
    proven = sum(one for one, _ in found)
    print(
        f"\n{SHIPS} ships x 180 days: {each:.0f} s CPU on each of two processes, {took:.0f} s in all, {proven} proven; "
        f"a thousand at that rate: {each / SHIPS * 1000:.0f} s each"
    )
    assert proven == SHIPS


def _planned(number: int) -> tuple[bool, float]:
    problem = ship(2 + number % 3, spare_pumps=(1.0, 1.2, 1.6)[number % 7 % 3])
    shifted = tuple(replace(job, due=job.due + number % 23, limit=job.limit + number % 23) for job in problem.jobs)
    began = time.process_time()
    proven = stagger(_aboard(replace(problem, jobs=shifted))).proven
    return proven, time.process_time() - began


def test_against_other_ways() -> None:
    """The plain time-indexed model and CP-SAT intervals against this planner, as ratios of CPU seconds and memory."""
    print()
    for pumps, days in ((4, 90), (4, 180), (6, 180)):
        problem = ship(pumps, days)
        ours = _measure("planner", problem)
        for what in ("plain", "intervals"):
            other = _measure(what, problem)
            print(
                f"{pumps} pumps, {days} days, {what}: {other['cpu_seconds'] / ours['cpu_seconds']:.1f} x the CPU, "
                f"{other['mb'] / ours['mb']:.1f} x the memory of the planner's {ours['cpu_seconds']:.2f} s and "
                f"{ours['mb']:.0f} MB for all tiers; proven {other['proven']}; unplaced and late {other['unplaced']}, "
                f"{other['late']} beside {ours['unplaced']}, {ours['late']}"
            )
            if what == "plain" and other["proven"]:
                assert (other["unplaced"], other["late"]) <= (ours["unplaced"], ours["late"])


def test_what_the_worker_process_and_the_proof_add() -> None:
    """The plan in this process, by the worker, and the plain rule alone."""
    problem = _aboard(ship(4))
    stagger(problem)
    seconds = []
    with Worker() as worker:
        for act in (stagger, worker.plan, worker.plan, greedy_plan):
            began = time.perf_counter()
            act(problem)
            seconds.append(time.perf_counter() - began)
    here, first, second, plain = seconds
    print(
        f"\nhere {here:.2f} s, by a worker {first:.2f} s and then {second:.2f} s ({first - second:.2f} s to start it, "
        f"{second - here:.2f} s for the pipes), plain rule {plain:.3f} s"
    )
