"""Tables of published dates."""

from sqlalchemy import BigInteger, CheckConstraint, Index
from sqlmodel import Field

from scheduler.storage.columns import WITHOUT_ROWID, Row


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
    at_s: int = Field(sa_type=BigInteger)
    from_due_s: int = Field(sa_type=BigInteger)
    from_early_s: int | None = Field(default=None, sa_type=BigInteger)
    from_late_s: int | None = Field(default=None, sa_type=BigInteger)
    to_due_s: int = Field(sa_type=BigInteger)
    to_early_s: int | None = Field(default=None, sa_type=BigInteger)
    to_late_s: int | None = Field(default=None, sa_type=BigInteger)
