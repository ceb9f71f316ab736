"""Photos as rows: beside PostgreSQL there is no folder, and each of several servers must have what another one took in."""

from datetime import datetime

from sqlalchemy import LargeBinary
from sqlmodel import Field, Session, col, select

from scheduler.storage.types import Instant, Row


class PhotoFileRow(Row, table=True):
    """A photo's content, under the name that a file of it would have."""

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    name: str = Field(primary_key=True)
    content: bytes = Field(sa_type=LargeBinary)
    stored_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "stored_s"})


def keep_photo_row(session: Session, vessel_id: str, name: str, content: bytes, at: datetime) -> None:
    """Store a photo in the transaction of its record; one that is there already is left as it is."""
    known = select(PhotoFileRow.name).where(PhotoFileRow.vessel_id == vessel_id, PhotoFileRow.name == name)
    if session.exec(known).first() is None:
        session.add(PhotoFileRow(vessel_id=vessel_id, name=name, content=content, stored_at=at))
        session.flush()


def photo_content(session: Session, vessel_id: str, name: str) -> bytes | None:
    """A photo's content, or none where it is not kept as a row."""
    query = select(col(PhotoFileRow.content)).where(PhotoFileRow.vessel_id == vessel_id, PhotoFileRow.name == name)
    return session.exec(query).first()
