"""A process stopped in mid-transaction on PostgreSQL holds up the other writers of its vessel for a bounded time."""

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from scheduler.errors import Busy
from scheduler.storage import database as databases
from scheduler.storage.database import bump_revision, open_database
from tests.storage import stores

pytestmark = pytest.mark.rough
CHILD = """
import sys
from scheduler.errors import Busy
from scheduler.storage import database as databases
databases.STOPPED_SECONDS = 3
opened = databases.open_database(sys.argv[1], check=False)
try:
    with opened.write("plover") as session:
        databases.bump_revision(session, "plover")
        print("inside", flush=True)
        sys.stdin.readline()
        databases.bump_revision(session, "plover")
except Busy as error:
    print(error.says, flush=True)
else:
    print("stored", flush=True)
"""


def test_the_vessel_is_written_on_and_who_stopped_is_refused_in_words(tmp_path: Path) -> None:
    """Meanwhile others are told that it is busy; afterwards they write, and the one that wakes has stored nothing."""
    with stores.ready_url("postgresql", tmp_path) as url:
        command = [sys.executable, "-c", CHILD, url]
        child = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        database = open_database(url, check=False)
        try:
            assert child.stdout is not None
            assert child.stdin is not None
            assert child.stdout.readline() == "inside\n"
            child.send_signal(signal.SIGSTOP)
            ends, number = time.monotonic() + 120, None
            while number is None:
                assert time.monotonic() < ends, "held up for good"
                try:
                    with database.write("plover") as session:
                        number = bump_revision(session, "plover")
                except Busy:
                    continue
            assert number == 1
            child.send_signal(signal.SIGCONT)
            says, _ = child.communicate("on\n", timeout=60)
            assert "stood still for too long" in says
            with database.read() as session:
                found = session.connection().exec_driver_sql("SELECT number FROM revision WHERE vessel_id = 'plover'")
                assert found.scalar_one() == 1
        finally:
            child.kill()
            child.wait()
            database.close()


def test_only_a_writers_silence_is_bounded(tmp_path: Path) -> None:
    """The bound stands in each writer's transaction alone, at five minutes; a reader has none."""
    with stores.ready_url("postgresql", tmp_path) as url:
        database = open_database(url, check=False)
        try:
            ask = "SHOW idle_in_transaction_session_timeout"
            for whose in ("plover", ""):
                with database.write(whose) as session:
                    assert session.connection().exec_driver_sql(ask).scalar_one() == "5min"
                with database.read() as session:
                    assert session.connection().exec_driver_sql(ask).scalar_one() == "0"
            assert databases.STOPPED_SECONDS == 300
        finally:
            database.close()
