"""Tables of what the company's system asks for: postponements and non-conformities."""

from sqlalchemy import BigInteger, Index
from sqlmodel import Field

from scheduler.storage.columns import WITHOUT_ROWID, Row


class PostponementRow(Row, table=True):
    """A postponement asked for, and how it was decided (granted none: not yet). number counts within the vessel.

    to_s: the new limit. limit_s: the limit that held when it was asked.
    """

    __table_args__ = (Index(None, "vessel_id", "job_key"), WITHOUT_ROWID)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    number: int = Field(primary_key=True)
    plant_id: str
    job_key: str
    limit_s: int = Field(sa_type=BigInteger)
    to_s: int = Field(sa_type=BigInteger)
    reason: str
    risk: str
    mitigation: str
    asked_by_id: str
    asked_by: str
    asked_s: int = Field(sa_type=BigInteger)
    granted: bool | None = None
    decided_by: str | None = None
    decided_s: int | None = Field(default=None, sa_type=BigInteger)
    note: str = ""
    class_agreed: str = ""


class NonConformityRow(Row, table=True):
    """A job past its limit without a postponement: opened by the tool, answered with a cause, closed by another person."""

    __table_args__ = (Index(None, "vessel_id", "job_key"), WITHOUT_ROWID)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    number: int = Field(primary_key=True)
    plant_id: str
    job_key: str
    limit_s: int = Field(sa_type=BigInteger)
    opened_s: int = Field(sa_type=BigInteger)
    cause: str = ""
    corrective_action: str = ""
    answered_by_id: str | None = None
    answered_by: str | None = None
    answered_s: int | None = Field(default=None, sa_type=BigInteger)
    closed_by: str | None = None
    closed_s: int | None = Field(default=None, sa_type=BigInteger)
