"""The calendar feed's stored events, bodies and addresses."""

from sqlmodel import Session, col, select

from scheduler.storage.tables import FeedBodyRow, FeedEventRow, FeedTokenRow


def feed_event_rows(session: Session, vessel_id: str | None) -> list[FeedEventRow]:
    """A vessel's events as last published (none: every vessel's), by start, then by vessel and occurrence."""
    query = select(FeedEventRow)
    if vessel_id is not None:
        query = query.where(FeedEventRow.vessel_id == vessel_id)
    return list(
        session.exec(query.order_by(col(FeedEventRow.starts_s), FeedEventRow.vessel_id, FeedEventRow.occurrence_key))
    )


def feed_body_row(session: Session, vessel_id: str, name: str) -> FeedBodyRow | None:
    """That calendar of the vessel ("": of the fleet) as last sent, or none."""
    return session.get(FeedBodyRow, (vessel_id, name))


def feed_body_rows(session: Session, vessel_id: str) -> list[FeedBodyRow]:
    """Every calendar kept of the vessel ("": of the fleet)."""
    return list(session.exec(select(FeedBodyRow).where(FeedBodyRow.vessel_id == vessel_id)))


def address_row(session: Session, sha256: str) -> FeedTokenRow | None:
    """The calendar address whose secret has that hash, or none."""
    return session.get(FeedTokenRow, sha256)


def address_row_by_id(session: Session, address_id: str) -> FeedTokenRow | None:
    """The calendar address with that id, or none."""
    return session.exec(select(FeedTokenRow).where(FeedTokenRow.id == address_id)).first()


def address_rows(session: Session, person_id: str | None = None) -> list[FeedTokenRow]:
    """A person's calendar addresses (none: everybody's), oldest first."""
    query = select(FeedTokenRow)
    if person_id is not None:
        query = query.where(FeedTokenRow.person_id == person_id)
    return list(session.exec(query.order_by(FeedTokenRow.person_id, col(FeedTokenRow.created_s), FeedTokenRow.id)))


def address_rows_of(session: Session, vessel_id: str | None) -> list[FeedTokenRow]:
    """Addresses of a vessel's calendars (none: of the fleet's) that were not withdrawn."""
    same = FeedTokenRow.vessel_id == vessel_id if vessel_id is not None else col(FeedTokenRow.vessel_id).is_(None)
    return list(session.exec(select(FeedTokenRow).where(same, col(FeedTokenRow.revoked_s).is_(None))))
