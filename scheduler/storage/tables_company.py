"""Tables of what the company's system asks for: postponements, non-conformities, concessions, part dates."""

from datetime import date

from sqlalchemy import BigInteger, Index
from sqlmodel import Field

from scheduler.storage.columns import WITHOUT_ROWID, Row


class PostponementRow(Row, table=True):
    """A postponement asked for, and how it was decided (granted none: not yet). number counts within the vessel.

    to_s: the new limit. limit_s: the limit that held when it was asked. decided_as: chief, office, or master (then decided_by is
    the master's name, and entered_by who wrote it down while the link was down).
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
    decided_as: str = Field(default="", sa_column_kwargs={"server_default": ""})
    entered_by: str = Field(default="", sa_column_kwargs={"server_default": ""})


class NonConformityRow(Row, table=True):
    """Something that broke a rule: opened by the tool, answered with a cause, closed by another person.

    about: past limit, or what of the work it is of; facts: JSON, what stood against it.
    """

    __table_args__ = (Index(None, "vessel_id", "job_key"), WITHOUT_ROWID)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    number: int = Field(primary_key=True)
    plant_id: str
    job_key: str
    limit_s: int = Field(sa_type=BigInteger)
    opened_s: int = Field(sa_type=BigInteger)
    about: str = Field(default="past limit", sa_column_kwargs={"server_default": "past limit"})
    facts: str = Field(default="[]", sa_column_kwargs={"server_default": "[]"})
    cause: str = ""
    corrective_action: str = ""
    answered_by_id: str | None = None
    answered_by: str | None = None
    answered_s: int | None = Field(default=None, sa_type=BigInteger)
    closed_by: str | None = None
    closed_s: int | None = Field(default=None, sa_type=BigInteger)


class ConcessionRow(Row, table=True):
    """A lower minimum asked for a stretch of time, and who signed it. number counts within the vessel.

    It counts once signed both as chief and by the second signer, and as long as it is not withdrawn. hotel_by: who signed
    second; hotel_by_id: who wrote that name down; second_as: hotel, chief officer or master, as the ship names. chief_as: chief,
    office, or master while the link was down; chief_entered_by: who wrote the master's name down.
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
    chief_as: str = Field(default="", sa_column_kwargs={"server_default": ""})
    chief_entered_by: str = Field(default="", sa_column_kwargs={"server_default": ""})
    second_as: str = Field(default="hotel", sa_column_kwargs={"server_default": "hotel"})
    withdrawn_by: str | None = None
    withdrawn_s: int | None = Field(default=None, sa_type=BigInteger)


class DockRow(Row, table=True):
    """A batch of jobs chosen for a dock (jobs: JSON list of their keys). number counts within the vessel."""

    __table_args__ = (Index(None, "vessel_id", "plant_id"), WITHOUT_ROWID)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    number: int = Field(primary_key=True)
    plant_id: str
    from_s: int = Field(sa_type=BigInteger)
    to_s: int = Field(sa_type=BigInteger)
    jobs: str
    chosen_by: str
    chosen_s: int = Field(sa_type=BigInteger)
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


class FirstDateRow(Row, table=True):
    """When the first turn of a job falls due, set by the chief engineer because nobody knew when it was last done.

    due_on: the ship's date it was set for; due_s: when that began. running_seconds: of the subject when it was set, none for a plant.
    """

    __table_args__ = (WITHOUT_ROWID,)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    kind: str = Field(primary_key=True)
    subject_id: str = Field(primary_key=True)
    plant_id: str
    due_on: date
    due_s: int = Field(sa_type=BigInteger)
    set_s: int = Field(sa_type=BigInteger)
    running_seconds: int | None = Field(default=None, sa_type=BigInteger)
    reason: str
    actor_id: str
    actor: str
    record: int = Field(sa_type=BigInteger)
