"""The clock as a driver (APScheduler): few fixed ticks, each idempotent, driven by our own tables. No rule lives here."""

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MISSED, JobExecutionEvent
from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.schedulers.background import BackgroundScheduler

from scheduler.actions.base.context import Context
from scheduler.actions.care.backups import nightly_backup
from scheduler.actions.care.rounds import nightly, plan_asked, watch_counters, write_behind
from scheduler.actions.record.chains import daily_walk
from scheduler.actions.work.nonconformities import open_where_due
from scheduler.actions.work.photos import sweep_photos
from scheduler.clock import system_clock
from scheduler.storage.database import INSTALLATION
from scheduler.storage.tasks import alone, take_period

log = logging.getLogger("leadline")
# A tick still at work when its next turn comes ("maximum number of running instances") is no trouble; errors are heard below.
logging.getLogger("apscheduler.scheduler").setLevel(logging.ERROR)

KEEP_UP_SECONDS = 5
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


class Timers:
    """The ticks of one server: keep up with what was posted and asked for, the nightly round and backup, the silent-counter watch.

    Of several servers on one database one at a time is at a tick, and a tick that walks through everything has one turn a period.
    One that fails is logged, kept for readiness, and stops no other.
    """

    def __init__(self, context: Context, refresh: Callable[[str], object]) -> None:
        self._context = context
        self._refresh = refresh
        self._states: dict[str, TimerState] = {}
        self._lock = threading.Lock()
        self._working, self._again = threading.Event(), threading.Event()
        self._scheduler = BackgroundScheduler(
            executors={"default": ThreadPoolExecutor(4), **{name: ThreadPoolExecutor(1) for name in _OWN_THREAD}},
            job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1},
            timezone="UTC",
        )

    def start(self) -> None:
        """Start all ticks; each runs once at once."""
        now = self._context.now()
        settings = self._context.settings
        ticks: tuple[tuple[str, Callable[[], object], timedelta], ...] = (
            (KEEP_UP, lambda: write_behind(self._context, self._refresh), timedelta(seconds=KEEP_UP_SECONDS)),
            (PLANS, lambda: plan_asked(self._context), timedelta(seconds=KEEP_UP_SECONDS)),
            ("limits watch", lambda: open_where_due(self._context), timedelta(hours=1)),
            ("nightly round", lambda: nightly(self._context), timedelta(minutes=10)),
            ("record walk", lambda: daily_walk(self._context), timedelta(hours=1)),
            ("photo sweep", lambda: sweep_photos(self._context), timedelta(days=1)),
            ("nightly backup", lambda: nightly_backup(self._context), timedelta(minutes=10)),
            (
                "silent-counter watch",
                lambda: watch_counters(self._context, self._refresh),
                timedelta(minutes=settings.watch_minutes),
            ),
        )
        for name, act, every in ticks:
            self._scheduler.add_job(
                self._run,
                "interval",
                args=(name, act, every),
                seconds=every.total_seconds(),
                next_run_time=now,
                id=name,
                executor=name if name in _OWN_THREAD else "default",
            )
        self._scheduler.add_listener(self._heard, EVENT_JOB_ERROR | EVENT_JOB_MISSED)
        self._scheduler.start()
        self._context.waker.listen(self._wake)

    def _wake(self) -> None:
        """What was just asked for is done at once instead of at the next tick; a tick that runs goes on once more after it."""
        self._again.set()
        if not self._working.is_set():
            self._scheduler.modify_job(KEEP_UP, next_run_time=system_clock())

    def stop(self) -> None:
        """Stop the ticks and wait for what runs; a plan under way is given up."""
        self._context.waker.listen(None)
        self._context.stopping.set()
        self._scheduler.shutdown(wait=True)

    def trouble(self) -> dict[str, str]:
        """What each tick failed with whose last turn failed, by its name."""
        return {one.name: one.failing for one in self.state() if one.failing is not None}

    def state(self) -> list[TimerState]:
        """How each tick is doing; one that had no turn yet is left out."""
        with self._lock:
            return list(self._states.values())

    def _run(self, name: str, act: Callable[[], object], every: timedelta) -> None:
        with alone(self._context.db, name) as mine:
            if not mine or (name not in _OWN_THREAD and not self._has_turn(name, every)):
                return
            if name == KEEP_UP:
                self._until_nothing_is_asked(act)
            else:
                act()
        self._note(name, None)

    def _has_turn(self, name: str, every: timedelta) -> bool:
        """Whether this period of the tick is this server's: one of all gets it, whenever their clocks tick."""
        now = self._context.now()
        with self._context.db.write(INSTALLATION) as session:
            return take_period(session, name, str(int(now.timestamp() // every.total_seconds())), now)

    def _until_nothing_is_asked(self, act: Callable[[], object]) -> None:
        self._working.set()
        try:
            self._again.set()
            while self._again.is_set() and not self._context.stopping.is_set():
                self._again.clear()
                act()
        finally:
            self._working.clear()

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
