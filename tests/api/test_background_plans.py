"""The plan page never waits on a plan: what takes longer than a moment is made beside it, and the page says for how long already."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path
from threading import Event
from typing import Any
from unittest.mock import patch

import pytest

from scheduler.actions.base.background import BackgroundWork
from scheduler.actions.base.pending import plans_asked
from scheduler.actions.care.rounds import plan_asked
from scheduler.actions.plan import explaining, planning
from scheduler.errors import Busy, Refused, SchedulerError
from scheduler.storage.tasks import failed_pending
from seed_fleet.ships import PLOVER
from tests.api.stage import AT, Stage, staged, stamp
from tests.api.test_plan_page import HTML, PLAN, shown, token, words

PLANT = f"{PLOVER.key}-plant"


@pytest.fixture
def stage(tmp_path: Path) -> Iterator[Stage]:
    """The smaller ship without a plan."""
    with staged(tmp_path, (PLOVER,)) as made:
        yield made


@contextmanager
def _slow(stage: Stage, where: Any, name: str) -> Iterator[Event]:
    """An action that does not end before the event is set; a page gives it no moment at all."""
    gate, act = Event(), getattr(where, name)

    def late(*asked: Any, **more: Any) -> Any:
        assert gate.wait(60)
        return act(*asked, **more)

    stage.context.background.moment_seconds = 0
    with patch.object(where, name, late):
        try:
            yield gate
        finally:
            gate.set()


def _ended(stage: Stage, *about: str) -> None:
    """Waits for what is under way."""
    stage.context.background.moment_seconds = 60
    stage.context.background.answer(about, lambda: None, stage.context.now())


@pytest.mark.long
def test_a_plan_that_takes_long_is_made_beside_the_page(stage: Stage) -> None:
    """The form is answered at once; from a moment on the page says for how long, looks again by itself, and the timers do not make
    the plan a second time. It shows the plan once it is there."""
    browser = stage.enter("engineer-plover")
    with _slow(stage, planning, "propose") as gate:
        answer = browser.post(f"{PLAN}/again", data={"csrf": token(shown(browser)), "days": "28"})
        assert answer.status_code == 303
        stage.context.background.moment_seconds = 2
        for passed, said in (
            (0, ""),
            (1, ""),
            (2, "Planning, 2\N{NO-BREAK SPACE}s."),
            (9, "Planning, 9\N{NO-BREAK SPACE}s."),
        ):
            stage.clock.at += timedelta(seconds=passed)
            page = browser.get(answer.headers["location"], headers=HTML)
            assert ("Planning, " in page.text) is bool(said)
            assert said.replace("\N{NO-BREAK SPACE}", "&nbsp;") in page.text
            assert page.headers.get("refresh") == ("2" if said else None)
            stage.clock.at -= timedelta(seconds=passed)
        stage.clock.at += timedelta(seconds=5)
        assert "refresh" not in browser.get(PLAN, headers=HTML).headers  # whoever fills a form there keeps it
        assert plan_asked(stage.context) == 0
        gate.set()
        _ended(stage, "plan", PLANT)
    page = shown(browser, answer.headers["location"])
    assert "Planned. Look at it, then take it." in words(page)
    assert "Planning," not in page


@pytest.mark.long
def test_a_program_that_asks_for_a_plan_is_answered_at_once_with_what_stands(stage: Stage) -> None:
    """While it is made: 202, since when, where it will be and when to look; there it stands in the end."""
    door = f"/api/v1{PLAN}"
    assert stage.ask("GET", door).json()["planning_since"] is None
    with _slow(stage, planning, "propose") as gate:
        for _ in range(2):
            answer = stage.ask("POST", f"{door}/previews")
            assert answer.status_code == 202, answer.text
            assert (answer.headers["location"], answer.headers["retry-after"]) == (door, "2")
            assert (answer.json()["proposed"], answer.json()["planning_since"]) == (None, stamp(AT))
        assert stage.ask("GET", door).json()["planning_since"] == stamp(AT)
        gate.set()
        _ended(stage, "plan", PLANT)
    there = stage.ask("GET", door).json()
    assert there["planning_since"] is None
    assert there["proposed"]["slots"]


@pytest.mark.long
def test_a_program_that_would_rather_wait_says_for_how_long(stage: Stage) -> None:
    """Prefer: wait=30 gets the plan itself, though no moment is given; another preference, or none, does not."""
    door = f"/api/v1{PLAN}/previews"
    with _slow(stage, planning, "propose") as gate:
        for prefer in ("respond-async", "awaits=30", "wait=0", "wait", "wait=-30"):
            assert stage.ask("POST", door, headers={"Prefer": prefer}).status_code == 202, prefer
        gate.set()
        for prefer in ("wait=30", 'respond-async, Wait = "99999"'):
            answer = stage.ask("POST", door, headers={"Prefer": prefer})
            assert (answer.status_code, answer.json()["planning_since"]) == (201, None), prefer
            assert "location" not in answer.headers


def test_an_answer_that_nobody_came_for_is_none_to_whoever_wants_it_anew() -> None:
    """It is made again; whoever comes for it gets it."""
    work, at, made = BackgroundWork(moment_seconds=0), datetime(2026, 11, 1, tzinfo=UTC), count(1)
    gate = Event()
    for anew, answer in ((False, 1), (True, 2)):
        gate.clear()
        assert work.answer(("plan",), lambda: gate.wait(60) and next(made), at) == (None, at)
        gate.set()
        while work.under_way(("plan",)):
            pass
        work.moment_seconds = 60
        assert work.answer(("plan",), lambda: next(made) + 100, at, anew=anew) == (
            (101 + answer, None) if anew else (1, None)
        )
        work.moment_seconds = 0


@pytest.mark.long
def test_a_breakdown_is_answered_at_once_while_its_plan_is_made(stage: Stage) -> None:
    """It is on record; the sentence says that the plan is being made, which stays asked for."""
    with _slow(stage, planning, "propose") as gate:
        body = {"at": stamp(AT - timedelta(hours=2)), "reason": "coupling broke"}
        answer = stage.ask("POST", f"/api/v1/pumps/{PLOVER.key}-pump-a/breakdowns", json=body)
        assert answer.status_code == 201, answer.text
        assert answer.json()["plan"] == "The new plan is still being made."
        gate.set()
        _ended(stage, "plan", PLANT)
    assert stage.ask("GET", f"/api/v1{PLAN}").json()["proposed"]["slots"]


@pytest.mark.parametrize(
    ("error", "stays"), [(Refused("No."), False), (Busy("Later."), True), (OSError("gone"), False)]
)
def test_a_plan_that_fails_is_said_and_noted(stage: Stage, error: Exception, stays: bool) -> None:
    """Within the moment on the page; noted as failed, or asked for still where the program was stopping."""
    browser = stage.enter("engineer-plover")
    page = shown(browser)
    with patch.object(planning, "propose", side_effect=error):
        answer = browser.post(f"{PLAN}/again", data={"csrf": token(page), "days": "28"})
    assert answer.status_code == (500 if isinstance(error, OSError) else 503 if stays else 422)
    assert not isinstance(error, SchedulerError) or error.says in answer.text
    with stage.context.db.read() as session:
        assert bool(plans_asked(session)) is stays
        failed = failed_pending(session, since=stage.context.now() - timedelta(days=1))
    assert bool(failed) is not stays


@pytest.mark.long
def test_what_would_help_is_found_beside_the_page(stage: Stage) -> None:
    """Asked for twice it is looked for once."""
    browser = stage.enter("engineer-plover")
    browser.post(f"{PLAN}/again", data={"csrf": token(shown(browser)), "days": "28"})
    key = stage.ask("GET", f"/api/v1{PLAN}").json()["proposed"]["slots"][0]["job"]
    with _slow(stage, explaining, "why") as gate:
        for seconds in (1, 3):
            page = browser.get(f"{PLAN}?help={key}", headers=HTML)
            assert f"Planning, {seconds}&nbsp;s: what would help" in page.text
            assert page.headers["refresh"] == "2"
            stage.clock.at += timedelta(seconds=3)
        gate.set()
        stage.context.background.moment_seconds = 60
        page = browser.get(f"{PLAN}?help={key}", headers=HTML)
    assert "By the newest plan it is in time" in page.text
    assert "refresh" not in page.headers
