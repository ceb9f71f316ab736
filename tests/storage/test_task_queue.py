"""The workers' queue on PostgreSQL: it wakes in the transaction that asks, once; and workers hear what is said."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from scheduler.errors import Clash, Refused
from scheduler.storage import task_queue
from scheduler.storage.base import remember, remembered
from scheduler.storage.database import Database, bump_revision, open_database
from scheduler.storage.migrate import create_or_check, upgrade
from scheduler.storage.task_queue import STEP, make_queue, must_hear, queue_state, upgrade_queue, wake_worker
from scheduler.storage.waking import wake_for
from scheduler.tasks import with_workers
from tests.storage.stores import kinds, store

pytestmark = pytest.mark.skipif("postgresql" not in kinds(), reason="no PostgreSQL here")


@pytest.fixture
def office(tmp_path: Path) -> Iterator[Database]:
    """A database of its own, with the queue."""
    with store("postgresql", tmp_path, fresh=True) as database:
        with_workers(database)
        yield database


def jobs(database: Database) -> list[tuple[Any, ...]]:
    """(task, queue, lock, status) of each, in order."""
    with database.read() as session:
        rows = session.connection().exec_driver_sql(
            "SELECT task_name, queue_name, lock, status FROM procrastinate_jobs ORDER BY id"
        )
        return [tuple(row) for row in rows]


def test_a_job_is_of_the_transaction_that_asks_for_it_and_waits_once(office: Database) -> None:
    """Asked for twice there is one, and what else the transaction wrote; rolled back none; asked for while it runs, one more."""
    with pytest.raises(ZeroDivisionError), office.write("plover") as session:  # noqa: PT012
        wake_for(session, "plan", "plover", "plover-plant")
        raise ZeroDivisionError
    assert jobs(office) == []
    with office.write("plover") as session:
        wake_for(session, "plan", "plover", "plover-plant")
        wake_for(session, "plan", "plover", "plover-plant")
        bump_revision(session, "plover")
        bump_revision(session, "plover")
    plan, calendar = ("plan", "plan", "plan plover plover-plant"), ("calendar", "show", "calendar plover")
    assert jobs(office) == [(*plan, "todo"), (*calendar, "todo")]
    with office.write("") as session:
        session.connection().exec_driver_sql("UPDATE procrastinate_jobs SET status = 'doing'")
    with office.write("plover") as session:
        wake_for(session, "plan", "plover", "plover-plant")
    assert jobs(office) == [(*plan, "doing"), (*calendar, "doing"), (*plan, "todo")]


def test_what_waits_long_and_who_is_there_is_counted(office: Database) -> None:
    """A job counts from the second it has waited that long; a worker until it was silent for longer than a minute."""
    with office.write("") as session:
        wake_worker(session, "plan", "plan", "plover", "plover-plant")
        ask = session.connection().exec_driver_sql
        ask("UPDATE procrastinate_events SET at = now() - interval '900 seconds'")
        assert queue_state(session, timedelta(seconds=900)).waiting == {"plan": 1}
        assert queue_state(session, timedelta(seconds=901)).waiting == {}
        for seconds in (50, 70):
            ask(f"INSERT INTO procrastinate_workers (last_heartbeat) VALUES (now() - interval '{seconds} seconds')")
        assert queue_state(session, timedelta(seconds=900)).workers == 1


def test_an_ended_job_is_forgotten_after_its_time_and_no_other(office: Database) -> None:
    """Failed a week ago it goes; failed since, or waiting for ever so long, it stays."""
    with office.write("") as session:
        ask = session.connection().exec_driver_sql
        for plant, status, age in (("a", "failed", 170), ("b", "failed", 160), ("c", "todo", 999)):
            wake_worker(session, "plan", "plan", "plover", plant)
            ask(f"UPDATE procrastinate_jobs SET status = '{status}' WHERE lock = 'plan plover {plant}'")
            newest = "job_id = (SELECT max(id) FROM procrastinate_jobs)"
            ask(f"UPDATE procrastinate_events SET at = now() - interval '{age} hours' WHERE {newest}")
        task_queue.drop_jobs(session, timedelta(days=7))
    assert [lock[-1] for _, _, lock, _ in jobs(office)] == ["b", "c"]


def test_the_queue_is_made_once_and_upgraded_by_its_numbered_files(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No server makes an older one newer, the command does; a newer one is left alone; our own steps go their own way."""
    from procrastinate.schema import SchemaManager

    with store("postgresql", tmp_path, fresh=True) as database:
        assert make_queue(database)
        with database.write(""):  # whoever has the turn to write: a start needs none once it is there
            assert not make_queue(database)
        assert not upgrade_queue(database)
        folder = tmp_path / "sql"
        folder.mkdir()
        for old in Path(SchemaManager.get_migrations_path()).glob("*.sql"):
            (folder / old.name).write_text("THIS WAS APPLIED ALREADY;")
        (folder / "99.00.00_01_more.sql").write_text(
            "CREATE TABLE more (no INTEGER); CREATE TABLE yet_more (no INTEGER);"
        )
        monkeypatch.setattr(SchemaManager, "get_migrations_path", staticmethod(lambda: str(folder)))
        with pytest.raises(Clash, match="leadline upgrade"):
            make_queue(database)
        assert upgrade_queue(database)
        assert not make_queue(database)
        with database.write("") as session:
            assert remembered(session, STEP) == "99.00.00_01_more"
            session.connection().exec_driver_sql("INSERT INTO yet_more VALUES (1)")
            remember(session, STEP, "99.00.00_02_of_another_version")
        with pytest.raises(Clash, match="newer version"):
            make_queue(database)
        create_or_check(database)
        assert upgrade(database.url.render_as_string(hide_password=False)).backup is None


def test_an_sqlite_file_has_no_workers(sqlite: Database) -> None:
    """It is said; and nothing is there to be upgraded."""
    with pytest.raises(Refused, match="Workers need PostgreSQL"):
        with_workers(sqlite)
    assert not upgrade_queue(sqlite)


class Lent:
    """A connection as a pool lends it that takes it back after each statement: each goes through another one."""

    def __init__(self, database: Database) -> None:
        self._connect = lambda: Database.connect(database)

    def execute(self, statement: str) -> None:
        """On a connection of its own."""
        connection = self._connect()
        connection.execute(statement)
        connection.close()

    def notifies(self, **told: Any) -> Iterator[Any]:
        """What yet another one hears."""
        connection = self._connect()
        yield from connection.notifies(**told)
        connection.close()

    def close(self) -> None:
        """Nothing is open."""


def test_a_pool_that_lends_by_statement_is_refused_in_words(office: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    """A worker behind it would hear nothing; PostgreSQL itself is heard at once."""
    must_hear(office)
    monkeypatch.setattr(task_queue, "LISTEN_SECONDS", 0.2)
    lent = open_database(office.url.render_as_string(hide_password=False))
    monkeypatch.setattr(lent, "connect", lambda: Lent(office))
    with pytest.raises(Refused, match="a pool that lends connections"):
        must_hear(lent)
    lent.close()
