"""The worker process: the same plans as in this process, and the plain plan with a remark whenever it gives none."""

import os
import sys
import threading
from collections.abc import Iterator

import pytest

from scheduler.errors import Busy
from scheduler.planning.judge.check import judge
from scheduler.planning.problem.values import Plan, Remark, RemarkCode
from scheduler.planning.search.stagger import stagger
from scheduler.solving import Worker, Workers
from tests.unit.planning.cases import ship

PROBLEM, OTHER = ship(2, days=40), ship(3, days=30)

ONCE_IN_TWO = """
import os, sys
from pathlib import Path
from scheduler import solving
turns = Path({file!r})
for line in sys.stdin.buffer:
    turns.write_text(turns.read_text() + f"{{os.getpid()}} ")
    if len(turns.read_text().split()) == 2:
        {fault}
    solving._answer(line, float("inf"))
"""
"""A worker that has its fault with the second problem it, or one before it, is given."""


def planned(*code: str, seconds: float = 20) -> Iterator[Plan]:
    """The plans that workers running this code give for the problem."""
    for one in code:
        with Worker(wall_seconds=seconds, command=(sys.executable, "-c", one)) as worker:
            yield worker.plan(PROBLEM)


def test_a_worker_gives_the_same_plans_from_any_thread() -> None:
    """Asked from a thread that is not the main one, a worker's plans, one after another, equal those worked out here."""
    found: list[Plan] = []
    with Worker() as worker:
        thread = threading.Thread(target=lambda: found.extend(map(worker.plan, (PROBLEM, OTHER, PROBLEM))))
        thread.start()
        thread.join(60)
    first = stagger(PROBLEM)
    assert found == [first, stagger(OTHER), first]


@pytest.mark.parametrize(
    ("code", "seconds", "remark"),
    [
        ("raise SystemExit(3)", 20, Remark(code=RemarkCode.ENDED, number=3)),
        ("import os; os.kill(os.getpid(), 9)", 20, Remark(code=RemarkCode.ENDED, number=-9)),
        ("print('{}')", 20, Remark(code=RemarkCode.UNREAD)),
        ("import time; time.sleep(60)", 0.5, Remark(code=RemarkCode.TOO_LONG, number=1)),
        (
            "import sys; sys.stdin.buffer.readline(); import time; time.sleep(60)",
            0.5,
            Remark(code=RemarkCode.TOO_LONG, number=1),
        ),
        (
            "import os; os.close(1); os.close(2); import time; time.sleep(60)",
            0.5,
            Remark(code=RemarkCode.TOO_LONG, number=1),
        ),
    ],
)
def test_a_worker_that_gives_no_plan_leaves_the_plain_one(code: str, seconds: float, remark: Remark) -> None:
    """Dead, killed, talking nonsense or hanging: the greedy plan, lawful, not proven, with the reason."""
    plan = next(planned(code, seconds=seconds))
    assert plan.by == "greedy"
    assert not plan.proven
    assert plan.remarks == (remark,)
    assert judge(PROBLEM, plan).lawful


def test_a_worker_that_answers_another_problem_is_not_believed() -> None:
    """A plan for another problem is thrown away."""
    code = (
        "from scheduler.planning.problem.codec import plan_to_text; from scheduler.planning.search.stagger import stagger;"
        "from tests.unit.planning.cases import ship; print(plan_to_text(stagger(ship(2, days=30))), end='')"
    )
    plan = next(planned(code))
    assert plan.by == "greedy"
    assert plan.remarks == (Remark(code=RemarkCode.OTHER),)


def test_the_cap_on_memory_holds() -> None:
    """A worker allowed less memory than Python with the solver needs ends, and the plain plan stands in."""
    large = ship(8)
    with Worker(memory_mb=40) as worker:
        plan = worker.plan(large)
    assert plan.by == "greedy"
    assert judge(large, plan).lawful


@pytest.mark.parametrize(
    ("fault", "seconds", "remark"),
    [
        ("os._exit(5)", 20, Remark(code=RemarkCode.ENDED, number=5)),
        ("print('no plan', flush=True)", 20, Remark(code=RemarkCode.UNREAD)),
        pytest.param(
            "import time; time.sleep(60)", 6, Remark(code=RemarkCode.TOO_LONG, number=6), marks=pytest.mark.long
        ),
    ],
)
def test_a_worker_that_fails_is_replaced(fault: str, seconds: float, remark: Remark, tmp_path) -> None:
    """Of three problems the second gets the plain plan, the others their proven ones, the last by another process."""
    file = tmp_path / "turns"
    file.write_text("")
    code = ONCE_IN_TWO.format(file=str(file), fault=fault)
    with Worker(wall_seconds=seconds, command=(sys.executable, "-c", code)) as worker:
        plans = [worker.plan(PROBLEM) for _ in range(3)]
    first, second, third = file.read_text().split()
    assert first == second != third
    assert [plan.by for plan in plans] == ["solver", "greedy", "solver"]
    assert plans[1].remarks == (remark,)
    assert plans[0] == plans[2] == stagger(PROBLEM)


@pytest.mark.long
def test_several_workers_serve_more_threads_than_they_are() -> None:
    """Each of five threads has its plan from one of two workers; when they are left no process of them runs on."""
    found: list[Plan] = []
    with Workers([Worker(), Worker()]) as workers:
        threads = [threading.Thread(target=lambda: found.append(workers.plan(OTHER))) for _ in range(5)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(60)
        running = [worker._child.pid for worker in workers._all if worker._child is not None]
    assert found == [stagger(OTHER)] * 5
    assert len(running) == 2
    for pid in running:
        with pytest.raises(ProcessLookupError):
            os.kill(pid, 0)


def test_a_program_that_stops_waits_for_no_plan() -> None:
    """The worker is ended and nothing is planned in its place."""
    diagnoses = iter([False, True])
    command = (sys.executable, "-c", "import time; time.sleep(60)")
    with Worker(command=command, stopping=lambda: next(diagnoses)) as worker, pytest.raises(Busy, match="stopping"):
        worker.plan(PROBLEM)
