"""Published dates of turns, and the list of those that moved."""

from sqlmodel import Session, col, func, select

from scheduler.storage.tables import CounterEventRow, MovedRow, PublishedRow


def published_rows(session: Session, vessel_id: str, plant_id: str) -> dict[str, PublishedRow]:
    """What is published of a plant's turns, by occurrence key."""
    query = select(PublishedRow).where(PublishedRow.vessel_id == vessel_id, PublishedRow.plant_id == plant_id)
    return {row.job_key: row for row in session.exec(query)}


def moved_rows(session: Session, vessel_id: str, plant_id: str, *, after: int, limit: int) -> list[MovedRow]:
    """A plant's moved dates with numbers above `after`, in order."""
    query = select(MovedRow).where(MovedRow.vessel_id == vessel_id, MovedRow.plant_id == plant_id)
    return list(session.exec(query.where(MovedRow.number > after).order_by(col(MovedRow.number)).limit(limit)))


def newest_moved_row(session: Session, vessel_id: str, plant_id: str, *, since_s: int, limit: int) -> list[MovedRow]:
    """A plant's newest moved dates of open turns since an instant, newest first."""
    query = select(MovedRow).where(MovedRow.vessel_id == vessel_id, MovedRow.plant_id == plant_id)
    query = query.where(MovedRow.at_s >= since_s, col(MovedRow.open).is_(True))
    return list(session.exec(query.order_by(col(MovedRow.number).desc()).limit(limit)))


def last_moved_number(session: Session, vessel_id: str) -> int:
    """Number of the vessel's newest moved date; 0 when none has moved yet."""
    return session.exec(select(func.max(MovedRow.number)).where(MovedRow.vessel_id == vessel_id)).one() or 0


def event_counts(session: Session, counter_numbers: list[int]) -> tuple[int, int]:
    """How many events these counters have, and how many of them are replacements."""
    query = select(CounterEventRow.kind, func.count()).where(col(CounterEventRow.counter_no).in_(counter_numbers))
    counts = dict(session.exec(query.group_by(CounterEventRow.kind)).all())
    return sum(counts.values()), counts.get("replacement", 0)
