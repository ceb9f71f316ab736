"""What is asked of the timers and workers: pending tasks as numbers, and which period of a task has had its turn."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import datetime
from typing import Any

from sqlalchemy import BigInteger, ColumnElement, Index, Integer, delete, func, text
from sqlmodel import Field, Session, col, select

from scheduler.storage.database import Database
from scheduler.storage.types import WITHOUT_ROWID, Instant, Row

_OPEN = "asked > made"
DONE = "done"


class PendingTaskRow(Row, table=True):
    """What is asked for of a plant, a vessel (plant "") or the installation (both ""), and how often it was.

    asked, made: it is to be done while more was asked than made. tries: begun so often since it was asked for and not ended.
    asked_at: since when it is open. outcome: of the last end, "done" or what went wrong; none before the first.
    """

    __table_args__ = (
        Index("ix_pending_task_open", "task", sqlite_where=text(_OPEN), postgresql_where=text(_OPEN)),
        WITHOUT_ROWID,
    )

    vessel_id: str = Field(primary_key=True)
    plant_id: str = Field(primary_key=True)
    task: str = Field(primary_key=True)
    asked: int = Field(sa_type=BigInteger)
    made: int = Field(sa_type=BigInteger)
    tries: int = Field(sa_type=Integer)
    asked_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "asked_s"})
    ended_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "ended_s"})
    outcome: str | None = None

    @property
    def open(self) -> bool:
        """Whether it is to be done."""
        return self.asked > self.made


class TaskRunRow(Row, table=True):
    """One run of a timer's task for one period: whoever makes this row does the task."""

    task: str = Field(primary_key=True)
    period: str = Field(primary_key=True)
    vessel_id: str | None = Field(default=None, foreign_key="vessel.id")
    started_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "started_s"})
    ended_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "ended_s"})
    outcome: str | None = None


_ASK = text(
    "INSERT INTO pending_task (vessel_id, plant_id, task, asked, made, tries, asked_s) "
    "VALUES (:vessel_id, :plant_id, :task, 1, 0, 0, :now_s) ON CONFLICT (vessel_id, plant_id, task) DO UPDATE SET "
    "asked_s = CASE WHEN pending_task.asked > pending_task.made THEN pending_task.asked_s ELSE excluded.asked_s END, "
    "tries = CASE WHEN pending_task.asked > pending_task.made THEN pending_task.tries ELSE 0 END, "
    "asked = pending_task.asked + 1"
)
_END = text(
    "UPDATE pending_task SET made = :number, tries = 0, ended_s = :now_s, outcome = :outcome, "
    "asked_s = CASE WHEN asked > :number THEN :now_s ELSE asked_s END "
    "WHERE vessel_id = :vessel_id AND plant_id = :plant_id AND task = :task AND made <= :number AND asked >= :number"
)
_BEGIN = text(
    "UPDATE pending_task SET tries = tries + :more "
    "WHERE vessel_id = :vessel_id AND plant_id = :plant_id AND task = :task AND tries + :more >= 0"
)
_NOTE = text(
    "INSERT INTO pending_task (vessel_id, plant_id, task, asked, made, tries, asked_s, ended_s, outcome) "
    "VALUES (:vessel_id, '', :task, 0, 0, 0, :now_s, :now_s, :outcome) "
    "ON CONFLICT (vessel_id, plant_id, task) DO UPDATE SET ended_s = excluded.ended_s, outcome = excluded.outcome"
)
_PERIOD = text(
    "INSERT INTO task_run (task, period, vessel_id, started_s, ended_s, outcome) "
    "VALUES (:task, :period, :vessel_id, :now_s, :now_s, 'done') ON CONFLICT (task, period) DO NOTHING"
)


def _second(at: datetime) -> int:
    return int(at.timestamp() // 1)


def ask_pending(session: Session, task: str, vessel_id: str, plant_id: str, now: datetime) -> None:
    """Ask for a task once more, in the transaction of the session: what is asked for and rolled back was not asked for."""
    named = {"vessel_id": vessel_id, "plant_id": plant_id, "task": task, "now_s": _second(now)}
    session.connection().execute(_ASK, named)


def end_pending(
    session: Session, task: str, vessel_id: str, plant_id: str, number: int, now: datetime, outcome: str = DONE
) -> None:
    """Note how a task ended that answers what was asked for up to that number; what was asked for since stays open."""
    named = {"vessel_id": vessel_id, "plant_id": plant_id, "task": task}
    session.connection().execute(_END, {**named, "number": number, "now_s": _second(now), "outcome": outcome})


def count_try(session: Session, task: str, vessel_id: str, plant_id: str, more: int = 1) -> None:
    """Note that a task was begun once more; -1: that it was given back as if not begun."""
    named = {"vessel_id": vessel_id, "plant_id": plant_id, "task": task, "more": more}
    session.connection().execute(_BEGIN, named)


def pending_row(session: Session, task: str, vessel_id: str, plant_id: str) -> PendingTaskRow | None:
    """A task as it is asked for now, or none where it never was."""
    return session.get(PendingTaskRow, (vessel_id, plant_id, task), populate_existing=True)


def open_pending(
    session: Session, task: str | None = None, *, asked_by: datetime | None = None
) -> list[PendingTaskRow]:
    """What is to be done, of one task or of all, the longest asked for first. asked_by: what was open at that instant already."""
    row, query = PendingTaskRow, select(PendingTaskRow).where(text(_OPEN))
    if task is not None:
        query = query.where(row.task == task)
    if asked_by is not None:
        query = query.where(row.asked_at <= asked_by)
    return _rows(session, query.order_by(col(row.asked_at), row.vessel_id, row.plant_id, row.task))


def task_is_pending(session: Session, task: str) -> bool:
    """Whether that task is to be done anywhere."""
    query = select(PendingTaskRow.task).where(text(_OPEN), PendingTaskRow.task == task)
    return session.exec(query.limit(1)).first() is not None


def pending_counts(session: Session) -> dict[str, int]:
    """How many are to be done, by task; none of them is left out."""
    found: dict[str, int] = {}
    for (task,) in session.connection().execute(text(f"SELECT task FROM pending_task WHERE {_OPEN}")):  # noqa: S608
        found[task] = found.get(task, 0) + 1
    return found


def note_outcome(session: Session, task: str, vessel_id: str, now: datetime, outcome: str) -> None:
    """Note how a vessel's task went that is asked for by no number, but by what is stored of her."""
    named = {"task": task, "vessel_id": vessel_id, "now_s": _second(now), "outcome": outcome}
    session.connection().execute(_NOTE, named)


def failed_pending(session: Session, task: str | None = None, *, since: datetime | None = None) -> list[PendingTaskRow]:
    """Tasks, or one task, whose last end was not good, at or after an instant; the newest first."""
    row = PendingTaskRow
    query = select(row).where(col(row.outcome).is_not(None), row.outcome != DONE)
    if task is not None:
        query = query.where(row.task == task)
    if since is not None:
        query = query.where(col(row.ended_at) >= since)
    return _rows(session, query.order_by(col(row.ended_at).desc(), row.vessel_id, row.plant_id, row.task))


def drop_pending(session: Session, vessel_id: str, plant_id: str = "", task: str | None = None) -> None:
    """Nothing is asked for any more of a plant, or of a vessel by that task, nor known of how it went."""
    row = PendingTaskRow
    mine: list[ColumnElement[bool]] = [col(row.vessel_id) == vessel_id, col(row.plant_id) == plant_id]
    if task is not None:
        mine.append(col(row.task) == task)
    session.connection().execute(delete(row).where(*mine))


def _rows(session: Session, query: Any) -> list[PendingTaskRow]:
    """As stored now, whatever the session has seen before."""
    return list(session.exec(query.execution_options(populate_existing=True)))


def take_period(session: Session, task: str, period: str, now: datetime, vessel_id: str | None = None) -> bool:
    """Whether that period of the task is the caller's: of all who ask one gets it, once that one has committed."""
    named = {"task": task, "period": period, "vessel_id": vessel_id, "now_s": _second(now)}
    return session.connection().execute(_PERIOD, named).rowcount == 1


def drop_periods(session: Session, before: datetime, begins: str = "") -> None:
    """Forget the periods that began before an instant, of tasks whose name begins so."""
    row = TaskRunRow
    old = delete(row).where(col(row.started_at) < before, func.substr(row.task, 1, len(begins)) == begins)
    session.connection().execute(old)


def task_row(session: Session, name: str, period: str) -> TaskRunRow | None:
    """That run of a timer's task, or none."""
    return session.get(TaskRunRow, (name, period))


def task_rows(session: Session, name: str) -> Sequence[TaskRunRow]:
    """Every run of that task, by period."""
    return list(session.exec(select(TaskRunRow).where(TaskRunRow.task == name).order_by(TaskRunRow.period)))


def failed_periods(session: Session, since: datetime) -> list[TaskRunRow]:
    """Periods begun since an instant whose outcome is not good, newest first."""
    query = select(TaskRunRow).where(
        TaskRunRow.started_at >= since, col(TaskRunRow.outcome).is_not(None), TaskRunRow.outcome != DONE
    )
    return list(session.exec(query.order_by(col(TaskRunRow.started_at).desc())))


@contextmanager
def alone(database: Database, name: str) -> Iterator[bool]:
    """Whether nobody else on this database is at what is named, for the block: by an advisory lock on a connection of its own,
    which ends with the process, however that ends. An SQLite file has one server (`serving.only_server`): there it is always so.

    Raises:
        Busy: the database does not answer.
    """
    if database.path is not None:
        yield True
        return
    connection = database.connect()
    try:
        (won,) = connection.execute(
            "SELECT pg_try_advisory_lock(hashtextextended(%s, 0))", (f"leadline {name}",)
        ).fetchone()
        yield bool(won)
    finally:
        with suppress(Exception):  # said aloud, since the server notices a closed connection only later
            connection.execute("SELECT pg_advisory_unlock_all()")
        connection.close()
