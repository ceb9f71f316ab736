"""What belongs to no subject: answers of repeated requests, runs of the timers' tasks, what the installation learned by itself."""

import secrets
from datetime import datetime
from typing import Any

from sqlalchemy import func
from sqlmodel import Field, Session, col, select

from scheduler.storage.types import WITHOUT_ROWID, Instant, Json, Row


class IdempotencyRow(Row, table=True):
    """The answer given to a request with an Idempotency-Key, kept so that the same request gets the same answer."""

    vessel_id: str = Field(primary_key=True)
    key: str = Field(primary_key=True)
    actor: str = Field(primary_key=True)
    fingerprint: str
    status: int
    answer: dict[str, Any] = Field(sa_type=Json)
    created_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "created_s"}, index=True)


class RememberedRow(Row, table=True):
    """What the installation learned by itself, by name: such as the address its server was reached by."""

    __table_args__ = (WITHOUT_ROWID,)

    name: str = Field(primary_key=True)
    value: str


class TaskRunRow(Row, table=True):
    """One run of a timer's task for one period: whoever makes this row does the task."""

    task: str = Field(primary_key=True)
    period: str = Field(primary_key=True)
    vessel_id: str | None = Field(default=None, foreign_key="vessel.id")
    started_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "started_s"})
    ended_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "ended_s"})
    outcome: str | None = None


def answer_given(session: Session, vessel_id: str, key: str, actor: str) -> IdempotencyRow | None:
    """The answer kept for that Idempotency-Key of that actor, or none."""
    return session.get(IdempotencyRow, (vessel_id, key, actor))


def task_row(session: Session, name: str, period: str) -> TaskRunRow | None:
    """That run of a timer's task, or none."""
    return session.get(TaskRunRow, (name, period))


def task_rows(session: Session, name: str) -> list[TaskRunRow]:
    """Every run of that task, by period."""
    return list(session.exec(select(TaskRunRow).where(TaskRunRow.task == name).order_by(TaskRunRow.period)))


def open_tasks(session: Session, name: str, begins: str = "") -> list[TaskRunRow]:
    """Runs of that task that have not ended and whose period begins so, oldest first."""
    query = select(TaskRunRow).where(TaskRunRow.task == name, col(TaskRunRow.ended_at).is_(None))
    if begins:  # no pattern: on SQLite that does not tell capitals from small letters
        query = query.where(func.substr(TaskRunRow.period, 1, len(begins)) == begins)
    return list(session.exec(query.order_by(col(TaskRunRow.started_at), TaskRunRow.period)))


def ask_task(session: Session, name: str, vessel_id: str, now: datetime) -> None:
    """Ask for a task: a row of its own each time, so that nobody who asks waits for another; whoever does it ends all it saw."""
    period = f"{vessel_id}@{secrets.token_hex(8)}"
    session.add(TaskRunRow(task=name, period=period, vessel_id=vessel_id, started_at=now))


def task_is_asked(session: Session, name: str) -> bool:
    """Whether a run of that task is asked for."""
    query = select(TaskRunRow.task).where(TaskRunRow.task == name, col(TaskRunRow.ended_at).is_(None))
    return session.exec(query.limit(1)).first() is not None


def failed_tasks(session: Session, since: datetime) -> list[TaskRunRow]:
    """Runs since an instant whose outcome is not good, newest first."""
    query = select(TaskRunRow).where(
        TaskRunRow.started_at >= since, col(TaskRunRow.outcome).is_not(None), TaskRunRow.outcome != "done"
    )
    return list(session.exec(query.order_by(col(TaskRunRow.started_at).desc())))


def task_done_since(session: Session, name: str, begins: str, at: datetime) -> bool:
    """Whether a run of that task whose period begins so ended well at or after an instant."""
    query = select(TaskRunRow.task).where(
        TaskRunRow.task == name,
        func.substr(TaskRunRow.period, 1, len(begins)) == begins,
        TaskRunRow.outcome == "done",
        col(TaskRunRow.ended_at) >= at,
    )
    return session.exec(query.limit(1)).first() is not None


def remembered(session: Session, name: str) -> str:
    """What was remembered under a name, empty when nothing was."""
    row = session.get(RememberedRow, name)
    return "" if row is None else row.value


def remember(session: Session, name: str, value: str) -> None:
    """Remember a value under a name."""
    session.merge(RememberedRow(name=name, value=value))
