"""Versions of a vessel's operating calendar and the stretches in each."""

from sqlmodel import Session, col, select

from scheduler.storage.tables import DaybookRow, SpellRow


def newest_voyage_version(session: Session, vessel_id: str) -> DaybookRow | None:
    """The version in force, or none before the first."""
    query = select(DaybookRow).where(DaybookRow.vessel_id == vessel_id)
    return session.exec(query.order_by(col(DaybookRow.version).desc()).limit(1)).first()


def voyage_version(session: Session, vessel_id: str, number: int) -> DaybookRow | None:
    """That version, or none."""
    return session.get(DaybookRow, (vessel_id, number))


def voyage_versions(session: Session, vessel_id: str, limit: int) -> list[DaybookRow]:
    """The newest versions, newest first."""
    query = select(DaybookRow).where(DaybookRow.vessel_id == vessel_id)
    return list(session.exec(query.order_by(col(DaybookRow.version).desc()).limit(limit)))


def voyage_stretch_rows(session: Session, vessel_id: str, at_version: int | None = None) -> list[SpellRow]:
    """The stretches of a version (none: of the one in force), by date."""
    query = select(SpellRow).where(SpellRow.vessel_id == vessel_id)
    if at_version is None:
        query = query.where(col(SpellRow.until_version).is_(None))
    else:
        query = query.where(SpellRow.since_version <= at_version).where(
            col(SpellRow.until_version).is_(None) | (col(SpellRow.until_version) > at_version)
        )
    return list(session.exec(query.order_by(col(SpellRow.from_on))))
