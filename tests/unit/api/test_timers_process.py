"""The server's side of the process of the timers, with a small program in its place: woken, heard, begun anew, ended."""

import json
import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from api.server.timers_process import TimersProcess
from scheduler.actions.base.context import Context
from scheduler.actions.care.failures import ALL_TIMERS, of_timers
from scheduler.clock import system_clock
from scheduler.settings import Settings
from scheduler.wording.care import diagnosis_words

PATIENCE_SECONDS = 120
"""At most: what never comes fails the test, a slow machine does not."""
CHILD = """
import json, os, socket
server = socket.socket(fileno=0)
lines = server.makefile("rb")
told = json.loads(lines.readline())
def say(done, failing):
    at = "2026-10-20T07:00:00+00:00"
    one = {"name": "keep up", "done": done, "failures": os.getpid(), "failing": failing, "last_good_at": at}
    server.sendall(json.dumps([one]).encode() + b"\\n")
say(0, told["settings"]["database"])
woken = 0
while heard := lines.read(1):
    woken += len(heard)
    say(woken, None)
"""


def until(found: Callable[[], Any], what: str) -> Any:
    """Asks again until it is true, and gives it."""
    ends = time.monotonic() + PATIENCE_SECONDS
    while not (answer := found()):
        assert time.monotonic() < ends, what
        time.sleep(0.005)
    return answer


@contextmanager
def started(child: str = CHILD, lock: int | None = None) -> Iterator[tuple[TimersProcess, Context]]:
    """A server's timers with that program as their process."""
    context = Context(None, system_clock, Settings(database="a ship's"))  # type: ignore[arg-type]
    timers = TimersProcess(context, lock, command=(sys.executable, "-I", "-S", "-c", child), again_seconds=0.01)
    timers.start()
    try:
        yield timers, context
    finally:
        timers.stop()


def test_the_process_is_told_the_settings_and_woken_and_says_how_the_ticks_do() -> None:
    """What it says is the server's state and trouble; woken it says more; stopped it is gone, and wakes nobody."""
    with started() as (timers, context):
        (first,) = until(timers.state, "never heard")
        assert (first.done, first.failing) == (0, "a ship's")
        assert first.last_good_at == datetime(2026, 10, 20, 7, tzinfo=UTC)
        assert timers.trouble() == {"keep up": "a ship's"}
        for count in (1, 2):
            context.wake()
            until(lambda count=count: timers.state()[0].done == count, "not woken")
        assert timers.trouble() == {}
    assert not Path(f"/proc/{first.failures}").exists()
    context.wake()


def test_one_that_is_killed_is_begun_anew() -> None:
    """The next one is heard in its place, and woken; then nothing is wrong any more."""
    with started() as (timers, context):
        first = until(timers.state, "never heard")[0].failures
        os.kill(first, signal.SIGKILL)
        until(lambda: timers.state()[0].failures != first, "not begun anew")
        context.wake()
        until(lambda: timers.state()[0].done == 1, "the new one is not woken")
        assert timers.trouble() == {}
    assert not Path(f"/proc/{first}").exists()


def test_one_that_cannot_start_is_trouble_in_words_and_stops_nothing() -> None:
    """A program that ends at once: said with its code, tried again, and stopping waits for none of it."""
    with started("import sys; sys.exit(3)") as (timers, _):
        until(timers.trouble, "no trouble")
        assert timers.trouble() == {ALL_TIMERS: "ended with code 3"}
        (one,) = of_timers(timers.trouble())
        says, do = diagnosis_words(one)
        assert says.startswith("The server's timers do not run")
        assert "log" in do


def test_one_that_does_not_hear_is_ended_by_force_where_it_never_answered() -> None:
    """A process that is still starting is at nothing, so that a stop waits for it no longer than a kill takes."""
    with started("import time; time.sleep(1000)") as (timers, _):
        until(lambda: timers._child, "not begun")
        pid = timers._child[0].pid  # type: ignore[index]
    assert not Path(f"/proc/{pid}").exists()


def test_the_right_to_serve_is_held_until_both_have_ended(tmp_path: Path) -> None:
    """The open file that was locked is the process' too; it gets no other, and no setting by its environment."""
    held = os.open(tmp_path / "ship.db.serving", os.O_RDWR | os.O_CREAT)
    child = CHILD.replace(
        "say(0, told",
        f"say(0, json.dumps([os.path.exists('/proc/self/fd/{held}'), 'LEADLINE_X' in os.environ])); (told",
    )
    os.environ["LEADLINE_X"] = "no setting"
    try:
        with started(child, held) as (timers, _):
            assert json.loads(until(timers.state, "never heard")[0].failing) == [True, False]
    finally:
        del os.environ["LEADLINE_X"]
        os.close(held)
