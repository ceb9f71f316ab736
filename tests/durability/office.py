"""An office: many invented ships on PostgreSQL, and worker processes that can be killed, stopped and cut off."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import psycopg

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.base.pending import ask_plan
from scheduler.actions.vessel import changes
from scheduler.actions.vessel.document import VESSEL
from scheduler.clock import system_clock
from scheduler.domain.base.enums import Role
from scheduler.settings import Settings
from scheduler.storage.database import open_database
from scheduler.tasks import ask_in_turn, periodic, with_workers
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import AVOCET, PLOVER

ME = Actor("set up", "set up", Role.ADMIN)
PATIENCE = 150
"""Seconds to wait for other processes at most: what never comes fails the test, a slow machine does not."""


def add_ship(context: Context, number: int) -> tuple[str, str]:
    """One more ship; vessel and plant. Nobody has asked for her plan yet."""
    ship = (PLOVER, AVOCET)[number % 2]
    document = json.dumps(vessel_document(Run(ship, 1, datetime.now(UTC), 0.15)))
    vessel = VESSEL.validate_python(json.loads(document.replace(ship.key, f"{ship.key}{number}")))
    changes.put_vessel(context, ME, vessel, if_new=True)
    return vessel.id, vessel.plants[0].id


def ask_for(context: Context, plants: Iterable[tuple[str, str]]) -> None:
    """A plan of each, in a transaction each."""
    for vessel_id, plant_id in plants:
        with context.db.write(vessel_id) as session:
            ask_plan(session, vessel_id, plant_id, context.now())


@contextmanager
def office(url: str, **settings: Any) -> Iterator[Context]:
    """The context of somebody who asks for tasks that workers do."""
    chosen = Settings(database=url, workers=True, base_url="http://leadline.lan", **settings)
    database = open_database(url)
    try:
        with_workers(database)
        yield Context(database, system_clock, chosen)
    finally:
        database.close()


@contextmanager
def worker(url: str, log: Path, *words: str, **environment: str) -> Iterator["subprocess.Popen[bytes]"]:
    """`leadline worker` in a process group of its own, gone at the end. log: where its words go."""
    own = {name: value for name, value in os.environ.items() if not name.startswith("LEADLINE_")}
    own |= {"LEADLINE_WORKERS": "yes", "LEADLINE_DATABASE": url, "LEADLINE_BASE_URL": "http://leadline.lan"}
    with log.open("ab") as out:
        child = subprocess.Popen(
            [sys.executable, "-m", "api", "worker", *words],
            env={**own, "LEADLINE_LOG": "text", **environment},
            stdout=out,
            stderr=out,
            start_new_session=True,
        )
    try:
        yield child
    finally:
        signal_all(child, signal.SIGKILL)
        child.wait()


def signal_all(child: "subprocess.Popen[bytes]", number: signal.Signals) -> None:
    """To the process and all that it started."""
    with suppress(ProcessLookupError):
        os.killpg(child.pid, number)


def until(found: Callable[[], Any], what: str, patience_seconds: float = PATIENCE) -> Any:
    """What is found, once it is; fails where it never is."""
    end = time.monotonic() + patience_seconds
    while time.monotonic() < end:
        with suppress(psycopg.Error):
            it = found()
            if it:
                return it
        time.sleep(0.1)
    raise AssertionError(f"never: {what}")


def count(url: str, statement: str) -> int:
    """The one figure that a statement gives."""
    with psycopg.connect(url.replace("postgresql+psycopg", "postgresql"), autocommit=True) as connection:
        row = connection.execute(statement.encode()).fetchone()
        assert row is not None
        return int(row[0])


def workers_there(url: str) -> int:
    """Lanes of workers that are in the queue's list."""
    return count(url, "SELECT count(*) FROM procrastinate_workers")


def all_planned(url: str) -> bool:
    """Whether no plan is asked for any more, and no job is left."""
    open_plans = "SELECT count(*) FROM pending_task WHERE task = 'plan' AND asked > made"
    return not count(url, open_plans) and not count(
        url, "SELECT count(*) FROM procrastinate_jobs WHERE task_name = 'plan' AND status IN ('todo', 'doing')"
    )


def plans_by_plant(url: str) -> list[int]:
    """How many plans were stored of each plant since `watch_plans`."""
    with psycopg.connect(url.replace("postgresql+psycopg", "postgresql"), autocommit=True) as connection:
        return [row[0] for row in connection.execute("SELECT count(*) FROM stored_plan GROUP BY vessel_id, plant_id")]


def watch_plans(url: str) -> None:
    """From now on every plan that is stored leaves a row in `stored_plan`, whatever becomes of it."""
    with psycopg.connect(url.replace("postgresql+psycopg", "postgresql"), autocommit=True) as connection:
        connection.execute("CREATE TABLE stored_plan (vessel_id text, plant_id text)")
        connection.execute(
            "CREATE FUNCTION see_plan() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN INSERT INTO stored_plan VALUES (NEW.vessel_id, NEW.plant_id); RETURN NEW; END $$"
        )
        connection.execute("CREATE TRIGGER seen AFTER INSERT ON plan FOR EACH ROW EXECUTE FUNCTION see_plan()")


def cut_connections(url: str) -> int:
    """End every connection to the database but this one; how many."""
    return count(
        url,
        "SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity "
        "WHERE datname = current_database() AND pid != pg_backend_pid()",
    )


def tick_through(url: str, start: Path, name: str, first_s: int, periods: int) -> None:
    """A clock that goes through so many periods of a task as fast as it can, once `start` is there, and asks in each."""
    while not start.exists():
        time.sleep(0.01)
    with office(url) as context:
        every = periodic(context)[name]
        for number in range(periods):
            at = datetime.fromtimestamp(first_s, UTC) + number * every
            ask_in_turn(Context(context.db, lambda at=at: at, context.settings), name)


if __name__ == "__main__":
    tick_through(sys.argv[1], Path(sys.argv[2]), sys.argv[3], int(sys.argv[4]), int(sys.argv[5]))
