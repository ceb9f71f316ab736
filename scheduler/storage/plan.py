"""Plans with their slots, and slots moved by hand."""

from datetime import datetime
from enum import StrEnum
from typing import Any

from sqlalchemy import BigInteger, CheckConstraint, ForeignKeyConstraint, Index, text
from sqlmodel import Field, Session, col, func, select

from scheduler.storage.types import WITHOUT_ROWID, Instant, Json, Packed, Row, by_value


class PlanStatus(StrEnum):
    """A plan is proposed, then taken by a person, then superseded by the next."""

    PROPOSED = "proposed"
    TAKEN = "taken"
    SUPERSEDED = "superseded"


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

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    id: str = Field(primary_key=True)
    plant_id: str
    digest: str
    problem_digest: str
    status: PlanStatus = Field(sa_type=by_value(PlanStatus, "status"))
    made_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "made_s"})
    taken_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "taken_s"})
    starts_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "starts_s"})
    problem: str = Field(sa_type=Packed, sa_column_kwargs={"server_default": text("''")})
    plan: str = Field(sa_type=Packed, sa_column_kwargs={"server_default": text("''")})
    of_day: str = Field(default="", sa_column_kwargs={"server_default": text("''")})
    """Digest of the problem on a grid from the ship's midnight: what the plan answers all day."""
    lawful: bool
    least_margin_litres_per_h: int | None = None
    least_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "least_at_s"})
    version: int = 1


class SlotRow(Row, table=True):
    """A planned outage of a plan."""

    __table_args__ = (
        CheckConstraint("end_s > start_s", name="end_s"),
        ForeignKeyConstraint(["vessel_id", "plan_id"], ["plan.vessel_id", "plan.id"], ondelete="CASCADE"),
        Index(None, "vessel_id", "plan_id"),
        Index(None, "vessel_id", "job_key"),
    )

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    id: str = Field(primary_key=True)
    plan_id: str
    job_key: str
    pump_id: str | None = None
    start_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "start_s"})
    end_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "end_s"})
    least_margin_litres_per_h: int
    pinned: bool = False
    version: int = 1


class MoveRow(Row, table=True):
    """A slot that a person moved, and whether that was undone. number counts within the vessel.

    slots: the job moved first, then what went along on its isolation: {job, from_s, to_s}; from_s null: it had no slot.
    job_key: the job that was asked for. record, undone_record: numbers in the history.
    """

    __table_args__ = (Index(None, "vessel_id", "plant_id"), WITHOUT_ROWID)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    number: int = Field(primary_key=True)
    plant_id: str
    job_key: str
    slots: list[dict[str, Any]] = Field(sa_type=Json)
    reason: str
    by_id: str
    by: str
    at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "at_s"})
    record: int = Field(sa_type=BigInteger)
    undone_by: str | None = None
    undone_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "undone_s"})
    undone_record: int | None = Field(default=None, sa_type=BigInteger)


def plan_row(session: Session, vessel_id: str, plant_id: str, status: PlanStatus) -> PlanRow | None:
    """The plant's proposed or taken plan, or none."""
    query = select(PlanRow).where(
        PlanRow.vessel_id == vessel_id, PlanRow.plant_id == plant_id, PlanRow.status == status
    )
    return session.exec(query.order_by(col(PlanRow.made_at).desc())).first()


def move_rows(session: Session, vessel_id: str, plant_id: str, *, not_undone: bool = False) -> list[MoveRow]:
    """A plant's slots moved by hand, by number; with `standing` those that nobody has undone."""
    query = select(MoveRow).where(MoveRow.vessel_id == vessel_id, MoveRow.plant_id == plant_id)
    if not_undone:
        query = query.where(col(MoveRow.undone_at).is_(None))
    return list(session.exec(query.order_by(col(MoveRow.number))))


def move_row(session: Session, vessel_id: str, number: int) -> MoveRow | None:
    """That move, or none."""
    return session.get(MoveRow, (vessel_id, number))


def next_move_number(session: Session, vessel_id: str) -> int:
    """The number the vessel's next move gets."""
    query = select(func.max(MoveRow.number)).where(MoveRow.vessel_id == vessel_id)
    return (session.exec(query).one() or 0) + 1


def untaken_superseded(session: Session, vessel_id: str, plant_id: str) -> list[PlanRow]:
    """Plans of a plant that were superseded before anybody took them: no record names them."""
    query = select(PlanRow).where(
        PlanRow.vessel_id == vessel_id,
        PlanRow.plant_id == plant_id,
        PlanRow.status == PlanStatus.SUPERSEDED,
        col(PlanRow.taken_at).is_(None),
    )
    return list(session.exec(query))


def superseded_before(session: Session, vessel_id: str, made_at: datetime, most: int) -> list[PlanRow]:
    """At most so many superseded plans of a vessel made before an instant, the oldest first."""
    row = PlanRow
    query = select(row).where(row.vessel_id == vessel_id, row.status == PlanStatus.SUPERSEDED, row.made_at < made_at)
    return list(session.exec(query.order_by(col(row.made_at), row.id).limit(most)))


def drop_plan(session: Session, plan: PlanRow) -> None:
    """Take a plan away, its slots first: each row by itself, so that whoever mirrors the vessel hears of it."""
    slots = select(SlotRow).where(SlotRow.vessel_id == plan.vessel_id, SlotRow.plan_id == plan.id)
    for slot in session.exec(slots):
        session.delete(slot)
    session.flush()
    session.delete(plan)
