"""How long a plan takes: half a year of jobs for three and six pumps, against the plain rule in the same run."""

import time
from collections.abc import Callable
from statistics import median

import pytest

from scheduler.planning.problem import Plan, Problem
from scheduler.planning.stagger import greedy_plan, stagger
from scheduler.solving import solve
from tests.unit.planning.cases import ship

pytestmark = pytest.mark.bench


def _took(act: Callable[[Problem], Plan], problem: Problem, runs: int = 5) -> float:
    """Median CPU seconds of some runs, after one that is not counted."""
    act(problem)
    times = []
    for _ in range(runs):
        began = time.process_time()
        act(problem)
        times.append(time.process_time() - began)
    return median(times)


@pytest.mark.parametrize("pumps", [3, 6])
def test_half_a_year_of_jobs(pumps: int) -> None:
    """Prints solver and plain rule side by side, and what the worker process adds; the solver's plan is proven."""
    problem = ship(pumps)
    plan = stagger(problem)
    assert plan.by == "solver"
    solver, plain = _took(stagger, problem), _took(greedy_plan, problem)
    began = time.perf_counter()
    stagger(problem)
    here = time.perf_counter() - began
    began = time.perf_counter()
    solve(problem)
    worker = time.perf_counter() - began
    print(
        f"\n{pumps} pumps, {len(problem.jobs)} jobs, 180 days: solver {solver:.3f} s CPU, {solver / plain:.1f} x the plain rule "
        f"({plain:.3f} s); by the worker {worker:.2f} s in all, {worker - here:.2f} s of it for the process; proven {plan.proven}"
    )
