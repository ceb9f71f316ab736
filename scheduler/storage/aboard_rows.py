"""What is kept beside the jobs: parts aboard, handover notes."""

from sqlmodel import Session, col, select

from scheduler.storage.tables import HandoverRow, PartCountRow


def part_count_rows(session: Session, vessel_id: str, plant_id: str) -> list[PartCountRow]:
    """The counted parts of a plant, by name."""
    query = select(PartCountRow).where(PartCountRow.vessel_id == vessel_id, PartCountRow.plant_id == plant_id)
    return list(session.exec(query.order_by(col(PartCountRow.name))))


def part_count_row(session: Session, vessel_id: str, plant_id: str, name: str) -> PartCountRow | None:
    """The count of that part, or none."""
    return session.get(PartCountRow, (vessel_id, plant_id, name))


def handover_rows(session: Session, vessel_id: str) -> list[HandoverRow]:
    """A vessel's handover notes, by number."""
    query = select(HandoverRow).where(HandoverRow.vessel_id == vessel_id)
    return list(session.exec(query.order_by(col(HandoverRow.number))))


def handover_row(session: Session, vessel_id: str, number: int) -> HandoverRow | None:
    """That handover note, or none."""
    return session.get(HandoverRow, (vessel_id, number))
