"""The calendar feed's stored events and bodies."""

from sqlmodel import Session, col, select

from scheduler.storage.tables import FeedBodyRow, FeedEventRow


def events(session: Session, vessel_id: str) -> list[FeedEventRow]:
    """A vessel's events as last published, by start."""
    query = select(FeedEventRow).where(FeedEventRow.vessel_id == vessel_id)
    return list(session.exec(query.order_by(col(FeedEventRow.starts_s), FeedEventRow.uid)))


def body(session: Session, vessel_id: str, name: str) -> FeedBodyRow | None:
    """That calendar of the vessel as last sent, or none."""
    return session.get(FeedBodyRow, (vessel_id, name))
