"""Runs the pure planner in processes of its own, with caps on memory and wall time. It always answers with a plan.

A worker is `python -m scheduler.solving`: a problem as one line of JSON on its standard input, its plan as one line on
its output, and so on until its input ends, since starting a process takes longer than most plans. One that dies, hangs,
or answers something else is replaced, and its problem gets the plain greedy plan, with a remark that says why.
"""

import gc
import logging
import os
import resource
import selectors
import subprocess
import sys
import time
from collections.abc import Callable, Iterable
from importlib import import_module
from math import ceil
from queue import LifoQueue
from typing import Self

from scheduler.errors import Busy
from scheduler.planning.problem.codec import plan_from_text, plan_to_text, problem_from_text, problem_to_text
from scheduler.planning.problem.digest import text_digest
from scheduler.planning.problem.values import Plan, Problem, Remark, RemarkCode
from scheduler.planning.search.model import Model, Solution, SolveEnd
from scheduler.planning.search.stagger import greedy_plan, stagger

log = logging.getLogger("leadline")

SHARE = 0.75
"""Share of the wall time after which the worker searches no further and answers with the best plan it has."""

_LOOK_SECONDS = 0.5
_CHUNK_BYTES = 65_536
_COMMAND = (sys.executable, "-m", "scheduler.solving")


class Worker:
    """A process that plans one problem after another: started when it is first asked, and anew after it failed.

    One thread at a time may ask it. It is ended with the `with` it stands in.

    Args:
        wall_seconds: for each problem, above 0. memory_mb: address space of the process. command: what it runs.
        stopping: asked now and then; when it says true the process is ended.
    """

    def __init__(
        self,
        *,
        wall_seconds: float = 60,
        memory_mb: int = 2048,
        command: tuple[str, ...] = _COMMAND,
        stopping: Callable[[], bool] = lambda: False,
    ) -> None:
        self._wall_seconds = wall_seconds
        self._memory_mb = memory_mb
        self._command = command
        self._stopping = stopping
        self._child: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._end()

    def plan(self, problem: Problem) -> Plan:
        """The plan of the problem; the greedy plan, not proven, when the process gives none.

        Raises:
            Busy: the program is stopping.
        """
        try:
            text = problem_to_text(problem)
            return _believed(self._ask(text.encode() + b"\n"), text_digest(text))
        except _NoPlan as none:
            self._end()
            log.error("%s", " ".join(filter(None, (none.remark.code, none.remark.text, str(none.remark.number or "")))))
            return greedy_plan(problem, none.remark)
        except BaseException:
            self._end()
            raise

    def _ask(self, line: bytes) -> bytes:
        """What the process says to this line."""
        try:
            child = self._running()
        except OSError as error:
            raise _NoPlan(Remark(code=RemarkCode.NOT_STARTED, text=str(error.strerror))) from error
        asked, answer, words = (pipe.fileno() for pipe in (child.stdin, child.stdout, child.stderr) if pipe is not None)
        said = {answer: b"", words: b""}
        ends = time.monotonic() + self._wall_seconds
        with selectors.DefaultSelector() as pipes:
            pipes.register(asked, selectors.EVENT_WRITE)
            for pipe in said:
                pipes.register(pipe, selectors.EVENT_READ)
            while not said[answer].endswith(b"\n"):
                if self._stopping():
                    raise Busy(
                        "The program is stopping; the plan is made when it runs again.", more={"retry_after": 60}
                    )
                left = ends - time.monotonic()
                if left <= 0:
                    raise self._too_long()
                for key, _ in pipes.select(min(_LOOK_SECONDS, left)):
                    if key.fd == asked:
                        line = _told(asked, line)
                        done = not line
                    else:
                        heard = os.read(key.fd, _CHUNK_BYTES)
                        said[key.fd] += heard
                        done = not heard
                    if done:
                        pipes.unregister(key.fd)
                if not said.keys() & pipes.get_map().keys():
                    break
        if said[answer].endswith(b"\n"):
            return said[answer]
        try:
            code = child.wait(max(0.0, ends - time.monotonic()))
        except subprocess.TimeoutExpired:  # it closed its outputs and stays
            raise self._too_long() from None
        if code != 0:
            log.error("planner ended with %s: %s", code, said[words][-2000:].decode(errors="replace"))
            raise _NoPlan(Remark(code=RemarkCode.ENDED, number=code))
        return said[answer]

    def _too_long(self) -> "_NoPlan":
        return _NoPlan(Remark(code=RemarkCode.TOO_LONG, number=ceil(self._wall_seconds)))

    def _running(self) -> subprocess.Popen[bytes]:
        """The process; a new one when there is none, or the last one ended meanwhile."""
        if self._child is not None and self._child.poll() is not None:
            self._end()
        if self._child is None:
            environment = {name: value for name, value in os.environ.items() if not name.startswith("LEADLINE_")}
            environment |= {
                "LEADLINE_WORKER_MB": str(self._memory_mb),
                "LEADLINE_WORKER_SECONDS": str(self._wall_seconds * SHARE),
            }
            environment |= dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
            environment["PYTHONPATH"] = os.pathsep.join(path for path in sys.path if path)
            pipe = subprocess.PIPE
            self._child = subprocess.Popen(  # noqa: S603 - our own
                self._command,
                env=environment,
                stdin=pipe,
                stdout=pipe,
                stderr=pipe,
                bufsize=0,
                process_group=0,  # Ctrl-C is for us alone: a worker that it ended would look like one that failed
            )
            assert self._child.stdin is not None
            os.set_blocking(self._child.stdin.fileno(), False)
        return self._child

    def _end(self) -> None:
        child, self._child = self._child, None
        if child is not None:
            child.kill()
            with child:  # closes its pipes and waits
                pass


class _NoPlan(Exception):
    """A worker gave no plan; `remark` says why."""

    def __init__(self, remark: Remark) -> None:
        super().__init__(remark.code)
        self.remark = remark


class Workers:
    """Several workers: a problem goes to the next that is free. Any thread may ask. Ended with the `with` they stand in."""

    def __init__(self, workers: Iterable[Worker]) -> None:
        self._all = tuple(workers)
        self._free: LifoQueue[Worker] = LifoQueue()
        for worker in self._all:
            self._free.put(worker)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        for worker in self._all:
            worker.__exit__()

    def plan(self, problem: Problem) -> Plan:
        """The plan of the problem, by the next worker that is free.

        Raises:
            Busy: the program is stopping.
        """
        worker = self._free.get()
        try:
            return worker.plan(problem)
        finally:
            self._free.put(worker)


def _believed(said: bytes, digest: str) -> Plan:
    """The plan that was said, if it is one of the problem with this digest."""
    try:
        plan = plan_from_text(said.decode())
    except (ValueError, KeyError, TypeError) as error:
        raise _NoPlan(Remark(code=RemarkCode.UNREAD)) from error
    if plan.problem_digest != digest:
        raise _NoPlan(Remark(code=RemarkCode.OTHER))
    return plan


def _told(pipe: int, line: bytes) -> bytes:
    """What is left to tell of the line; nothing when the process does not listen any more."""
    try:
        return line[os.write(pipe, line[:_CHUNK_BYTES]) :]
    except BrokenPipeError:
        return b""


def work() -> None:
    """The worker: reads problems, a line each, and answers each with its plan."""
    most = int(os.environ.get("LEADLINE_WORKER_MB", "2048")) * 1024 * 1024
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
    seconds = float(os.environ.get("LEADLINE_WORKER_SECONDS", "45"))
    import_module("scheduler.planning.search.highs")
    gc.freeze()  # what is here now stays: the collector need not look through it again and again
    for line in sys.stdin.buffer:
        _answer(line, time.monotonic() + seconds)


def _answer(line: bytes, ends: float) -> None:
    text = line.decode().removesuffix("\n")
    problem, digest = problem_from_text(text), text_digest(text)
    plan = stagger(problem, optimise=lambda model: _in_time(model, ends), digest=digest)
    sys.stdout.buffer.write(plan_to_text(plan).encode() + b"\n")
    sys.stdout.buffer.flush()


def _in_time(model: Model, ends: float) -> Solution:
    """The solver's answer, cut short at `ends` (monotonic seconds): a plan not proven is better than the plain one."""
    from scheduler.planning.search.highs import optimise

    left = ends - time.monotonic()
    return optimise(model, seconds=left) if left > 0 else Solution(outcome=SolveEnd.LIMIT)


if __name__ == "__main__":
    work()
