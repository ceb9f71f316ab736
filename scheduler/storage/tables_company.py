"""Tables of what the company's system asks for: postponements, non-conformities, concessions, part dates."""

from datetime import date

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


class ConcessionRow(Row, table=True):
    """A lower minimum asked for a stretch of time, and who signed it. number counts within the vessel.

    It counts once signed both as chief and as hotel, and as long as it is not withdrawn. hotel_by: who answers for the
    hotel; hotel_by_id: who wrote that name down.
    """

    __table_args__ = (Index(None, "vessel_id", "plant_id"), WITHOUT_ROWID)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    number: int = Field(primary_key=True)
    plant_id: str
    from_s: int = Field(sa_type=BigInteger)
    to_s: int = Field(sa_type=BigInteger)
    minimum_litres_per_h: int = Field(sa_type=BigInteger)
    reason: str
    asked_by_id: str
    asked_by: str
    asked_s: int = Field(sa_type=BigInteger)
    chief_by_id: str | None = None
    chief_by: str | None = None
    chief_s: int | None = Field(default=None, sa_type=BigInteger)
    hotel_by_id: str | None = None
    hotel_by: str | None = None
    hotel_s: int | None = Field(default=None, sa_type=BigInteger)
    withdrawn_by: str | None = None
    withdrawn_s: int | None = Field(default=None, sa_type=BigInteger)


class PartDateRow(Row, table=True):
    """From which ship's date the parts of a job are aboard, as somebody said."""

    __table_args__ = (WITHOUT_ROWID,)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    job_key: str = Field(primary_key=True)
    from_on: date
    note: str
    actor: str
    recorded_s: int = Field(sa_type=BigInteger)
