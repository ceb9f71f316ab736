"""Jobs done and under way: their steps, points not fitted, non-conformities, parts aboard, handover notes."""

from datetime import datetime
from typing import Any

from sqlalchemy import BigInteger, CheckConstraint, Index
from sqlmodel import Field, Session, col, func, or_, select

from scheduler.domain.base.enums import JobState, Trigger
from scheduler.storage.paging import PageAsked, numbered_rows
from scheduler.storage.types import WITHOUT_ROWID, Instant, Json, Row, by_value


class WorkStepRow(Row, table=True):
    """A step of the work on a job, as told; `detail` is the step as JSON, `flags` what stood against it: facts, or the
    words alone where it was stored before there were facts.

    number counts from 1 within the job, in order of recording. record: its number in the history.
    """

    __table_args__ = (Index(None, "vessel_id", "pump_id"), Index(None, "vessel_id", "kind", "at_s"), WITHOUT_ROWID)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    job_key: str = Field(primary_key=True)
    number: int = Field(primary_key=True)
    pump_id: str | None = None
    kind: str
    at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "at_s"})
    detail: str
    flags: list[Any] = Field(default_factory=list, sa_type=Json)
    actor: str
    record: int = Field(sa_type=BigInteger)
    recorded_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "recorded_s"})


class NotFittedRow(Row, table=True):
    """An isolation point that a pump has not: said with a reason by one, signed by another. number counts within the vessel.

    signed_as: office or master. It counts for jobs begun on a later ship's day than it was signed.
    """

    __table_args__ = (Index(None, "vessel_id", "pump_id"), WITHOUT_ROWID)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    number: int = Field(primary_key=True)
    plant_id: str
    pump_id: str
    point: str
    reason: str
    asked_by_id: str
    asked_by: str
    asked_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "asked_s"})
    signed_as: str | None = None
    signed_by_id: str | None = None
    signed_by: str | None = None
    signed_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "signed_s"})
    withdrawn_by: str | None = None
    withdrawn_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "withdrawn_s"})


class DoneRow(Row, table=True):
    """A turn of a job kind on its subject that was done: where the next interval starts."""

    __table_args__ = (CheckConstraint("sequence >= 0", name="sequence"), WITHOUT_ROWID)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    kind: str = Field(primary_key=True)
    subject_id: str = Field(primary_key=True)
    sequence: int = Field(primary_key=True)
    at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "at_s"})
    running_seconds: int = Field(sa_type=BigInteger)
    estimated: bool = False
    job_key: str | None = None


class JobRow(Row, table=True):
    """An occurrence and how far its work has come. due_at and limit_at are the original ones."""

    __table_args__ = (Index(None, "vessel_id", "plant_id", "closed_s"),)

    key: str = Field(primary_key=True)
    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    plant_id: str
    kind: str
    subject_id: str
    sequence: int
    pump_id: str | None = None
    position_id: str | None = None
    state: str
    due_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "due_s"})
    window_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "window_s"})
    limit_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "limit_s"})
    trigger: Trigger = Field(sa_type=by_value(Trigger, "trigger"))
    closed_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "closed_s"})
    detail: dict[str, Any] = Field(default_factory=dict, sa_type=Json)
    version: int = 1


class NonConformityRow(Row, table=True):
    """Something that broke a rule: opened by the tool, answered with a cause, closed by another person.

    about: past limit, or what of the work it is of; facts: what stood against it.
    """

    __table_args__ = (Index(None, "vessel_id", "job_key"), WITHOUT_ROWID)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    number: int = Field(primary_key=True)
    plant_id: str
    job_key: str
    limit_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "limit_s"})
    opened_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "opened_s"})
    about: str = Field(default="past limit", sa_column_kwargs={"server_default": "past limit"})
    facts: list[Any] = Field(default_factory=list, sa_type=Json, sa_column_kwargs={"server_default": "[]"})
    cause: str = ""
    corrective_action: str = ""
    answered_by_id: str | None = None
    answered_by: str | None = None
    answered_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "answered_s"})
    closed_by: str | None = None
    closed_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "closed_s"})


class PartCountRow(Row, table=True):
    """How many of a part are aboard: as counted, less what was noted as used since. No stock system."""

    __table_args__ = (WITHOUT_ROWID,)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    plant_id: str = Field(primary_key=True)
    name: str = Field(primary_key=True)
    aboard: int
    actor: str
    counted_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "counted_s"})


class HandoverRow(Row, table=True):
    """A handover note: written and signed by who leaves, signed by who takes over (signed_at none: not yet)."""

    __table_args__ = (WITHOUT_ROWID,)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    number: int = Field(primary_key=True)
    text: str
    written_by_id: str
    written_by: str
    written_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "written_s"})
    signed_by: str | None = None
    signed_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "signed_s"})


def part_count_rows(session: Session, vessel_id: str, plant_id: str) -> list[PartCountRow]:
    """The counted parts of a plant, by name."""
    query = select(PartCountRow).where(PartCountRow.vessel_id == vessel_id, PartCountRow.plant_id == plant_id)
    return list(session.exec(query.order_by(col(PartCountRow.name))))


def part_count_row(session: Session, vessel_id: str, plant_id: str, name: str) -> PartCountRow | None:
    """The count of that part, or none."""
    return session.get(PartCountRow, (vessel_id, plant_id, name))


def handover_rows(session: Session, vessel_id: str, page: PageAsked | None = None) -> list[HandoverRow]:
    """A vessel's handover notes, by number."""
    query = select(HandoverRow).where(HandoverRow.vessel_id == vessel_id)
    return numbered_rows(session, query, col(HandoverRow.number), page)


def handovers_waiting(session: Session, vessel_id: str) -> list[HandoverRow]:
    """A vessel's handover notes that nobody has taken over, oldest first."""
    query = select(HandoverRow).where(HandoverRow.vessel_id == vessel_id, col(HandoverRow.signed_at).is_(None))
    return list(session.exec(query.order_by(col(HandoverRow.number))))


def nonconformities_waiting(session: Session, vessel_id: str) -> list[NonConformityRow]:
    """A vessel's non-conformities that are not closed, oldest first."""
    query = select(NonConformityRow).where(
        NonConformityRow.vessel_id == vessel_id, col(NonConformityRow.closed_at).is_(None)
    )
    return list(session.exec(query.order_by(col(NonConformityRow.number))))


def handover_row(session: Session, vessel_id: str, number: int) -> HandoverRow | None:
    """That handover note, or none."""
    return session.get(HandoverRow, (vessel_id, number))


def nonconformity_rows(
    session: Session, vessel_id: str, *, only_open: bool = False, page: PageAsked | None = None
) -> list[NonConformityRow]:
    """A vessel's non-conformities, by number."""
    query = select(NonConformityRow).where(NonConformityRow.vessel_id == vessel_id)
    if only_open:
        query = query.where(col(NonConformityRow.closed_at).is_(None))
    return numbered_rows(session, query, col(NonConformityRow.number), page)


def nonconformity_row(session: Session, vessel_id: str, number: int) -> NonConformityRow | None:
    """That non-conformity, or none."""
    return session.get(NonConformityRow, (vessel_id, number))


def next_nonconformity_number(session: Session, vessel_id: str) -> int:
    """The number the vessel's next non-conformity gets."""
    query = select(func.max(NonConformityRow.number)).where(NonConformityRow.vessel_id == vessel_id)
    return (session.exec(query).one() or 0) + 1


def latest_done_rows(session: Session, vessel_id: str, *, before_at: datetime | None = None) -> list[DoneRow]:
    """The newest done turn of each kind and subject of a vessel; of those done before an instant, where one is given."""
    newest = (
        select(DoneRow.kind, DoneRow.subject_id, func.max(DoneRow.sequence).label("sequence"))
        .where(DoneRow.vessel_id == vessel_id, *([] if before_at is None else [col(DoneRow.at) < before_at]))
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


def done_rows_of_kind(session: Session, vessel_id: str, kind: str) -> list[DoneRow]:
    """The done turns of a kind on a vessel, oldest first."""
    query = select(DoneRow).where(DoneRow.vessel_id == vessel_id, DoneRow.kind == kind)
    return list(session.exec(query.order_by(col(DoneRow.at))))


def done_row(session: Session, vessel_id: str, kind: str, subject_id: str, sequence: int) -> DoneRow | None:
    """That turn if it was done, or none."""
    return session.get(DoneRow, (vessel_id, kind, subject_id, sequence))


def done_rows_with(session: Session, vessel_id: str, job_key: str) -> list[DoneRow]:
    """The turns that were done with that job: its own, and those it renewed."""
    return list(session.exec(select(DoneRow).where(DoneRow.vessel_id == vessel_id, DoneRow.job_key == job_key)))


def job_rows(session: Session, vessel_id: str, plant_id: str, *, closed_since: datetime | None = None) -> list[JobRow]:
    """Jobs of a plant that are open, or with `closed_since` those closed since; by key."""
    query = select(JobRow).where(JobRow.vessel_id == vessel_id, JobRow.plant_id == plant_id)
    if closed_since is None:
        query = query.where(col(JobRow.closed_at).is_(None))
    else:
        query = query.where(col(JobRow.closed_at) >= closed_since)
    return list(session.exec(query.order_by(JobRow.key)))


def job_row(session: Session, vessel_id: str, key: str) -> JobRow | None:
    """That job if it has a row yet, or none."""
    return session.get(JobRow, (key, vessel_id))


def withdrawn_rows(session: Session, vessel_id: str) -> list[JobRow]:
    """Every withdrawn job of a vessel, by key."""
    query = select(JobRow).where(JobRow.vessel_id == vessel_id, JobRow.state == JobState.WITHDRAWN.value)
    return list(session.exec(query.order_by(JobRow.key)))


def last_sequence(session: Session, vessel_id: str, kind: str, subject_id: str) -> int:
    """Number of the last done turn of a kind on a subject; 0 when there is none."""
    query = select(func.max(DoneRow.sequence)).where(
        DoneRow.vessel_id == vessel_id, DoneRow.kind == kind, DoneRow.subject_id == subject_id
    )
    return session.exec(query).one() or 0


def step_rows(session: Session, vessel_id: str, job_key: str) -> list[WorkStepRow]:
    """The steps of the work on a job, in order of recording."""
    query = select(WorkStepRow).where(WorkStepRow.vessel_id == vessel_id, WorkStepRow.job_key == job_key)
    return list(session.exec(query.order_by(col(WorkStepRow.number))))


def jobs_worked_on(session: Session, vessel_id: str, pump_id: str) -> list[str]:
    """Keys of the jobs with steps on a pump that are not closed."""
    closed = select(JobRow.key).where(JobRow.vessel_id == vessel_id, col(JobRow.closed_at).is_not(None))
    query = (
        select(WorkStepRow.job_key)
        .where(WorkStepRow.vessel_id == vessel_id, WorkStepRow.pump_id == pump_id)
        .where(col(WorkStepRow.job_key).not_in(closed))
        .distinct()
    )
    return sorted(session.exec(query))


def step_rows_since(session: Session, vessel_id: str, since_at: datetime) -> list[WorkStepRow]:
    """The steps of a vessel's jobs that happened since an instant."""
    query = select(WorkStepRow).where(WorkStepRow.vessel_id == vessel_id, WorkStepRow.at >= since_at)
    return list(session.exec(query.order_by(col(WorkStepRow.at), WorkStepRow.job_key, col(WorkStepRow.number))))


def jobs_begun_between(
    session: Session, vessel_id: str, from_at: datetime, to_at: datetime
) -> list[tuple[str, str | None]]:
    """(key, pump) of the jobs for which a permit was issued or a tag hung from one instant on and before another."""
    query = select(WorkStepRow.job_key, WorkStepRow.pump_id).where(
        WorkStepRow.vessel_id == vessel_id,
        col(WorkStepRow.kind).in_(("permit issued", "tag placed")),
        WorkStepRow.at >= from_at,
        WorkStepRow.at < to_at,
    )
    return sorted(session.exec(query.distinct()), key=lambda one: one[0])


def newest_step_rows(session: Session, vessel_id: str, kind: str, most: int) -> list[WorkStepRow]:
    """A vessel's newest steps of a kind, newest first."""
    query = select(WorkStepRow).where(WorkStepRow.vessel_id == vessel_id, WorkStepRow.kind == kind)
    return list(session.exec(query.order_by(col(WorkStepRow.at).desc(), col(WorkStepRow.record).desc()).limit(most)))


def not_fitted_rows(
    session: Session, vessel_id: str, pump_id: str | None = None, page: PageAsked | None = None
) -> list[NotFittedRow]:
    """Points said to be not fitted (on that pump), by number."""
    query = select(NotFittedRow).where(NotFittedRow.vessel_id == vessel_id)
    if pump_id is not None:
        query = query.where(NotFittedRow.pump_id == pump_id)
    return numbered_rows(session, query, col(NotFittedRow.number), page)


def work_under_way(session: Session, vessel_id: str, subject_id: str) -> str:
    """Key of a job with recorded steps that is not closed, on that pump or thing; empty when there is none."""
    step, job = WorkStepRow, JobRow
    about = or_(step.pump_id == subject_id, col(step.job_key).contains(f":{subject_id}:", autoescape=True))
    closed = select(job.key).where(job.vessel_id == vessel_id, job.key == step.job_key, col(job.closed_at).is_not(None))
    found = select(step.job_key).where(step.vessel_id == vessel_id, about, ~closed.exists())
    return session.exec(found.limit(1)).first() or ""
