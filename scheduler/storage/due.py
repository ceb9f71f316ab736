"""Published dates and those that moved, postponements, first dates, part dates, docks."""

from datetime import date, datetime

from sqlalchemy import BigInteger, CheckConstraint, Index, false
from sqlmodel import Field, Session, col, func, select

from scheduler.storage.hours.counters import CounterEventRow
from scheduler.storage.paging import PageAsked, numbered_rows
from scheduler.storage.types import WITHOUT_ROWID, Instant, Json, Row


class PublishedRow(Row, table=True):
    """The dates of a turn as people see them; `text` is `scheduler.domain.due.publishing.Published`."""

    __table_args__ = (Index(None, "vessel_id", "plant_id"),)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    job_key: str = Field(primary_key=True)
    plant_id: str
    text: str


class MovedRow(Row, table=True):
    """Published dates that moved, numbered by vessel in the order in which they did.

    Early and late dates are none without a running-hour interval. open: the turn was the open one of its job. cause: of `Cause`.
    """

    __table_args__ = (
        CheckConstraint("number >= 1", name="number"),
        Index(None, "vessel_id", "plant_id", "number"),
        WITHOUT_ROWID,
    )

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    number: int = Field(primary_key=True, sa_type=BigInteger)
    plant_id: str
    job_key: str
    open: bool
    cause: str
    at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "at_s"})
    from_due_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "from_due_s"})
    from_early_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "from_early_s"})
    from_late_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "from_late_s"})
    to_due_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "to_due_s"})
    to_early_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "to_early_s"})
    to_late_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "to_late_s"})


def published_rows(session: Session, vessel_id: str, plant_id: str) -> dict[str, PublishedRow]:
    """What is published of a plant's turns, by occurrence key."""
    query = select(PublishedRow).where(PublishedRow.vessel_id == vessel_id, PublishedRow.plant_id == plant_id)
    return {row.job_key: row for row in session.exec(query)}


def published_texts(session: Session, vessel_id: str) -> tuple[tuple[str, str], ...]:
    """(occurrence key, text) of all that is published of a vessel's turns, by key."""
    query = select(PublishedRow.job_key, PublishedRow.text).where(PublishedRow.vessel_id == vessel_id)
    return tuple(sorted((key, kept) for key, kept in session.exec(query)))


def moved_rows(session: Session, vessel_id: str, plant_id: str, *, after: int, limit: int) -> list[MovedRow]:
    """A plant's moved dates with numbers above `after`, in order."""
    query = select(MovedRow).where(MovedRow.vessel_id == vessel_id, MovedRow.plant_id == plant_id)
    return list(session.exec(query.where(MovedRow.number > after).order_by(col(MovedRow.number)).limit(limit)))


def newest_moved_row(
    session: Session, vessel_id: str, plant_id: str, *, since_at: datetime, limit: int
) -> list[MovedRow]:
    """A plant's newest moved dates of open turns since an instant, newest first."""
    query = select(MovedRow).where(MovedRow.vessel_id == vessel_id, MovedRow.plant_id == plant_id)
    query = query.where(MovedRow.at >= since_at, col(MovedRow.open).is_(True))
    return list(session.exec(query.order_by(col(MovedRow.number).desc()).limit(limit)))


def moved_rows_by(
    session: Session, vessel_id: str, plant_id: str, *, since_at: datetime, cause: str, limit: int
) -> list[MovedRow]:
    """A plant's first moved dates of a cause since an instant, in order."""
    query = select(MovedRow).where(MovedRow.vessel_id == vessel_id, MovedRow.plant_id == plant_id)
    query = query.where(MovedRow.at >= since_at, MovedRow.cause == cause)
    return list(session.exec(query.order_by(col(MovedRow.number)).limit(limit)))


def last_moved_number(session: Session, vessel_id: str) -> int:
    """Number of the vessel's newest moved date; 0 when none has moved yet."""
    return session.exec(select(func.max(MovedRow.number)).where(MovedRow.vessel_id == vessel_id)).one() or 0


def event_counts(session: Session, counter_numbers: list[int]) -> tuple[int, int]:
    """How many events these counters have, and how many of them are replacements."""
    query = select(CounterEventRow.kind, func.count()).where(col(CounterEventRow.counter_no).in_(counter_numbers))
    counts = dict(session.exec(query.group_by(CounterEventRow.kind)).all())
    return sum(counts.values()), counts.get("replacement", 0)


class PostponementRow(Row, table=True):
    """A postponement asked for, and how it was decided (granted none: not yet). number counts within the vessel.

    to_at: the new limit. limit_at: the limit that held when it was asked. decided_as: chief, office, or master (then decided_by is
    the master's name, and entered_by who wrote it down while the link was down).
    """

    __table_args__ = (Index(None, "vessel_id", "job_key"), WITHOUT_ROWID)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    number: int = Field(primary_key=True)
    plant_id: str
    job_key: str
    limit_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "limit_s"})
    to_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "to_s"})
    reason: str
    risk: str
    mitigation: str
    asked_by_id: str
    asked_by: str
    asked_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "asked_s"})
    granted: bool | None = None
    decided_by: str | None = None
    decided_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "decided_s"})
    note: str = ""
    class_agreed: str = ""
    decided_as: str = Field(default="", sa_column_kwargs={"server_default": ""})
    entered_by: str = Field(default="", sa_column_kwargs={"server_default": ""})


class DockRow(Row, table=True):
    """A batch of jobs chosen for a dock (jobs: their keys). number counts within the vessel."""

    __table_args__ = (Index(None, "vessel_id", "plant_id"), WITHOUT_ROWID)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    number: int = Field(primary_key=True)
    plant_id: str
    from_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "from_s"})
    to_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "to_s"})
    jobs: list[str] = Field(sa_type=Json)
    chosen_by: str
    chosen_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "chosen_s"})
    withdrawn_by: str | None = None
    withdrawn_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "withdrawn_s"})


class PartDateRow(Row, table=True):
    """From which ship's date the parts of a job are aboard, as somebody said."""

    __table_args__ = (WITHOUT_ROWID,)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    job_key: str = Field(primary_key=True)
    from_on: date
    note: str
    actor: str
    recorded_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "recorded_s"})
    record: int = Field(default=0, sa_type=BigInteger, sa_column_kwargs={"server_default": "0"})


class FirstDateRow(Row, table=True):
    """When the first turn of a job falls due, set by the chief engineer because nobody knew when it was last done.

    due_on: the ship's date it was set for; due_at: when that began. running_seconds: of the subject when it was set, none for a plant.
    record: the newest about it. waits: it is of a critical kind and counts for nothing until another person has agreed. set_as: role
    of who set it.
    """

    __table_args__ = (WITHOUT_ROWID,)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    kind: str = Field(primary_key=True)
    subject_id: str = Field(primary_key=True)
    plant_id: str
    due_on: date
    due_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "due_s"})
    set_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "set_s"})
    running_seconds: int | None = Field(default=None, sa_type=BigInteger)
    reason: str
    actor_id: str
    actor: str
    record: int = Field(sa_type=BigInteger)
    waits: bool = Field(default=False, sa_column_kwargs={"server_default": false()})
    set_as: str = Field(default="", sa_column_kwargs={"server_default": ""})
    agreed_by_id: str | None = None
    agreed_by: str | None = None
    agreed_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "agreed_s"})


def postponement_rows(
    session: Session, vessel_id: str, job_key: str | None = None, page: PageAsked | None = None
) -> list[PostponementRow]:
    """A vessel's postponements (of one job), by number."""
    query = select(PostponementRow).where(PostponementRow.vessel_id == vessel_id)
    if job_key is not None:
        query = query.where(PostponementRow.job_key == job_key)
    return numbered_rows(session, query, col(PostponementRow.number), page)


def postponements_waiting(session: Session, vessel_id: str) -> list[PostponementRow]:
    """A vessel's postponements that nobody has decided, oldest first."""
    query = select(PostponementRow).where(
        PostponementRow.vessel_id == vessel_id, col(PostponementRow.granted).is_(None)
    )
    return list(session.exec(query.order_by(col(PostponementRow.number))))


def postponement_row(session: Session, vessel_id: str, number: int) -> PostponementRow | None:
    """That postponement, or none."""
    return session.get(PostponementRow, (vessel_id, number))


def next_postponement_number(session: Session, vessel_id: str) -> int:
    """The number the vessel's next postponement gets."""
    query = select(func.max(PostponementRow.number)).where(PostponementRow.vessel_id == vessel_id)
    return (session.exec(query).one() or 0) + 1


def granted_postponements(
    session: Session, vessel_id: str, *, before_at: datetime | None = None
) -> dict[str, datetime]:
    """New limit of each job with a granted postponement; the newest counts. One that was decided before the job's
    first date was set puts off nothing: the limit it was about is gone. before_at: those decided before it alone."""
    first = {f"{row.kind}:{row.subject_id}:1": row.set_at for row in first_date_rows(session, vessel_id)}
    query = select(PostponementRow).where(
        PostponementRow.vessel_id == vessel_id, col(PostponementRow.granted).is_(True)
    )
    return {
        row.job_key: row.to_at
        for row in session.exec(query.order_by(col(PostponementRow.number)))
        if (before_at is None or (row.decided_at is not None and row.decided_at < before_at))
        and (row.job_key not in first or (row.decided_at is not None and row.decided_at >= first[row.job_key]))
    }


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
    """First dates that count, set for jobs of a vessel whose last time was not known."""
    query = select(FirstDateRow).where(FirstDateRow.vessel_id == vessel_id, col(FirstDateRow.waits).is_(False))
    return list(session.exec(query))


def waiting_first_dates(session: Session, vessel_id: str) -> list[FirstDateRow]:
    """First dates of a vessel that nobody has agreed to yet."""
    query = select(FirstDateRow).where(FirstDateRow.vessel_id == vessel_id, col(FirstDateRow.waits).is_(True))
    return list(session.exec(query))


def first_date_row(session: Session, vessel_id: str, kind: str, subject_id: str) -> FirstDateRow | None:
    """That first date, whether it counts or waits, or none."""
    return session.get(FirstDateRow, (vessel_id, kind, subject_id))
