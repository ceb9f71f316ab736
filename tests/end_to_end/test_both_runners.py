"""The same tasks aboard, by ticks on SQLite, and in the office, by workers on PostgreSQL: the same rows are there after."""

import asyncio
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from api.server.app import make_app
from scheduler import worker
from scheduler.actions.base.context import Context
from scheduler.actions.base.pending import ask_plan
from scheduler.actions.care.failures import of_pending
from scheduler.actions.care.rounds import plan_asked, write_behind
from scheduler.actions.feed.refresh import renew
from scheduler.actions.people import people
from scheduler.actions.plan import planning
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.base.enums import Role
from scheduler.domain.checks.diagnosis import About
from scheduler.errors import Busy, SchedulerError
from scheduler.settings import Settings
from scheduler.solving import Workers
from scheduler.storage.database import Database
from scheduler.storage.tasks import end_pending, pending_row
from scheduler.storage.vessel import AssetKind
from scheduler.tasks import QUEUES, TaskTools, ask_again, ask_in_turn, look, perform, periodic, with_workers
from seed_fleet.ships import PLOVER
from tests.end_to_end.live import TurnedClock
from tests.end_to_end.test_actions import ME, PEN_HERE, PLANT, _post, _put
from tests.storage.stores import kinds, ready_url, store

pytestmark = pytest.mark.skipif("postgresql" not in kinds(), reason="no PostgreSQL here")

MINUTE = timedelta(minutes=1)
ROWS = {
    "pending_task": "vessel_id, plant_id, task, asked > made, tries, outcome",
    "plan": "vessel_id, plant_id, digest, status",
    "slot": "job_key, start_s, end_s",
    "published": "vessel_id, plant_id, job_key, text",
    "feed_event": "vessel_id, uid, text, sequence",
    "feed_body": "vessel_id, name, etag",
    "plant_summary": "vessel_id, plant_id, rank, due_s, turns_s, text",
    "counter": "id, dirty_from_s",
    "flag": "code, at_s",
    "task_run WHERE task NOT IN ('backup', 'tick look')": "task, period",
}
"""What is looked at of each table. Only an SQLite file is backed up without a folder; only workers are woken by looking."""


def rows_of(database: Database) -> dict[str, list[tuple[Any, ...]]]:
    """What tasks leave behind, without the instants of the work itself."""
    with database.read() as session:
        ask = session.connection().exec_driver_sql
        found = {table: [tuple(row) for row in ask(f"SELECT {what} FROM {table}")] for table, what in ROWS.items()}
    return {table: sorted(rows, key=repr) for table, rows in found.items()}


def tools_of(context: Context, workers: Workers) -> TaskTools:
    """What tasks work with."""
    return TaskTools(context=context, refresh=lambda one: renew(context, PEN_HERE, one), solve=workers.plan)


def aboard(context: Context, workers: Workers) -> None:
    """One round of all ticks."""
    tools = tools_of(context, workers)
    for name in periodic(context):
        ask_in_turn(context, name)
        perform(tools, name)
    write_behind(context, tools.refresh)
    plan_asked(context)
    write_behind(context, tools.refresh)


def in_the_office(context: Context, workers: Workers) -> None:
    """The clocks ask; then a worker takes jobs until none is left."""
    for name in periodic(context):
        ask_in_turn(context, name)
    look(context, timedelta(seconds=5))
    app = worker._app(context.db, tools_of(context, workers))

    async def drain() -> None:
        async with app.open_async():
            await app.run_worker_async(queues=list(QUEUES), wait=False, install_signal_handlers=False)

    asyncio.run(drain())


@pytest.mark.long
def test_both_leave_the_same_rows(tmp_path: Path) -> None:
    """Readings derived, plans made, calendars and summaries written, rounds noted: table by table."""
    found = []
    for kind, round_of in (("sqlite", aboard), ("postgresql", in_the_office)):
        with store(kind, tmp_path, fresh=True) as database:
            clock = TurnedClock()
            context = Context(database, clock, Settings(horizon_days=60, workers=kind == "postgresql"))
            if context.settings.workers:
                with_workers(database)
            _post(context, _put(context))
            with context.workers() as workers:
                for _ in range(4):
                    round_of(context, workers)
                    clock.at += MINUTE
            found.append(rows_of(database))
    here, there = found
    assert len(here["plan"]) == 1
    assert here["feed_event"]
    assert {row[3] for row in here["pending_task"]} == {False}
    for table in ROWS:
        assert here[table] == there[table], table


@pytest.fixture
def office(tmp_path: Path) -> Iterator[Context]:
    """A ship in the office, no worker running; nobody waits for long."""
    with store("postgresql", tmp_path, fresh=True) as database:
        with_workers(database)
        context = Context(database, TurnedClock(), Settings(horizon_days=20, workers=True))
        context.background.moment_seconds = 0
        _put(context)
        yield context


@pytest.mark.long
def test_a_page_that_asks_for_a_plan_waits_for_the_worker(office: Context, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is asked for and not made here; once a worker has made it, or failed, the page is told; without one it is told later."""
    place = Place(id=PLANT, vessel_id=PLOVER.vessel, plant_id=PLANT, kind=AssetKind.PLANT)
    about = ("plan", PLANT)
    assert planning.propose_soon(office, place) is not None
    assert office.background.under_way(about)
    with office.db.read() as session:
        row = pending_row(session, "plan", PLOVER.vessel, PLANT)
        assert row is not None
        assert (row.open, row.asked) == (True, 1)
    with office.workers() as workers:
        assert perform(tools_of(office, workers), "plan", PLOVER.vessel, PLANT)
    assert office.background.answer(about, lambda: None, office.now(), wait_seconds=60) == (None, None)
    assert planning.propose_soon(office, place) is not None
    with office.db.write(PLOVER.vessel) as session:
        end_pending(session, "plan", PLOVER.vessel, PLANT, 2, office.now(), "failed: no memory")
    with pytest.raises(SchedulerError, match="no memory"):
        office.background.answer(about, lambda: None, office.now(), wait_seconds=60)
    monkeypatch.setattr(planning, "WORKER_LOOKS", 2)
    monkeypatch.setattr(planning, "WORKER_LOOK_SECONDS", 0.01)
    with pytest.raises(Busy, match="No worker has made the plan yet"):
        planning.propose_soon(office, place, wait_seconds=60)


def test_a_server_whose_tasks_workers_do_runs_none_and_misses_them(tmp_path: Path) -> None:
    """Readiness and figures say so until one has signed; what is asked for is counted."""
    with ready_url("postgresql", tmp_path) as url:
        app = make_app(Settings(database=url, workers=True, base_url="http://leadline.lan"))
        context: Context = app.state.context
        people.add_person(context, ME, person_id="office", name="O", rank="o", role=Role.OFFICE, vessel_id=None)
        key = people.add_key(context, ME, role=Role.OFFICE, label="office", person_id="office")
        with TestClient(app) as client:
            assert app.state.timers is None
            _put(context)
            with context.db.write(PLOVER.vessel) as session:
                ask_plan(session, PLOVER.vessel, PLANT, context.now())
            assert client.get("/readyz").json()["remarks"] == ["No worker runs: no plan and no calendar is made."]
            figures = client.get("/metrics", headers={"Authorization": f"Bearer {key}"}).text
            assert 'leadline_pending_tasks{task="plan"} 1.0' in figures
            assert "leadline_workers 0.0" in figures
            with context.db.write("") as session:
                session.connection().exec_driver_sql("INSERT INTO procrastinate_workers DEFAULT VALUES")
            assert client.get("/readyz").json()["remarks"] == []


@pytest.mark.parametrize(("seconds", "said"), [(899, 0), (900, 1)])
def test_what_waits_a_quarter_of_an_hour_is_said(tmp_path: Path, seconds: int, said: int) -> None:
    """Once for all plants; aboard as well, where no worker is missed."""
    with store("sqlite", tmp_path) as database:
        clock = TurnedClock()
        context = Context(database, clock, Settings())
        for plant in ("a", "b"):
            with database.write("plover") as session:
                ask_plan(session, "plover", plant, clock.at)
        clock.at += timedelta(seconds=seconds)
        with database.read() as session:
            found = of_pending(context, session)
    assert [(one.about, one.name, one.facts["count"]) for one in found] == [(About.PENDING, "plan", 2)] * said


@pytest.mark.parametrize(("seconds", "jobs"), [(899, 0), (900, 1)])
def test_what_was_asked_for_by_somebody_who_knew_of_no_workers_gets_a_job(
    tmp_path: Path, seconds: int, jobs: int
) -> None:
    """A quarter of an hour later, once; what has a job already gets none."""
    with store("postgresql", tmp_path, fresh=True) as database:
        clock = TurnedClock()
        context = Context(database, clock, Settings(workers=True))
        with database.write("plover") as session:
            ask_plan(session, "plover", "plant", clock.at)
        with_workers(database)
        for later in (seconds, 60):
            clock.at += timedelta(seconds=later)
            assert ask_again(context, MINUTE)
            assert not ask_again(context, MINUTE)
            with database.read() as session:
                there = session.connection().exec_driver_sql("SELECT lock FROM procrastinate_jobs").all()
            assert [lock for (lock,) in there] == ["plan plover plant"] * jobs
            jobs = 1
