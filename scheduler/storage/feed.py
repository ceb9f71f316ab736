"""The calendar feed's stored events, bodies and addresses."""

from collections.abc import Sequence
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import BigInteger, ColumnElement, Index, SmallInteger, and_, not_, or_
from sqlmodel import Field, Session, col, func, select

from scheduler.storage.people import of_person
from scheduler.storage.types import Instant, Json, Row
from scheduler.storage.vessel import RevisionRow, VesselRow


class AddressRow(Row, table=True):
    """A person's calendar address; vessel_id none: the whole fleet. id: what people call it by; it stays when the
    secret is changed. kinds: job kind codes, none for all. alarm_hour: ship's hour of its reminders, on the evening
    before. days_ahead: how far ahead it shows open jobs, none for all."""

    __table_args__ = (of_person(), Index(None, "person_vessel_id", "person_id"))

    sha256: str = Field(primary_key=True)
    id: str = Field(unique=True)
    person_vessel_id: str
    person_id: str
    vessel_id: str | None = Field(default=None, foreign_key="vessel.id")
    created_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "created_s"})
    expires_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "expires_s"})
    revoked_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "revoked_s"})
    last_used_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "last_used_s"})
    agent: str | None = None
    alarms: bool = False
    kinds: list[str] | None = Field(default=None, sa_type=Json)
    label: str = ""
    alarm_hour: int = Field(default=18, sa_column_kwargs={"server_default": "18"})
    days_ahead: int | None = None


class FeedEventRow(Row, table=True):
    """An event of the calendar feed as last rendered, and as a task; the texts change only with the fingerprint.

    starts_s, ends_s: epoch seconds. rank, rank_s: as `domain.feed.scope.urgency` has it, by which calendars of a whole fleet are cut;
    a vessel's own status stands before all else.
    """

    __table_args__ = (Index(None, "rank", "rank_s", "vessel_id", "uid"),)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    uid: str = Field(primary_key=True)
    plant_id: str
    occurrence_key: str
    text: str
    fingerprint: str
    sequence: int
    changed_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "changed_s"})
    created_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "created_s"})
    starts_s: int = Field(sa_type=BigInteger)
    ends_s: int = Field(sa_type=BigInteger)
    closed_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "closed_s"})
    state: str
    rank: int = Field(sa_type=SmallInteger, sa_column_kwargs={"server_default": "0"})
    rank_s: int = Field(sa_type=BigInteger, sa_column_kwargs={"server_default": "0"})
    task: str = ""


class FeedBodyRow(Row, table=True):
    """A whole calendar as it is sent, by what it shows; vessel_id "" is the fleet.

    changed_at: newest change in it; made_at: when it was put together, and of what. status: the fleet's own status event
    as kept, none for a vessel's calendar.
    """

    vessel_id: str = Field(primary_key=True)
    name: str = Field(primary_key=True)
    body: str
    etag: str
    changed_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "changed_s"})
    made_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "made_s"})
    revision: int = Field(sa_type=BigInteger)
    status: str | None = None


def feed_event_rows(session: Session, vessel_id: str | None) -> list[FeedEventRow]:
    """A vessel's events as last published (none: every vessel's), by start, then by vessel and occurrence."""
    query = select(FeedEventRow)
    if vessel_id is not None:
        query = query.where(FeedEventRow.vessel_id == vessel_id)
    return list(
        session.exec(query.order_by(col(FeedEventRow.starts_s), FeedEventRow.vessel_id, FeedEventRow.occurrence_key))
    )


STATUS_RANK = -1


class FleetChoice(NamedTuple):
    """Which events belong in a fleet's calendar. kinds: codes, none for all. out: how keys of pumps out begin, and whether they
    are shown. over_s: what is over by then is left out; until_s: what is not late and begins later is; none: neither is.
    late, over: ranks."""

    kinds: Sequence[str] | None
    out: tuple[str, bool]
    late: int
    over: int
    over_s: int | None = None
    until_s: int | None = None

    def where(self) -> list[ColumnElement[bool]]:
        """As conditions on events."""
        event = FeedEventRow
        out = func.substr(event.occurrence_key, 1, len(self.out[0])) == self.out[0]
        found: list[ColumnElement[bool]] = [col(event.rank) > STATUS_RANK]
        if not self.out[1]:
            found.append(not_(out))
        elif self.over_s is not None:
            found.append(or_(not_(out), col(event.ends_s) > self.over_s))
        if self.kinds is not None:
            found.append(
                or_(*(func.substr(event.occurrence_key, 1, len(kind) + 1) == f"{kind}:" for kind in self.kinds))
            )
        if self.until_s is not None:
            found += [
                col(event.rank) < self.over,
                or_(col(event.rank) == self.late, col(event.starts_s) < self.until_s),
            ]
        return found


def most_urgent_events(session: Session, choice: FleetChoice, most: int) -> list[FeedEventRow]:
    """At most so many of the fleet's events that belong in its calendar, the most urgent first."""
    event = FeedEventRow
    query = select(event).where(*choice.where())
    return list(
        session.exec(query.order_by(col(event.rank), col(event.rank_s), event.vessel_id, event.uid).limit(most))
    )


def event_states(session: Session, choice: FleetChoice) -> dict[str, int]:
    """How many of the fleet's events that belong in its calendar are in each state."""
    query = select(FeedEventRow.state, func.count()).where(*choice.where()).group_by(FeedEventRow.state)
    return dict(session.exec(query).all())


def status_events(session: Session, most: int) -> list[FeedEventRow]:
    """The status events of at most so many vessels, those of the oldest plans first."""
    event = FeedEventRow
    query = select(event).where(event.rank == STATUS_RANK).order_by(col(event.rank_s), event.vessel_id, event.uid)
    return list(session.exec(query.limit(most)))


def newest_status_s(session: Session) -> int | None:
    """Where the newest of the vessels' status events begins; none without one."""
    query = select(FeedEventRow.rank_s).where(FeedEventRow.rank == STATUS_RANK)
    return session.exec(query.order_by(col(FeedEventRow.rank_s).desc()).limit(1)).first()


def feed_bodies_written_at(session: Session, vessel_id: str) -> list[datetime]:
    """When each calendar that is kept of the vessel ("": of the fleet) was put together."""
    return list(session.exec(select(FeedBodyRow.made_at).where(FeedBodyRow.vessel_id == vessel_id)))


def feed_event_marks(session: Session, vessel_id: str) -> tuple[tuple[str, str, int], ...]:
    """Uid, fingerprint and sequence of each event of a vessel, by uid: another one when any was written."""
    row = FeedEventRow
    query = select(row.uid, row.fingerprint, row.sequence).where(row.vessel_id == vessel_id).order_by(row.uid)
    return tuple((uid, fingerprint, sequence) for uid, fingerprint, sequence in session.exec(query))


def feed_body_row(session: Session, vessel_id: str, name: str) -> FeedBodyRow | None:
    """That calendar of the vessel ("": of the fleet) as last sent, or none."""
    return session.get(FeedBodyRow, (vessel_id, name))


def feed_body_tag(session: Session, vessel_id: str, name: str) -> tuple[str, datetime] | None:
    """Tag of that calendar, and when it last changed; its body is not read."""
    row = FeedBodyRow
    query = select(row.etag, row.changed_at).where(row.vessel_id == vessel_id, row.name == name)
    found = session.exec(query).first()
    return None if found is None else (found[0], found[1])


def feed_body_rows(session: Session, vessel_id: str) -> list[FeedBodyRow]:
    """Every calendar kept of the vessel ("": of the fleet)."""
    return list(session.exec(select(FeedBodyRow).where(FeedBodyRow.vessel_id == vessel_id)))


def address_row(session: Session, sha256: str) -> AddressRow | None:
    """The calendar address whose secret has that hash, or none."""
    return session.get(AddressRow, sha256)


def address_row_by_id(session: Session, address_id: str) -> AddressRow | None:
    """The calendar address with that id, or none."""
    return session.exec(select(AddressRow).where(AddressRow.id == address_id)).first()


def address_rows(
    session: Session, person_id: str | None = None, person_vessel_id: str | None = None
) -> list[AddressRow]:
    """Calendar addresses by person, oldest first: of a person, of whoever has that id on any vessel, or everybody's."""
    query = select(AddressRow)
    if person_id is not None:
        query = query.where(AddressRow.person_id == person_id)
    if person_vessel_id is not None:
        query = query.where(AddressRow.person_vessel_id == person_vessel_id)
    return list(session.exec(query.order_by(AddressRow.person_id, col(AddressRow.created_at), AddressRow.id)))


def address_rows_of(session: Session, vessel_id: str | None) -> list[AddressRow]:
    """Addresses of a vessel's calendars (none: of the fleet's) that were not withdrawn."""
    same = AddressRow.vessel_id == vessel_id if vessel_id is not None else col(AddressRow.vessel_id).is_(None)
    return list(session.exec(select(AddressRow).where(same, col(AddressRow.revoked_at).is_(None))))


def vessels_behind(session: Session, name: str, made_at: datetime, only: str | None = None) -> list[str]:
    """Vessels, or that one, whose calendar of that name was never made, was made of another revision than theirs, or at or before an
    instant."""
    made, now = FeedBodyRow, RevisionRow
    query = (
        select(VesselRow.id)
        .outerjoin(made, and_(col(made.vessel_id) == col(VesselRow.id), col(made.name) == name))
        .outerjoin(now, col(now.vessel_id) == col(VesselRow.id))
        .where(
            or_(
                col(made.vessel_id).is_(None),
                col(made.revision) != func.coalesce(col(now.number), 0),
                col(made.made_at) <= made_at,
            )
        )
    )
    if only is not None:
        query = query.where(VesselRow.id == only)
    return list(session.exec(query.order_by(col(VesselRow.id))))
