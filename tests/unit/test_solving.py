"""The worker process: the same plan as in this process, and the plain plan with a remark whenever it gives none."""

import sys
import threading

import pytest

from scheduler.errors import Busy
from scheduler.planning.check import judge
from scheduler.planning.problem import Plan
from scheduler.planning.stagger import stagger
from scheduler.solving import solve
from tests.unit.planning.cases import ship

PROBLEM = ship(2, days=40)


def test_the_worker_gives_the_same_plan_from_any_thread() -> None:
    """Asked from a thread that is not the main one, the worker's plan equals the one worked out here."""
    found: list[Plan] = []
    thread = threading.Thread(target=lambda: found.append(solve(PROBLEM)))
    thread.start()
    thread.join(60)
    assert found == [stagger(PROBLEM)]


@pytest.mark.parametrize(
    ("code", "seconds", "words"),
    [
        ("raise SystemExit(3)", 20, "ended with code 3"),
        ("import os; os.kill(os.getpid(), 9)", 20, "ended with code -9"),
        ("print('{}')", 20, "could not be read"),
        ("import time; time.sleep(60)", 0.5, "longer than"),
    ],
)
def test_a_worker_that_gives_no_plan_leaves_the_plain_one(code: str, seconds: float, words: str) -> None:
    """Dead, killed, talking nonsense or hanging: the greedy plan, lawful, not proven, with the reason."""
    plan = solve(PROBLEM, wall_seconds=seconds, worker=(sys.executable, "-c", code))
    assert plan.by == "greedy"
    assert not plan.proven
    assert words in " ".join(plan.remarks)
    assert judge(PROBLEM, plan).lawful


def test_a_worker_that_answers_another_problem_is_not_believed() -> None:
    """A plan for another problem is thrown away."""
    code = (
        "from scheduler.planning.codec import plan_to_text; from scheduler.planning.stagger import stagger;"
        "from tests.unit.planning.cases import ship; print(plan_to_text(stagger(ship(2, days=30))), end='')"
    )
    plan = solve(PROBLEM, worker=(sys.executable, "-c", code))
    assert plan.by == "greedy"
    assert "another problem" in " ".join(plan.remarks)


def test_the_cap_on_memory_holds() -> None:
    """A worker allowed less memory than Python with the solver needs ends, and the plain plan stands in."""
    large = ship(8)
    plan = solve(large, memory_mb=40)
    assert plan.by == "greedy"
    assert judge(large, plan).lawful


def test_a_program_that_stops_waits_for_no_plan() -> None:
    """The worker is ended and nothing is planned in its place."""
    looks = iter([False, True])
    with pytest.raises(Busy, match="stopping"):
        solve(PROBLEM, worker=(sys.executable, "-c", "import time; time.sleep(60)"), stopping=lambda: next(looks))
