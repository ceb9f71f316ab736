"""What belongs to no subject: answers of repeated requests, and what the installation learned by itself."""

from datetime import datetime
from typing import Any

from sqlmodel import Field, Session

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


def answer_given(session: Session, vessel_id: str, key: str, actor: str) -> IdempotencyRow | None:
    """The answer kept for that Idempotency-Key of that actor, or none."""
    return session.get(IdempotencyRow, (vessel_id, key, actor))


def remembered(session: Session, name: str) -> str:
    """What was remembered under a name, empty when nothing was."""
    row = session.get(RememberedRow, name)
    return "" if row is None else row.value


def remember(session: Session, name: str, value: str) -> None:
    """Remember a value under a name."""
    session.merge(RememberedRow(name=name, value=value))
