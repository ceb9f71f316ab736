"""What the hours said, and what people answered; the days as folded are a cache."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKeyConstraint, Index, or_, update
from sqlmodel import Field, Session, col, func, select

from scheduler.storage.types import WITHOUT_ROWID, Instant, Packed, Row


class SignTrackRow(Row, table=True):
    """A plant's days as folded: a cache that may be dropped and folded again at any time.

    next_day: epoch day that is folded in next. touched_day: earliest day before it whose hours have changed since.
    based_on: what else it rests on, compared as text.
    """

    __table_args__ = (WITHOUT_ROWID,)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    plant_id: str = Field(primary_key=True)
    next_day: int
    based_on: str
    touched_day: int | None = None
    state: str = Field(sa_type=Packed)


class SignRow(Row, table=True):
    """A sign that was seen, numbered by vessel; position_id empty: of the whole plant. It stays, whatever the hours say later."""

    __table_args__ = (CheckConstraint("number >= 1", name="number"), Index(None, "vessel_id", "plant_id"))

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    number: int = Field(primary_key=True)
    plant_id: str
    position_id: str
    direction: int
    seen_day: int


class SignAnswerRow(Row, table=True):
    """What a person answered to a sign, and who took it back. until_on: last day of a known cause; none for good."""

    __table_args__ = (
        ForeignKeyConstraint(["vessel_id", "sign"], ["sign.vessel_id", "sign.number"]),
        CheckConstraint("number >= 1", name="number"),
    )

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    sign: int = Field(primary_key=True)
    number: int = Field(primary_key=True)
    answer: str
    cause: str
    text: str
    until_on: date | None = None
    by: str
    at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "at_s"})
    undone_by: str | None = None
    undone_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "undone_s"})


def sign_track(session: Session, vessel_id: str, plant_id: str) -> SignTrackRow | None:
    """The plant's days as folded, or none."""
    return session.get(SignTrackRow, (vessel_id, plant_id))


def touch_signs(session: Session, vessel_id: str, plant_id: str, day: int) -> None:
    """Say that hours from an epoch day on have changed; nothing is written where it is not folded in yet.

    A day before the first is the first: a ledger derived from its beginning says so by a day that no column holds.
    """
    day = max(day, 0)
    touched = col(SignTrackRow.touched_day)
    session.connection().execute(
        update(SignTrackRow)
        .where(col(SignTrackRow.vessel_id) == vessel_id, col(SignTrackRow.plant_id) == plant_id)
        .where(col(SignTrackRow.next_day) > day, or_(touched.is_(None), touched > day))
        .values(touched_day=day)
    )


def sign_rows(session: Session, vessel_id: str, plant_id: str) -> list[SignRow]:
    """A plant's signs in order of number."""
    query = select(SignRow).where(SignRow.vessel_id == vessel_id, SignRow.plant_id == plant_id)
    return list(session.exec(query.order_by(col(SignRow.number))))


def sign_row(session: Session, vessel_id: str, number: int) -> SignRow | None:
    """That sign of a vessel, or none."""
    return session.get(SignRow, (vessel_id, number))


def next_sign_number(session: Session, vessel_id: str) -> int:
    """The next free number of a vessel's signs."""
    return (session.exec(select(func.max(SignRow.number)).where(SignRow.vessel_id == vessel_id)).one() or 0) + 1


def sign_answer_rows(session: Session, vessel_id: str, signs: list[int]) -> list[SignAnswerRow]:
    """The answers to some signs of a vessel, those taken back among them, in order of sign and number."""
    query = select(SignAnswerRow).where(SignAnswerRow.vessel_id == vessel_id, col(SignAnswerRow.sign).in_(signs))
    return list(session.exec(query.order_by(col(SignAnswerRow.sign), col(SignAnswerRow.number))))
