"""What is posted is kept up with, whatever else the ticks are at."""

from datetime import UTC, datetime
from pathlib import Path
from threading import Event, Semaphore
from typing import Any

import pytest

from scheduler import timers
from scheduler.actions.base.context import Context
from scheduler.actions.care import rounds
from scheduler.clock import system_clock
from scheduler.settings import Settings
from tests.storage.stores import store

AT = datetime(2026, 10, 20, 7, tzinfo=UTC)
PATIENCE = 120
"""Seconds to wait for another thread at most: one that is never woken fails the test, a slow machine does not."""


def test_plans_and_walks_that_take_long_hold_back_no_reading(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With every other tick at work and none of them ending, what was posted is derived at once each time it is woken for."""
    over, derived, begun = Event(), Semaphore(0), Semaphore(0)

    def long(*_: Any) -> None:
        begun.release()
        over.wait(PATIENCE)

    monkeypatch.setattr(timers, "plan_asked", long)
    monkeypatch.setattr(timers, "perform", long)
    monkeypatch.setattr(timers, "write_behind", lambda *_: derived.release())
    with store("sqlite", tmp_path) as db:
        ticks = timers.Timers(Context(db, system_clock, Settings()), lambda _: None)
        ticks.start()
        try:
            assert derived.acquire(timeout=PATIENCE)
            for _ in range(5):  # the four threads that all others share, and that of the plans
                assert begun.acquire(timeout=PATIENCE)
            for _ in range(3):
                ticks._context.wake()
                assert derived.acquire(timeout=PATIENCE)
        finally:
            over.set()
            ticks.stop()


def test_what_is_posted_waits_for_one_vessels_calendar_at_most(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of many vessels that are behind, each is followed by a look for readings; the fleet's calendar comes last, where it is due."""
    done: list[str] = []
    monkeypatch.setattr(rounds, "derive_all", lambda _: done.append("readings"))
    monkeypatch.setattr(rounds, "stale_vessels", lambda *_: ["a", "b"])
    for due in (True, False):
        monkeypatch.setattr(rounds, "fleet_is_behind", lambda *_, due=due: due)
        context = Context(None, lambda: AT, Settings())  # type: ignore[arg-type]
        rounds.write_behind(context, done.append)
        assert done == ["readings", "a", "readings", "b", "readings", *([""] if due else [])]
        done.clear()
        context.stopping.set()
        rounds.write_behind(context, done.append)
        assert done == ["readings"]
        done.clear()
