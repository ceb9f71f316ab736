"""The line of a vessel to her office, and the changes that were made for it."""

import secrets
from datetime import datetime
from typing import Any

from sqlalchemy import BigInteger, Index, LargeBinary, text
from sqlmodel import Field, Session, select

from scheduler.domain.shore.frame import FIRST_HASH
from scheduler.storage.types import WITHOUT_ROWID, Instant, Json, Row


class ShoreLineRow(Row, table=True):
    """A vessel's line to her office; its row stays locked while a change is numbered.

    life: one unbroken existence of this database; the parent is the life it goes on from since a backup was put back.
    number, hash: of the newest change. urgent: number of the newest that does not wait for its hour. joining: the truth there was
    is being made into changes. acknowledged: number up to which the office has them. rate_bytes: how much goes into a post.
    state, facts: what the office said last; refused_at: since when it refuses what a person must look at.
    """

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    address: str
    key_file: str
    life: str
    parent_life: str = ""
    parent_number: int = Field(default=0, sa_type=BigInteger)
    parent_hash: str = ""
    joining: bool = True
    joined_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "joined_s"})
    number: int = Field(default=0, sa_type=BigInteger)
    hash: str = FIRST_HASH
    urgent: int = Field(default=0, sa_type=BigInteger)
    acknowledged: int = Field(default=0, sa_type=BigInteger)
    rate_bytes: int = Field(default=0, sa_type=BigInteger)
    tried_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "tried_s"})
    reached_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "reached_s"})
    refused_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "refused_s"})
    state: str = ""
    facts: dict[str, Any] = Field(default_factory=dict, sa_type=Json)


class OutboxChangeRow(Row, table=True):
    """What one commit changed, numbered and chained within the vessel. body: its canonical text; at: of the commit; step: of the
    tables, by which its rows are read."""

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    number: int = Field(primary_key=True, sa_type=BigInteger)
    at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "at_s"})
    body: bytes = Field(sa_type=LargeBinary)
    hash: str
    step: str = Field(default="", sa_column_kwargs={"server_default": ""})


class OutboxPackRow(Row, table=True):
    """Changes of one day that the office has, packed as a frame, in case it asks for them again. at: of the newest."""

    __table_args__ = (Index(None, "vessel_id", "at_s"),)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    begins: int = Field(primary_key=True, sa_type=BigInteger)
    ends: int = Field(sa_type=BigInteger)
    at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "at_s"})
    frame: bytes = Field(sa_type=LargeBinary)


class OutboxTouchedRow(Row, table=True):
    """A row of truth that changed while its vessel was joining: it goes after what there was. place: its key, as JSON."""

    __table_args__ = (WITHOUT_ROWID,)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    name: str = Field(primary_key=True)
    place: str = Field(primary_key=True)


def shore_line(session: Session, vessel_id: str) -> ShoreLineRow | None:
    """The vessel's line to her office, none where she has joined none."""
    return session.get(ShoreLineRow, vessel_id)


def shore_lines(session: Session) -> list[ShoreLineRow]:
    """All lines, by vessel."""
    return list(session.exec(select(ShoreLineRow).order_by(ShoreLineRow.vessel_id)))


def begin_lives(session: Session) -> list[str]:
    """After a backup was put back: each vessel goes on as a new life, whose parent is the one in the backup. Returns the vessels.

    Plain SQL: the backup may be of an older step.
    """
    vessels = sorted(session.connection().execute(text("SELECT vessel_id FROM shore_line")).scalars())
    anew = text(
        "UPDATE shore_line SET parent_life = life, parent_number = number, parent_hash = hash, tried_s = NULL, life = :life "
        "WHERE vessel_id = :vessel_id"
    )
    for vessel_id in vessels:
        session.connection().execute(anew, {"vessel_id": vessel_id, "life": secrets.token_hex(16)})
    return vessels
