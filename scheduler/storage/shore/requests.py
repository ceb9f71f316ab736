"""Requests of the office: as asked and handed down at the office, and as taken in aboard with what came of them."""

from datetime import datetime
from typing import Any

from sqlalchemy import BigInteger, func
from sqlmodel import Field, Session, col, select

from scheduler.domain.shore.asking import OPEN_STATES, RequestState
from scheduler.storage.paging import PageAsked, numbered_rows
from scheduler.storage.types import WITHOUT_ROWID, Instant, Json, Row, by_value


class _AskedRow(Row):
    """What is asked of a ship, on both sides. number counts within the vessel.

    what: a value of `RequestKind`; arguments: of the action. seen: what the office looked at when it asked. fingerprint: SHA-256 of
    all of it. vouched: who made the link or key the asker came by, where that was another.
    """

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    number: int = Field(primary_key=True)
    what: str
    arguments: dict[str, Any] = Field(sa_type=Json)
    seen: dict[str, Any] = Field(sa_type=Json)
    fingerprint: str
    by_id: str
    by: str
    role: str
    vouched_id: str = ""
    vouched: str = ""
    asked_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "asked_s"})
    until_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "until_s"})


class ShipRequestRow(_AskedRow, table=True):
    """At the office. handed_at: when it was first given to the ship's server in an answer, which may be lost. ended: why it is not
    handed over any more, "" while it is.
    """

    __table_args__ = (WITHOUT_ROWID,)

    handed_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "handed_s"})
    fetched_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "fetched_s"})
    ended: str = ""
    ended_by: str = ""
    ended_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "ended_s"})


class OfficeRequestRow(_AskedRow, table=True):
    """Aboard: what the office asked, stored before it is applied, and its one outcome; it travels to the office as a change.

    says: the refusal's own words, or why it was declined. record: that was made, 0: none.
    answered_by: who accepted or declined it aboard.
    """

    __table_args__ = (WITHOUT_ROWID,)

    taken_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "taken_s"})
    state: RequestState = Field(sa_type=by_value(RequestState, "state"))
    says: str = ""
    record: int = Field(default=0, sa_type=BigInteger)
    answered_by_id: str = ""
    answered_by: str = ""
    decided_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "decided_s"})


def ship_request_row(session: Session, vessel_id: str, number: int) -> ShipRequestRow | None:
    """That request at the office, or none."""
    return session.get(ShipRequestRow, (vessel_id, number))


def ship_request_rows(session: Session, vessel_id: str, page: PageAsked | None = None) -> list[ShipRequestRow]:
    """A vessel's requests at the office, oldest first."""
    query = select(ShipRequestRow).where(ShipRequestRow.vessel_id == vessel_id)
    return numbered_rows(session, query, col(ShipRequestRow.number), page)


def ship_requests_open(session: Session, vessel_id: str, most: int) -> list[ShipRequestRow]:
    """Requests that are not known to be fetched and have not ended, oldest first, at most so many."""
    query = select(ShipRequestRow).where(
        ShipRequestRow.vessel_id == vessel_id, col(ShipRequestRow.fetched_at).is_(None), ShipRequestRow.ended == ""
    )
    return list(session.exec(query.order_by(col(ShipRequestRow.number)).limit(most)))


def requests_waiting(session: Session) -> dict[str, tuple[int, datetime]]:
    """Of each vessel with requests that are not known to be fetched and have not ended: how many, and when the first was asked."""
    row = ShipRequestRow
    query = select(row.vessel_id, func.count(), func.min(row.asked_at)).where(
        col(row.fetched_at).is_(None), row.ended == ""
    )
    return {vessel: (count, asked_at) for vessel, count, asked_at in session.exec(query.group_by(row.vessel_id))}


def next_ship_request(session: Session, vessel_id: str) -> int:
    """The next number: above all that the office knows, those aboard too."""
    asked = session.exec(select(func.max(ShipRequestRow.number)).where(ShipRequestRow.vessel_id == vessel_id)).one()
    aboard = session.exec(
        select(func.max(OfficeRequestRow.number)).where(OfficeRequestRow.vessel_id == vessel_id)
    ).one()
    return max(asked or 0, aboard or 0) + 1


def office_request_row(session: Session, vessel_id: str, number: int) -> OfficeRequestRow | None:
    """That request as it stands aboard, or none."""
    return session.get(OfficeRequestRow, (vessel_id, number))


def office_request_rows(session: Session, vessel_id: str, page: PageAsked | None = None) -> list[OfficeRequestRow]:
    """A vessel's requests as they stand aboard, oldest first."""
    query = select(OfficeRequestRow).where(OfficeRequestRow.vessel_id == vessel_id)
    return numbered_rows(session, query, col(OfficeRequestRow.number), page)


def office_requests_open(session: Session, vessel_id: str) -> list[OfficeRequestRow]:
    """Those without an outcome, oldest first."""
    query = select(OfficeRequestRow).where(
        OfficeRequestRow.vessel_id == vessel_id, col(OfficeRequestRow.state).in_(OPEN_STATES)
    )
    return list(session.exec(query.order_by(col(OfficeRequestRow.number))))


def newest_office_requests(session: Session, vessel_id: str, most: int) -> list[int]:
    """Numbers of the newest requests aboard, newest first, at most so many."""
    query = select(OfficeRequestRow.number).where(OfficeRequestRow.vessel_id == vessel_id)
    return list(session.exec(query.order_by(col(OfficeRequestRow.number).desc()).limit(most)))
