"""The timers in a process of their own beside a server on SQLite: what they compute keeps no page waiting for Python's one lock.

`python -m api.server.timers_process` has a socket to its server as standard input. From there comes a line of JSON, the
settings; then each byte wakes the ticks, and its end ends the process. It answers with how the ticks are doing, a line of JSON
each time that changed. It logs where the server does. A server that is killed takes it along.
"""

import json
import logging
import os
import selectors
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict
from datetime import datetime
from typing import Any

from api.ics.writer import calendar_writer
from api.server.logs import set_up
from api.server.processes import ends_with, settle
from scheduler.actions.base.context import Context
from scheduler.actions.care.failures import ALL_TIMERS
from scheduler.actions.feed import refresh
from scheduler.clock import system_clock
from scheduler.errors import SchedulerError
from scheduler.settings import Settings
from scheduler.storage.database import open_database
from scheduler.timers import Timers, TimerState

log = logging.getLogger("leadline")

COMMAND = (sys.executable, "-m", "api.server.timers_process")
AGAIN_SECONDS = 2.0
"""Before a process that ended unasked is begun anew, each time twice as long: one that cannot start does not take the machine."""
_LONGEST_WAIT_SECONDS, _WELL_SECONDS = 60.0, 60.0
"""It never waits for longer; one that lived for so long had started well."""
_END_SECONDS = 20.0
"""So long the ticks may take to end what they are at."""
_LOOK_SECONDS = 1.0


class TimersProcess:
    """Starts the process, wakes it, hears how its ticks are doing, and begins it anew where it ended unasked.

    Args:
        context: the server's own. lock: the open file that is the right to serve the database (`serving.only_server`): both
            hold it, so that it is free once the last of them has ended. command: what is run.
    """

    def __init__(
        self,
        context: Context,
        lock: int | None = None,
        command: tuple[str, ...] = COMMAND,
        again_seconds: float = AGAIN_SECONDS,
    ) -> None:
        self._context, self._command, self._again_seconds = context, command, again_seconds
        self._lock_files: tuple[int, ...] = () if lock is None else (lock,)
        self._ending = threading.Event()
        self._guard = threading.Lock()
        self._child: tuple[subprocess.Popen[bytes], socket.socket] | None = None
        self._heard = threading.Event()
        self._states: list[TimerState] = []
        self._down: str | None = None
        self._watcher = threading.Thread(target=self._watch, name="timers", daemon=True)

    def start(self) -> None:
        """Start the process, and watch it."""
        self._context.waker.listen(self._wake)
        self._watcher.start()

    def stop(self) -> None:
        """End the process, and wait for what it is at; a plan under way is given up."""
        self._context.waker.listen(None)
        self._context.stopping.set()
        with self._guard:
            self._ending.set()
            self._ask_to_end()
        if self._heard.is_set():  # else it is still starting, and at nothing
            self._watcher.join(_END_SECONDS)
        with self._guard:
            if self._child is not None:
                self._child[0].kill()
        self._watcher.join()

    def state(self) -> list[TimerState]:
        """How each tick is doing, as last heard."""
        return list(self._states)

    def trouble(self) -> dict[str, str]:
        """What each tick failed with whose last turn failed, by its name; and that the process is not there, while it is not."""
        found = {one.name: one.failing for one in self._states if one.failing is not None}
        return found if self._down is None else {**found, ALL_TIMERS: self._down}

    def _wake(self) -> None:
        with self._guard:
            if self._child is not None:
                with suppress(OSError):  # it has enough to read, or is gone: then it begins with a look at everything
                    self._child[1].send(b"w", socket.MSG_DONTWAIT)

    def _ask_to_end(self) -> None:
        if self._child is not None:
            with suppress(OSError):
                self._child[1].shutdown(socket.SHUT_WR)

    def _watch(self) -> None:
        """Goes on as long as a process may be there: the system ends a child together with the thread that started it."""
        wait = self._again_seconds
        while not self._ending.is_set():
            began = time.monotonic()
            try:
                ended = self._live_once()
            except OSError as error:
                ended = f"not started: {error.strerror or error}"
            if self._ending.is_set():
                return
            if time.monotonic() - began > _WELL_SECONDS:
                wait = self._again_seconds
            self._down = ended
            log.error("the process of the timers: %s; it is begun anew in %g s", ended, wait)
            self._ending.wait(wait)
            wait = min(2 * wait, _LONGEST_WAIT_SECONDS)

    def _live_once(self) -> str:
        """One life of the process; how it ended."""
        environment = {name: value for name, value in os.environ.items() if not name.startswith("LEADLINE_")}
        environment["PYTHONPATH"] = os.pathsep.join(path for path in sys.path if path)
        ours, its = socket.socketpair()
        with ours:
            with its:
                child = subprocess.Popen(  # noqa: S603 - our own
                    self._command,
                    env=environment,
                    stdin=its.fileno(),
                    pass_fds=self._lock_files,
                    process_group=0,  # Ctrl-C is for the server, which then says when to end
                )
            with suppress(OSError):
                ours.sendall(
                    json.dumps({"parent": os.getpid(), "settings": asdict(self._context.settings)}).encode() + b"\n"
                )
            with self._guard:
                self._child = child, ours
                if self._ending.is_set():
                    self._ask_to_end()
            with suppress(OSError), ours.makefile("rb") as said:
                for line in said:
                    if line.endswith(b"\n"):  # one that is cut off is no news
                        self._states, self._down = [_state_of(one) for one in json.loads(line)], None
                        self._heard.set()
            code = child.wait()
            with self._guard:
                self._child = None
                self._heard.clear()
        return f"ended by signal {-code}" if code < 0 else f"ended with code {code}"


def _state_of(told: Mapping[str, Any]) -> TimerState:
    at = told["last_good_at"]
    return TimerState(**{**told, "last_good_at": None if at is None else datetime.fromisoformat(at)})


def run_timers() -> int:
    """The process; its exit code."""
    signal.signal(signal.SIGTERM, lambda *_: None)  # a service manager sends it to all; the server says when to end
    server = socket.socket(fileno=0)
    with server.makefile("rb") as said:
        told = json.loads(said.readline() or "{}")
        if not told or not ends_with(told["parent"], signal.SIGKILL):
            return 0
    settings = Settings(**told["settings"])
    set_up(settings.log, settings.log_level)
    try:
        _tick_until_asked_to_end(server, settings)
    except SchedulerError as error:
        log.error("the timers: %s", error.says)
        return 1
    return 0


def _tick_until_asked_to_end(server: socket.socket, settings: Settings) -> None:
    context = Context(open_database(settings.database, create=False, check=False), system_clock, settings)
    try:
        write = calendar_writer(settings.shown_base_url())
        timers = Timers(context, lambda vessel_id: refresh.renew(context, write, vessel_id))
        settle()
        timers.start()
        try:
            _answer_until_asked_to_end(server, context, timers)
        finally:
            timers.stop()
    finally:
        context.db.close()


def _answer_until_asked_to_end(server: socket.socket, context: Context, timers: Timers) -> None:
    told: list[TimerState] | None = None
    with selectors.DefaultSelector() as looking, suppress(OSError):
        looking.register(server, selectors.EVENT_READ)
        while True:
            if looking.select(_LOOK_SECONDS):
                if not server.recv(4096):
                    return
                context.wake()
            now = timers.state()
            if now != told:
                told = now
                server.sendall(json.dumps([asdict(one) for one in now], default=datetime.isoformat).encode() + b"\n")


if __name__ == "__main__":
    sys.exit(run_timers())
