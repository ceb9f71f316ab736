"""The queue that wakes workers, on PostgreSQL: procrastinate's tables in our database. What is to be done stands in ours."""

import contextlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import timedelta
from functools import cache
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, text
from sqlmodel import Session

from scheduler.errors import Clash, Refused
from scheduler.storage.base import remember, remembered
from scheduler.storage.database import INSTALLATION, Database
from scheduler.storage.foreign import ours

STEP = "task queue"
"""Name under which the last of procrastinate's numbered SQL files is remembered that was applied."""
LISTEN_SECONDS = 10
SILENT_SECONDS = 60
"""A worker signs each two seconds; one that did not for so long is not there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class QueueState:
    """How many workers signed within a minute, and how many jobs wait since longer than asked, by queue."""

    workers: int
    waiting: Mapping[str, int]


@cache
def _deferring() -> Any:
    """procrastinate without a connection of its own; loaded only where there are workers."""
    from procrastinate import App, SyncPsycopgConnector

    return App(connector=SyncPsycopgConnector())


def wake_worker(
    session: Session, task: str, queue: str, vessel_id: str = "", plant_id: str = "", in_seconds: int = 0
) -> None:
    """Put a job for a task into the queue, in the session's own transaction; one that waits already is enough.

    Of one task of one plant or vessel one job runs at a time, and one more waits.
    """
    from procrastinate.exceptions import AlreadyEnqueued

    about = " ".join(filter(None, (task, vessel_id, plant_id)))
    with contextlib.suppress(AlreadyEnqueued), session.begin_nested():
        connection = session.connection().connection.driver_connection  # after the savepoint is set
        _deferring().configure_task(
            task,
            queue=queue,
            lock=about,
            queueing_lock=about,
            schedule_in={"seconds": in_seconds} if in_seconds else None,
            task_kwargs={"vessel_id": vessel_id, "plant_id": plant_id},
            connection=connection,
        ).defer()


def make_queue(database: Database) -> bool:
    """Make the queue's tables where there are none. Whether they were made.

    Raises:
        Refused: the database is SQLite. Clash: they are older than this program's queue; `leadline upgrade` is the way.
    """
    if database.path is not None:
        raise Refused(
            "Workers need PostgreSQL. Put the database there, or take workers out of the settings: the server does all itself."
        )
    return _bring_up(database, make_only=True)


def upgrade_queue(database: Database) -> bool:
    """Bring the queue's tables to this program's step, all SQL files or none. Whether anything was done."""
    return database.path is None and _bring_up(database, make_only=False)


def _bring_up(database: Database, *, make_only: bool) -> bool:
    from procrastinate.schema import SchemaManager

    files = sorted(Path(SchemaManager.get_migrations_path()).glob("*.sql"))
    with database.read() as session:  # nobody's turn to write is waited for where there is nothing to do
        if _there(session.connection()) and remembered(session, STEP) == files[-1].stem:
            return False
    with database.write(INSTALLATION) as session:
        connection, before = session.connection(), remembered(session, STEP)
        if not _there(connection):
            _run(connection, SchemaManager.get_schema())
        elif before == files[-1].stem:
            return False
        elif before > files[-1].stem:
            raise Clash("A newer version of Leadline made the workers' queue. Install that version.")
        elif make_only:
            raise Clash("The workers' queue is of an older version. Run `leadline upgrade`, with no worker running.")
        else:
            for file in files:
                if file.stem > before:
                    _run(connection, file.read_text(encoding="utf-8"))
        remember(session, STEP, files[-1].stem)
    return True


def _run(connection: Connection, statements: str) -> None:
    driver: Any = connection.connection.driver_connection
    driver.execute(statements.encode())  # several statements in one go: as bytes and without values


def _there(connection: Connection) -> bool:
    return connection.execute(text("SELECT to_regclass('procrastinate_jobs')")).scalar_one() is not None


def queue_state(session: Session, waiting: timedelta) -> QueueState:
    """What workers there are and what waits longer than that; none and nothing where there is no queue."""
    connection = session.connection()
    if not _there(connection):
        return QueueState(workers=0, waiting={})
    alive = text(
        "SELECT count(*) FROM procrastinate_workers WHERE last_heartbeat > now() - make_interval(secs => :seconds)"
    )
    old = text(
        "SELECT queue_name, count(*) FROM procrastinate_jobs job WHERE status = 'todo' AND EXISTS (SELECT 1 FROM "
        "procrastinate_events WHERE job_id = job.id AND type = 'deferred' AND at <= now() - make_interval(secs => :seconds)) "
        "GROUP BY queue_name"
    )
    workers = connection.execute(alive, {"seconds": SILENT_SECONDS}).scalar_one()
    waits = connection.execute(old, {"seconds": waiting.total_seconds()})
    return QueueState(workers=workers, waiting={str(name): int(many) for name, many in waits})


def jobs_waiting(session: Session) -> set[tuple[str, str, str]]:
    """(task, vessel, plant) of each job that waits or runs."""
    rows = session.connection().execute(
        text("SELECT task_name, args FROM procrastinate_jobs WHERE status IN ('todo', 'doing')")
    )
    return {(task, args["vessel_id"], args["plant_id"]) for task, args in rows}


def drop_jobs(session: Session, age: timedelta) -> None:
    """Forget jobs that ended longer ago than that: failed ones, since those done well are not kept."""
    if _there(session.connection()):
        over = text(
            "DELETE FROM procrastinate_jobs job WHERE status NOT IN ('todo', 'doing') AND NOT EXISTS (SELECT 1 FROM "
            "procrastinate_events WHERE job_id = job.id AND at > now() - make_interval(secs => :seconds))"
        )
        session.connection().execute(over, {"seconds": age.total_seconds()})


def must_hear(database: Database) -> None:
    """See that a connection hears what another says, as workers must.

    Raises:
        Refused: something between this program and PostgreSQL lends connections by transaction or statement.
        Busy: the database does not answer.
    """
    with _two(database) as (listener, speaker):
        try:
            listener.execute("LISTEN leadline_hears")
            speaker.execute("NOTIFY leadline_hears")
            heard = any(True for _ in listener.notifies(timeout=LISTEN_SECONDS, stop_after=1))
        except Exception:
            with ours():
                raise
    if not heard:
        raise Refused(
            "This address of the database leads through a pool that lends connections by transaction or by statement: workers would "
            "never hear that something is to be done. Give workers the address of PostgreSQL itself, or of a pool by session."
        )


@contextlib.contextmanager
def _two(database: Database) -> Iterator[tuple[Any, Any]]:
    with contextlib.closing(database.connect()) as listener, contextlib.closing(database.connect()) as speaker:
        yield listener, speaker
