"""Tables of capacity, jobs, plans and the record."""

from enum import StrEnum

from sqlalchemy import BigInteger, CheckConstraint, Index, text
from sqlmodel import Field

from scheduler.domain.base.enums import Test, Trigger
from scheduler.storage.columns import WITHOUT_ROWID, Packed, Row, by_value


class OutageStatus(StrEnum):
    """How far a pump is out: down, or returned and not yet proved by a test."""

    DOWN = "down"
    NOT_PROVED = "not proved"


class PlanStatus(StrEnum):
    """A plan is proposed, then taken by a person, then superseded by the next."""

    PROPOSED = "proposed"
    TAKEN = "taken"
    SUPERSEDED = "superseded"


class OutageRow(Row, table=True):
    """A stretch in which a pump counts for less than its capacity; `to_s` none: still.

    expected_s: when it is expected back, as somebody said, or as a plan has it; none: not known. Plans alone may use it.
    """

    __table_args__ = (
        CheckConstraint("to_s IS NULL OR to_s >= from_s", name="to_s"),
        CheckConstraint("counts_for_litres_per_h >= 0", name="counts_for"),
        Index(None, "vessel_id", "plant_id", "from_s"),
    )

    id: str = Field(primary_key=True)
    vessel_id: str = Field(foreign_key="vessel.id")
    plant_id: str
    pump_id: str
    from_s: int = Field(sa_type=BigInteger)
    to_s: int | None = Field(default=None, sa_type=BigInteger)
    counts_for_litres_per_h: int = 0
    status: OutageStatus = Field(sa_type=by_value(OutageStatus, "status"))
    reason: str
    expected_s: int | None = Field(default=None, sa_type=BigInteger)
    actor: str
    recorded_s: int = Field(sa_type=BigInteger)
    job_key: str = Field(default="", sa_column_kwargs={"server_default": ""})
    """Of the job whose work put it out; empty: a person said so."""


class PumpTestRow(Row, table=True):
    """A pull-down test of a pump: its result and, when passed, the swept litres an hour it showed."""

    __table_args__ = (Index(None, "vessel_id", "pump_id", "at_s"),)

    id: str = Field(primary_key=True)
    vessel_id: str = Field(foreign_key="vessel.id")
    pump_id: str
    at_s: int = Field(sa_type=BigInteger)
    result: Test = Field(sa_type=by_value(Test, "result"))
    swept_litres_per_h: int | None = None
    actor: str
    recorded_s: int = Field(sa_type=BigInteger)


class WorkStepRow(Row, table=True):
    """A step of the work on a job, as told; `detail` is the step as JSON, `flags` what stood against it (JSON): facts, or the
    words alone where it was stored before there were facts.

    number counts from 1 within the job, in order of recording. record: its number in the history.
    """

    __table_args__ = (Index(None, "vessel_id", "pump_id"), WITHOUT_ROWID)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    job_key: str = Field(primary_key=True)
    number: int = Field(primary_key=True)
    pump_id: str | None = None
    kind: str
    at_s: int = Field(sa_type=BigInteger)
    detail: str
    flags: str = "[]"
    actor: str
    record: int = Field(sa_type=BigInteger)
    recorded_s: int = Field(sa_type=BigInteger)


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
    asked_s: int = Field(sa_type=BigInteger)
    signed_as: str | None = None
    signed_by_id: str | None = None
    signed_by: str | None = None
    signed_s: int | None = Field(default=None, sa_type=BigInteger)
    withdrawn_by: str | None = None
    withdrawn_s: int | None = Field(default=None, sa_type=BigInteger)


class DoneRow(Row, table=True):
    """A turn of a job kind on its subject that was done: where the next interval starts."""

    __table_args__ = (CheckConstraint("sequence >= 0", name="sequence"), WITHOUT_ROWID)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    kind: str = Field(primary_key=True)
    subject_id: str = Field(primary_key=True)
    sequence: int = Field(primary_key=True)
    at_s: int = Field(sa_type=BigInteger)
    running_seconds: int = Field(sa_type=BigInteger)
    estimated: bool = False
    job_key: str | None = None


class JobRow(Row, table=True):
    """An occurrence and how far its work has come; `detail` is JSON. due_s and limit_s are the original ones."""

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
    due_s: int = Field(sa_type=BigInteger)
    window_s: int = Field(sa_type=BigInteger)
    limit_s: int = Field(sa_type=BigInteger)
    trigger: Trigger = Field(sa_type=by_value(Trigger, "trigger"))
    closed_s: int | None = Field(default=None, sa_type=BigInteger)
    detail: str = "{}"
    version: int = 1


class PlanRow(Row, table=True):
    """A plan with the problem it answers (both JSON); a plant has at most one proposed and one taken."""

    __table_args__ = (
        Index(
            "uq_plan_one_proposed",
            "vessel_id",
            "plant_id",
            unique=True,
            sqlite_where=text("status = 'proposed'"),
            postgresql_where=text("status = 'proposed'"),
        ),
        Index(
            "uq_plan_one_taken",
            "vessel_id",
            "plant_id",
            unique=True,
            sqlite_where=text("status = 'taken'"),
            postgresql_where=text("status = 'taken'"),
        ),
        Index(None, "vessel_id", "plant_id", "made_s"),
    )

    id: str = Field(primary_key=True)
    vessel_id: str = Field(foreign_key="vessel.id")
    plant_id: str
    digest: str
    problem_digest: str
    status: PlanStatus = Field(sa_type=by_value(PlanStatus, "status"))
    made_s: int = Field(sa_type=BigInteger)
    taken_s: int | None = Field(default=None, sa_type=BigInteger)
    starts_s: int = Field(sa_type=BigInteger)
    problem: str = Field(sa_type=Packed, sa_column_kwargs={"server_default": text("''")})
    plan: str = Field(sa_type=Packed, sa_column_kwargs={"server_default": text("''")})
    lawful: bool
    least_margin_litres_per_h: int | None = None
    least_at_s: int | None = Field(default=None, sa_type=BigInteger)
    version: int = 1


class SlotRow(Row, table=True):
    """A planned outage of a plan."""

    __table_args__ = (
        CheckConstraint("end_s > start_s", name="end_s"),
        Index(None, "plan_id"),
        Index(None, "vessel_id", "job_key"),
    )

    id: str = Field(primary_key=True)
    vessel_id: str = Field(foreign_key="vessel.id")
    plan_id: str = Field(foreign_key="plan.id", ondelete="CASCADE")
    job_key: str
    pump_id: str | None = None
    start_s: int = Field(sa_type=BigInteger)
    end_s: int = Field(sa_type=BigInteger)
    least_margin_litres_per_h: int
    pinned: bool = False
    version: int = 1


class MoveRow(Row, table=True):
    """A slot that a person moved, and whether that was undone. number counts within the vessel.

    slots: JSON, the job moved first, then what went along on its isolation: {job, from_s, to_s}; from_s null: it had no slot.
    job_key: the job that was asked for. record, undone_record: numbers in the history.
    """

    __table_args__ = (Index(None, "vessel_id", "plant_id"), WITHOUT_ROWID)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    number: int = Field(primary_key=True)
    plant_id: str
    job_key: str
    slots: str
    reason: str
    by_id: str
    by: str
    at_s: int = Field(sa_type=BigInteger)
    record: int = Field(sa_type=BigInteger)
    undone_by: str | None = None
    undone_s: int | None = Field(default=None, sa_type=BigInteger)
    undone_record: int | None = Field(default=None, sa_type=BigInteger)


class RecordRow(Row, table=True):
    """A record of a vessel's history ("": of the installation). Triggers refuse to change or delete one."""

    __table_args__ = (
        CheckConstraint("number >= 1", name="number"),
        CheckConstraint("length(hash) = 64 AND length(previous_hash) = 64", name="hash"),
    )

    vessel_id: str = Field(primary_key=True)
    number: int = Field(primary_key=True, sa_type=BigInteger)
    text: str
    hash: str
    previous_hash: str
    kind: str
    recorded_s: int = Field(sa_type=BigInteger)


class ChainHeadRow(Row, table=True):
    """Number and hash of a vessel's newest record; locked while one is added."""

    vessel_id: str = Field(primary_key=True)
    number: int = Field(sa_type=BigInteger)
    hash: str
