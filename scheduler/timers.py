"""The clock as a driver (APScheduler): few fixed ticks, each idempotent, driven by our own tables. No rule lives here."""

import logging
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import Any

from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MISSED, JobExecutionEvent
from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.schedulers.background import BackgroundScheduler

from scheduler.actions.base.context import Context
from scheduler.actions.care.rounds import plan_asked, write_behind
from scheduler.clock import system_clock
from scheduler.storage.tasks import alone
from scheduler.tasks import TaskTools, ask_again, ask_in_turn, look, perform, periodic

log = logging.getLogger("leadline")
# A tick still at work when its next turn comes ("maximum number of running instances") is no trouble; errors are heard below.
logging.getLogger("apscheduler.scheduler").setLevel(logging.ERROR)

KEEP_UP_SECONDS = 5
ROUND = timedelta(minutes=1)
"""So often a tick looks whether a longer period has begun."""
KEEP_UP, PLANS = "keep up", "plans asked for"
_OWN_THREAD = frozenset({KEEP_UP, PLANS})
"""Ticks with a thread of their own: no plan and no walk through everything ever holds up a reading, nor a walk a plan."""


@dataclass(frozen=True, slots=True)
class TimerState:
    """How a tick is doing since the start: turns that ended well, that failed, what the last one failed with (none: it did not)."""

    name: str
    done: int = 0
    failures: int = 0
    failing: str | None = None
    last_good_at: datetime | None = None


class _Ticks:
    """Few ticks of one process. One that fails is logged, kept for readiness, and stops no other."""

    def __init__(self, context: Context) -> None:
        self._context = context
        self._states: dict[str, TimerState] = {}
        self._lock = threading.Lock()
        self._scheduler = BackgroundScheduler(
            executors={"default": ThreadPoolExecutor(4), **{name: ThreadPoolExecutor(1) for name in _OWN_THREAD}},
            job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1},
            timezone="UTC",
        )

    def _begin(self, ticks: Mapping[str, tuple[Callable[[], bool], timedelta]]) -> None:
        """Start all ticks, each with how often it comes; each comes once at once. What it answers: whether it did anything."""
        for name, (act, every) in ticks.items():
            self._scheduler.add_job(
                self._run,
                "interval",
                args=(name, act),
                seconds=every.total_seconds(),
                next_run_time=self._context.now(),
                id=name,
                executor=name if name in _OWN_THREAD else "default",
            )
        self._scheduler.add_listener(self._heard, EVENT_JOB_ERROR | EVENT_JOB_MISSED)
        self._scheduler.start()

    def stop(self) -> None:
        """Stop the ticks and wait for what runs; a plan under way is given up."""
        self._context.stopping.set()
        self._scheduler.shutdown(wait=True)

    def trouble(self) -> dict[str, str]:
        """What each tick failed with whose last turn failed, by its name."""
        return {one.name: one.failing for one in self.state() if one.failing is not None}

    def state(self) -> list[TimerState]:
        """How each tick is doing; one that had no turn yet is left out."""
        with self._lock:
            return list(self._states.values())

    def _run(self, name: str, act: Callable[[], bool]) -> None:
        if act():
            self._note(name, None)

    def _heard(self, event: JobExecutionEvent) -> None:
        problem: Any = event.exception or "missed"
        log.error("timer %s: %s", event.job_id, problem, exc_info=event.exception)
        self._note(event.job_id, f"{type(problem).__name__}: {problem}"[:300])

    def _note(self, name: str, failing: str | None) -> None:
        """One more turn has ended."""
        with self._lock:
            before = self._states.get(name, TimerState(name))
            good = failing is None
            self._states[name] = TimerState(
                name,
                done=before.done + good,
                failures=before.failures + (not good),
                failing=failing,
                last_good_at=self._context.now() if good else before.last_good_at,
            )


class Timers(_Ticks):
    """The ticks of a server that does all tasks itself: keep up with what was posted and asked for, then rounds and watches.

    Of several servers on one database one at a time is at a tick; rounds and watches have one turn a period among all of them.
    """

    def __init__(self, context: Context, refresh: Callable[[str], object]) -> None:
        super().__init__(context)
        self._refresh = refresh
        self._working, self._again = threading.Event(), threading.Event()

    def start(self) -> None:
        """Start all ticks; each runs once at once."""
        soon = timedelta(seconds=KEEP_UP_SECONDS)
        ticks: dict[str, tuple[Callable[[], bool], timedelta]] = {
            KEEP_UP: (self._keep_up, soon),
            PLANS: (lambda: self._alone(PLANS, lambda: plan_asked(self._context)), soon),
        }
        for name, every in periodic(self._context).items():
            ticks[name] = (partial(self._in_turn, name), min(every, ROUND))
        self._begin(ticks)
        self._context.waker.listen(self._wake)

    def stop(self) -> None:
        """Stop the ticks and wait for what runs; a plan under way is given up."""
        self._context.waker.listen(None)
        super().stop()

    def _wake(self) -> None:
        """What was just asked for is done at once instead of at the next tick; a tick that runs goes on once more after it."""
        self._again.set()
        if not self._working.is_set():
            self._scheduler.modify_job(KEEP_UP, next_run_time=system_clock())

    def _alone(self, name: str, act: Callable[[], object]) -> bool:
        with alone(self._context.db, name) as mine:
            if mine:
                act()
            return mine

    def _keep_up(self) -> bool:
        return self._alone(KEEP_UP, self._until_nothing_is_asked)

    def _until_nothing_is_asked(self) -> None:
        self._working.set()
        try:
            self._again.set()
            while self._again.is_set() and not self._context.stopping.is_set():
                self._again.clear()
                write_behind(self._context, self._refresh)
        finally:
            self._working.clear()

    def _in_turn(self, name: str) -> bool:
        """Ask for it, if this period is this server's, and do what is asked for of it: by this tick, or before a server ended."""
        with alone(self._context.db, name) as mine, self._context.workers() as workers:
            if not mine:
                return False
            ask_in_turn(self._context, name)
            tools = TaskTools(context=self._context, refresh=self._refresh, solve=workers.plan)
            return perform(tools, name)


class WorkerTicks(_Ticks):
    """The clock of a worker: its ticks only ask, once a period among the clocks of all workers."""

    def start(self) -> None:
        """Start all ticks; each comes once at once."""
        context, soon = self._context, timedelta(seconds=KEEP_UP_SECONDS)
        ticks: dict[str, tuple[Callable[[], bool], timedelta]] = {
            "look": (lambda: look(context, soon), soon),
            "ask again": (lambda: ask_again(context, ROUND), ROUND),
        }
        for name, every in periodic(context).items():
            ticks[name] = (partial(ask_in_turn, context, name), min(every, ROUND))
        self._begin(ticks)
