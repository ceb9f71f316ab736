"""Postponements, non-conformities, concessions, part dates and first dates of a vessel."""

from datetime import date

from sqlmodel import Session, col, func, select

from scheduler.storage.tables import (
    ConcessionRow,
    DockRow,
    FirstDateRow,
    NonConformityRow,
    PartDateRow,
    PostponementRow,
)


def postponement_rows(session: Session, vessel_id: str, job_key: str | None = None) -> list[PostponementRow]:
    """A vessel's postponements (of one job), by number."""
    query = select(PostponementRow).where(PostponementRow.vessel_id == vessel_id)
    if job_key is not None:
        query = query.where(PostponementRow.job_key == job_key)
    return list(session.exec(query.order_by(col(PostponementRow.number))))


def postponement_row(session: Session, vessel_id: str, number: int) -> PostponementRow | None:
    """That postponement, or none."""
    return session.get(PostponementRow, (vessel_id, number))


def next_postponement_number(session: Session, vessel_id: str) -> int:
    """The number the vessel's next postponement gets."""
    query = select(func.max(PostponementRow.number)).where(PostponementRow.vessel_id == vessel_id)
    return (session.exec(query).one() or 0) + 1


def granted_postponements(session: Session, vessel_id: str) -> dict[str, int]:
    """New limit (epoch seconds) of each job with a granted postponement; the newest counts. One that was decided before the job's
    first date was set puts off nothing: the limit it was about is gone."""
    first = {f"{row.kind}:{row.subject_id}:1": row.set_s for row in first_date_rows(session, vessel_id)}
    query = select(PostponementRow).where(
        PostponementRow.vessel_id == vessel_id, col(PostponementRow.granted).is_(True)
    )
    return {
        row.job_key: row.to_s
        for row in session.exec(query.order_by(col(PostponementRow.number)))
        if (row.decided_s or 0) >= first.get(row.job_key, 0)
    }


def nonconformity_rows(session: Session, vessel_id: str, *, only_open: bool = False) -> list[NonConformityRow]:
    """A vessel's non-conformities, by number."""
    query = select(NonConformityRow).where(NonConformityRow.vessel_id == vessel_id)
    if only_open:
        query = query.where(col(NonConformityRow.closed_s).is_(None))
    return list(session.exec(query.order_by(col(NonConformityRow.number))))


def nonconformity_row(session: Session, vessel_id: str, number: int) -> NonConformityRow | None:
    """That non-conformity, or none."""
    return session.get(NonConformityRow, (vessel_id, number))


def next_nonconformity_number(session: Session, vessel_id: str) -> int:
    """The number the vessel's next non-conformity gets."""
    query = select(func.max(NonConformityRow.number)).where(NonConformityRow.vessel_id == vessel_id)
    return (session.exec(query).one() or 0) + 1


def concession_rows(session: Session, vessel_id: str, plant_id: str) -> list[ConcessionRow]:
    """A plant's concessions, by number."""
    query = select(ConcessionRow).where(ConcessionRow.vessel_id == vessel_id, ConcessionRow.plant_id == plant_id)
    return list(session.exec(query.order_by(col(ConcessionRow.number))))


def concession_row(session: Session, vessel_id: str, number: int) -> ConcessionRow | None:
    """That concession, or none."""
    return session.get(ConcessionRow, (vessel_id, number))


def next_concession_number(session: Session, vessel_id: str) -> int:
    """The number the vessel's next concession gets."""
    query = select(func.max(ConcessionRow.number)).where(ConcessionRow.vessel_id == vessel_id)
    return (session.exec(query).one() or 0) + 1


def dock_rows(session: Session, vessel_id: str, plant_id: str | None = None) -> list[DockRow]:
    """A vessel's dock batches (of one plant), by number."""
    query = select(DockRow).where(DockRow.vessel_id == vessel_id)
    if plant_id is not None:
        query = query.where(DockRow.plant_id == plant_id)
    return list(session.exec(query.order_by(col(DockRow.number))))


def part_date_row(session: Session, vessel_id: str, job_key: str) -> PartDateRow | None:
    """When that job's parts come, or none."""
    return session.get(PartDateRow, (vessel_id, job_key))


def part_dates_by_job(session: Session, vessel_id: str) -> dict[str, date]:
    """Ship's date from which the parts are aboard, of each job with one."""
    return {
        row.job_key: row.from_on for row in session.exec(select(PartDateRow).where(PartDateRow.vessel_id == vessel_id))
    }


def first_date_rows(session: Session, vessel_id: str) -> list[FirstDateRow]:
    """First dates set for jobs of a vessel whose last time was not known."""
    return list(session.exec(select(FirstDateRow).where(FirstDateRow.vessel_id == vessel_id)))


def first_date_row(session: Session, vessel_id: str, kind: str, subject_id: str) -> FirstDateRow | None:
    """That first date, or none."""
    return session.get(FirstDateRow, (vessel_id, kind, subject_id))
