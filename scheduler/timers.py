"""The clock as a driver (APScheduler): few fixed ticks, each idempotent, driven by our own tables. No rule lives here."""

import logging
import threading
from collections.abc import Callable
from datetime import timedelta
from typing import Any

from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MISSED, JobExecutionEvent
from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.schedulers.background import BackgroundScheduler

from scheduler.actions.base.context import Context
from scheduler.actions.care.rounds import keep_up, nightly, watch_counters
from scheduler.actions.work.nonconformities import open_where_due
from scheduler.storage.leader import Leader

log = logging.getLogger("leadline")

KEEP_UP_SECONDS = 5


class Timers:
    """The ticks of one server: keep up with what was posted and asked for, the nightly round, the silent-counter watch.

    Only the leader of several servers on one database works; a tick that fails is logged, kept for readiness, and
    stops no other.
    """

    def __init__(self, context: Context, refresh: Callable[[str], object]) -> None:
        self._context = context
        self._refresh = refresh
        self._leader = Leader(context.db)
        self._failed: dict[str, str] = {}
        self._lock = threading.Lock()
        self._scheduler = BackgroundScheduler(
            executors={"default": ThreadPoolExecutor(3)},
            job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1},
            timezone="UTC",
        )

    def start(self) -> None:
        """Start all ticks; each runs once at once."""
        now = self._context.now()
        settings = self._context.settings
        ticks: tuple[tuple[str, Callable[[], object], timedelta], ...] = (
            ("keep up", lambda: keep_up(self._context, self._refresh), timedelta(seconds=KEEP_UP_SECONDS)),
            ("limits watch", lambda: open_where_due(self._context), timedelta(hours=1)),
            ("nightly round", lambda: nightly(self._context), timedelta(minutes=10)),
            (
                "silent-counter watch",
                lambda: watch_counters(self._context, self._refresh),
                timedelta(minutes=settings.watch_minutes),
            ),
        )
        for name, act, every in ticks:
            self._scheduler.add_job(
                self._run, "interval", args=(name, act), seconds=every.total_seconds(), next_run_time=now, id=name
            )
        self._scheduler.add_listener(self._heard, EVENT_JOB_ERROR | EVENT_JOB_MISSED)
        self._scheduler.start()

    def stop(self) -> None:
        """Stop the ticks and wait for what runs; a plan under way is given up."""
        self._context.stopping.set()
        self._scheduler.shutdown(wait=True)
        self._leader.release()

    def trouble(self) -> list[str]:
        """What failed at its last run, one sentence a tick."""
        with self._lock:
            return [f"{name}: {says}" for name, says in sorted(self._failed.items())]

    def _run(self, name: str, act: Callable[[], object]) -> None:
        if not self._leader.leads():
            return
        act()
        with self._lock:
            self._failed.pop(name, None)

    def _heard(self, event: JobExecutionEvent) -> None:
        problem: Any = event.exception or "missed"
        log.error("timer %s: %s", event.job_id, problem, exc_info=event.exception)
        with self._lock:
            self._failed[event.job_id] = f"{type(problem).__name__}: {problem}"[:300]
