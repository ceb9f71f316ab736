"""Done turns, jobs, outages, pump tests, plans and their slots."""

from sqlmodel import Session, col, delete, func, or_, select

from scheduler.domain.base.enums import JobState
from scheduler.storage.tables import (
    DoneRow,
    FeedEventRow,
    JobRow,
    KindSinceRow,
    MoveRow,
    NotFittedRow,
    OutageRow,
    PlanRow,
    PlanStatus,
    PublishedRow,
    PumpTestRow,
    SlotRow,
    WorkStepRow,
)


def latest_done_rows(session: Session, vessel_id: str) -> list[DoneRow]:
    """The newest done turn of each kind and subject of a vessel."""
    newest = (
        select(DoneRow.kind, DoneRow.subject_id, func.max(DoneRow.sequence).label("sequence"))
        .where(DoneRow.vessel_id == vessel_id)
        .group_by(col(DoneRow.kind), col(DoneRow.subject_id))
        .subquery()
    )
    query = (
        select(DoneRow)
        .where(DoneRow.vessel_id == vessel_id)
        .where(DoneRow.kind == newest.c.kind, DoneRow.subject_id == newest.c.subject_id)
        .where(DoneRow.sequence == newest.c.sequence)
    )
    return list(session.exec(query))


def done_row(session: Session, vessel_id: str, kind: str, subject_id: str, sequence: int) -> DoneRow | None:
    """That turn if it was done, or none."""
    return session.get(DoneRow, (vessel_id, kind, subject_id, sequence))


def done_rows_with(session: Session, vessel_id: str, job_key: str) -> list[DoneRow]:
    """The turns that were done with that job: its own, and those it renewed."""
    return list(session.exec(select(DoneRow).where(DoneRow.vessel_id == vessel_id, DoneRow.job_key == job_key)))


def job_rows(session: Session, vessel_id: str, plant_id: str, *, closed_since_s: int | None = None) -> list[JobRow]:
    """Jobs of a plant that are open, or with `closed_since_s` those closed since; by key."""
    query = select(JobRow).where(JobRow.vessel_id == vessel_id, JobRow.plant_id == plant_id)
    if closed_since_s is None:
        query = query.where(col(JobRow.closed_s).is_(None))
    else:
        query = query.where(col(JobRow.closed_s) >= closed_since_s)
    return list(session.exec(query.order_by(JobRow.key)))


def job_row(session: Session, vessel_id: str, key: str) -> JobRow | None:
    """That job if it has a row yet, or none."""
    return session.get(JobRow, (key, vessel_id))


def withdrawn_rows(session: Session, vessel_id: str) -> list[JobRow]:
    """Every withdrawn job of a vessel, by key."""
    query = select(JobRow).where(JobRow.vessel_id == vessel_id, JobRow.state == JobState.WITHDRAWN.value)
    return list(session.exec(query.order_by(JobRow.key)))


def outage_rows(session: Session, vessel_id: str, plant_id: str, *, since_s: int) -> list[OutageRow]:
    """Outages of a plant's pumps that last beyond an instant, oldest first."""
    query = (
        select(OutageRow)
        .where(OutageRow.vessel_id == vessel_id, OutageRow.plant_id == plant_id)
        .where(col(OutageRow.to_s).is_(None) | (col(OutageRow.to_s) > since_s))
    )
    return list(session.exec(query.order_by(col(OutageRow.from_s), OutageRow.id)))


def open_outage_rows(session: Session, vessel_id: str, pump_id: str) -> list[OutageRow]:
    """A pump's outages without an end, oldest first."""
    query = select(OutageRow).where(
        OutageRow.vessel_id == vessel_id, OutageRow.pump_id == pump_id, col(OutageRow.to_s).is_(None)
    )
    return list(session.exec(query.order_by(col(OutageRow.from_s))))


def outages_ended_at(session: Session, vessel_id: str, pump_id: str, at_s: int) -> list[OutageRow]:
    """A pump's outages that ended at an instant, because another began then."""
    query = select(OutageRow).where(
        OutageRow.vessel_id == vessel_id,
        OutageRow.pump_id == pump_id,
        OutageRow.to_s == at_s,
        OutageRow.from_s < at_s,
    )
    return list(session.exec(query))


def passed_tests(session: Session, vessel_id: str) -> dict[str, int]:
    """Swept litres an hour of each pump's newest passed test that measured it."""
    query = (
        select(PumpTestRow)
        .where(PumpTestRow.vessel_id == vessel_id, col(PumpTestRow.swept_litres_per_h).is_not(None))
        .order_by(col(PumpTestRow.at_s))
    )
    return {row.pump_id: row.swept_litres_per_h for row in session.exec(query) if row.swept_litres_per_h is not None}


def last_sequence(session: Session, vessel_id: str, kind: str, subject_id: str) -> int:
    """Number of the last done turn of a kind on a subject; 0 when there is none."""
    query = select(func.max(DoneRow.sequence)).where(
        DoneRow.vessel_id == vessel_id, DoneRow.kind == kind, DoneRow.subject_id == subject_id
    )
    return session.exec(query).one() or 0


def plan_row(session: Session, vessel_id: str, plant_id: str, status: PlanStatus) -> PlanRow | None:
    """The plant's proposed or taken plan, or none."""
    query = select(PlanRow).where(
        PlanRow.vessel_id == vessel_id, PlanRow.plant_id == plant_id, PlanRow.status == status
    )
    return session.exec(query.order_by(col(PlanRow.made_s).desc())).first()


def slot_rows(session: Session, vessel_id: str, plan_id: str) -> list[SlotRow]:
    """A plan's slots by start, then job."""
    query = select(SlotRow).where(SlotRow.vessel_id == vessel_id, SlotRow.plan_id == plan_id)
    return list(session.exec(query.order_by(col(SlotRow.start_s), SlotRow.job_key)))


def move_rows(session: Session, vessel_id: str, plant_id: str, *, standing: bool = False) -> list[MoveRow]:
    """A plant's slots moved by hand, by number; with `standing` those that nobody has undone."""
    query = select(MoveRow).where(MoveRow.vessel_id == vessel_id, MoveRow.plant_id == plant_id)
    if standing:
        query = query.where(col(MoveRow.undone_s).is_(None))
    return list(session.exec(query.order_by(col(MoveRow.number))))


def move_row(session: Session, vessel_id: str, number: int) -> MoveRow | None:
    """That move, or none."""
    return session.get(MoveRow, (vessel_id, number))


def next_move_number(session: Session, vessel_id: str) -> int:
    """The number the vessel's next move gets."""
    query = select(func.max(MoveRow.number)).where(MoveRow.vessel_id == vessel_id)
    return (session.exec(query).one() or 0) + 1


def step_rows(session: Session, vessel_id: str, job_key: str) -> list[WorkStepRow]:
    """The steps of the work on a job, in order of recording."""
    query = select(WorkStepRow).where(WorkStepRow.vessel_id == vessel_id, WorkStepRow.job_key == job_key)
    return list(session.exec(query.order_by(col(WorkStepRow.number))))


def jobs_worked_on(session: Session, vessel_id: str, pump_id: str) -> list[str]:
    """Keys of the jobs with steps on a pump that are not closed."""
    closed = select(JobRow.key).where(JobRow.vessel_id == vessel_id, col(JobRow.closed_s).is_not(None))
    query = (
        select(WorkStepRow.job_key)
        .where(WorkStepRow.vessel_id == vessel_id, WorkStepRow.pump_id == pump_id)
        .where(col(WorkStepRow.job_key).not_in(closed))
        .distinct()
    )
    return sorted(session.exec(query))


def step_rows_since(session: Session, vessel_id: str, since_s: int) -> list[WorkStepRow]:
    """The steps of a vessel's jobs that happened since an instant."""
    query = select(WorkStepRow).where(WorkStepRow.vessel_id == vessel_id, WorkStepRow.at_s >= since_s)
    return list(session.exec(query.order_by(col(WorkStepRow.at_s), WorkStepRow.job_key, col(WorkStepRow.number))))


def not_fitted_rows(session: Session, vessel_id: str, pump_id: str | None = None) -> list[NotFittedRow]:
    """Points said to be not fitted (on that pump), by number."""
    query = select(NotFittedRow).where(NotFittedRow.vessel_id == vessel_id)
    if pump_id is not None:
        query = query.where(NotFittedRow.pump_id == pump_id)
    return list(session.exec(query.order_by(col(NotFittedRow.number))))


def untaken_superseded(session: Session, vessel_id: str, plant_id: str) -> list[PlanRow]:
    """Plans of a plant that were superseded before anybody took them: no record names them."""
    query = select(PlanRow).where(
        PlanRow.vessel_id == vessel_id,
        PlanRow.plant_id == plant_id,
        PlanRow.status == PlanStatus.SUPERSEDED,
        col(PlanRow.taken_s).is_(None),
    )
    return list(session.exec(query))


def open_outage_row(session: Session, vessel_id: str, pump_id: str) -> bool:
    """Whether that pump is out without end."""
    out = select(OutageRow.id).where(
        OutageRow.vessel_id == vessel_id, OutageRow.pump_id == pump_id, col(OutageRow.to_s).is_(None)
    )
    return session.exec(out.limit(1)).first() is not None


def work_under_way(session: Session, vessel_id: str, subject_id: str) -> str:
    """Key of a job with recorded steps that is not closed, on that pump or thing; empty when there is none."""
    step, job = WorkStepRow, JobRow
    about = or_(step.pump_id == subject_id, col(step.job_key).contains(f":{subject_id}:", autoescape=True))
    closed = select(job.key).where(job.vessel_id == vessel_id, job.key == step.job_key, col(job.closed_s).is_not(None))
    found = select(step.job_key).where(step.vessel_id == vessel_id, about, ~closed.exists())
    return session.exec(found.limit(1)).first() or ""


def forget_plant(session: Session, vessel_id: str, plant_id: str) -> None:
    """Drop what was worked out for a plant that leaves the document: dates, calendar entries, plans."""
    plans = select(PlanRow.id).where(PlanRow.vessel_id == vessel_id, PlanRow.plant_id == plant_id)
    session.connection().execute(delete(SlotRow).where(col(SlotRow.plan_id).in_(plans)))
    for row in (PublishedRow, FeedEventRow, KindSinceRow, PlanRow):
        session.connection().execute(delete(row).where(col(row.vessel_id) == vessel_id, col(row.plant_id) == plant_id))
