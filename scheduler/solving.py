"""Runs the pure planner in a process of its own, with caps on memory and wall time. It always answers with a plan.

The child is `python -m scheduler.solving`: problem as JSON on its standard input, plan as JSON on its output. A child
that dies, hangs, or answers something else leaves the plain greedy plan, with a remark that says why.
"""

import logging
import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable

from scheduler.errors import Busy
from scheduler.planning.codec import plan_from_text, plan_to_text, problem_from_text, problem_to_text
from scheduler.planning.digest import problem_digest
from scheduler.planning.model import Answer, Model, Outcome
from scheduler.planning.problem import Plan, Problem
from scheduler.planning.stagger import greedy_plan, stagger

log = logging.getLogger("leadline")

SHARE = 0.75
"""Share of the wall time after which the worker searches no further and answers with the best plan it has."""

_LOOK_SECONDS = 0.5
_WORKER = (sys.executable, "-m", "scheduler.solving")


def solve(
    problem: Problem,
    *,
    wall_seconds: float = 60,
    memory_mb: int = 2048,
    worker: tuple[str, ...] = _WORKER,
    stopping: Callable[[], bool] = lambda: False,
) -> Plan:
    """The plan of the problem; the greedy plan, not proven, when the worker gives none.

    Args:
        wall_seconds: above 0. memory_mb: address space of the worker. worker: the command that plans. stopping: asked now
            and then; when it says true the worker is ended.

    Raises:
        Busy: the program is stopping.
    """
    environment = {name: value for name, value in os.environ.items() if not name.startswith("LEADLINE_")}
    environment |= {"LEADLINE_WORKER_MB": str(memory_mb), "LEADLINE_WORKER_SECONDS": str(wall_seconds * SHARE)}
    environment |= dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    environment["PYTHONPATH"] = os.pathsep.join(path for path in sys.path if path)
    try:
        done = _run(worker, problem_to_text(problem).encode(), environment, wall_seconds, stopping)
    except subprocess.TimeoutExpired:
        return _plainly(problem, f"The planner took longer than {wall_seconds:g} s.")
    except OSError as error:
        return _plainly(problem, f"The planner could not be started: {error.strerror}.")
    if done.returncode != 0:
        log.error("planner ended with %s: %s", done.returncode, done.stderr[-2000:].decode(errors="replace"))
        return _plainly(problem, f"The planner ended with code {done.returncode}.")
    try:
        plan = plan_from_text(done.stdout.decode())
    except (ValueError, KeyError, TypeError):
        return _plainly(problem, "The planner's answer could not be read.")
    if plan.problem_digest != problem_digest(problem):
        return _plainly(problem, "The planner answered another problem.")
    return plan


def _run(
    worker: tuple[str, ...], text: bytes, environment: dict[str, str], wall_seconds: float, stopping: Callable[[], bool]
) -> subprocess.CompletedProcess[bytes]:
    """As subprocess.run, but it looks now and then whether it should go on."""
    ends = time.monotonic() + wall_seconds
    pipe = subprocess.PIPE
    with subprocess.Popen(worker, env=environment, stdin=pipe, stdout=pipe, stderr=pipe) as child:  # noqa: S603 - our own
        told: bytes | None = text  # handed over once; asked again, communicate goes on with it
        try:
            while True:
                if stopping():
                    raise Busy(
                        "The program is stopping; the plan is made when it runs again.", more={"retry_after": 60}
                    )
                left = ends - time.monotonic()
                try:
                    out, err = child.communicate(told, timeout=min(_LOOK_SECONDS, max(left, 0.01)))
                except subprocess.TimeoutExpired:
                    if left <= _LOOK_SECONDS:
                        raise
                    told = None
                    continue
                return subprocess.CompletedProcess(worker, child.returncode, out, err)
        except BaseException:
            child.kill()
            raise


def _plainly(problem: Problem, why: str) -> Plan:
    log.error("%s The plain rule is used.", why)
    return greedy_plan(problem, f"{why} The plain rule was used instead: earliest due first.")


def work() -> None:
    """The worker: reads a problem, answers with its plan."""
    most = int(os.environ.get("LEADLINE_WORKER_MB", "2048")) * 1024 * 1024
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
    ends = time.monotonic() + float(os.environ.get("LEADLINE_WORKER_SECONDS", "45"))
    problem = problem_from_text(sys.stdin.buffer.read().decode())
    sys.stdout.write(plan_to_text(stagger(problem, optimise=lambda model: _in_time(model, ends))))


def _in_time(model: Model, ends: float) -> Answer:
    """The solver's answer, cut short at `ends` (monotonic seconds): a plan not proven is better than the plain one."""
    from scheduler.planning.highs import optimise

    left = ends - time.monotonic()
    return optimise(model, seconds=left) if left > 0 else Answer(outcome=Outcome.LIMIT)


if __name__ == "__main__":
    work()
