"""The intake log: posted items that are not among the readings, as they came."""

from sqlmodel import Session, col, func, select

from scheduler.storage.tables import IntakeLogRow


def recent_unstored(session: Session, vessel_id: str, limit: int, counter: str | None = None) -> list[IntakeLogRow]:
    """A vessel's newest items, newest first; of one counter when it is named."""
    query = select(IntakeLogRow).where(IntakeLogRow.vessel_id == vessel_id)
    if counter is not None:
        query = query.where(IntakeLogRow.counter_ref == counter)
    return list(
        session.exec(query.order_by(col(IntakeLogRow.received_s).desc(), col(IntakeLogRow.id).desc()).limit(limit))
    )


def unstored_since(session: Session, vessel_id: str, received_s: int) -> list[tuple[str, str, int, int]]:
    """(status, counter as it was named, how many, newest received) of a vessel's items received from an instant on."""
    query = (
        select(IntakeLogRow.status, IntakeLogRow.counter_ref, func.count(), func.max(IntakeLogRow.received_s))
        .where(IntakeLogRow.vessel_id == vessel_id, IntakeLogRow.received_s >= received_s)
        .group_by(col(IntakeLogRow.status), col(IntakeLogRow.counter_ref))
    )
    found = session.exec(query.order_by(col(IntakeLogRow.status), col(IntakeLogRow.counter_ref)))
    return [(str(status), counter, number, newest_s) for status, counter, number, newest_s in found]
