"""What is kept beside the jobs: parts aboard."""

from sqlmodel import Session, col, select

from scheduler.storage.tables import PartCountRow


def part_counts(session: Session, vessel_id: str, plant_id: str) -> list[PartCountRow]:
    """The counted parts of a plant, by name."""
    query = select(PartCountRow).where(PartCountRow.vessel_id == vessel_id, PartCountRow.plant_id == plant_id)
    return list(session.exec(query.order_by(col(PartCountRow.name))))


def part_count(session: Session, vessel_id: str, plant_id: str, name: str) -> PartCountRow | None:
    """The count of that part, or none."""
    return session.get(PartCountRow, (vessel_id, plant_id, name))
