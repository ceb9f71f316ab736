"""Tables of what is kept beside the jobs: parts aboard, handover notes."""

from sqlalchemy import BigInteger
from sqlmodel import Field

from scheduler.storage.columns import WITHOUT_ROWID, Row


class PartCountRow(Row, table=True):
    """How many of a part are aboard: as counted, less what was noted as used since. No stock system."""

    __table_args__ = (WITHOUT_ROWID,)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    plant_id: str = Field(primary_key=True)
    name: str = Field(primary_key=True)
    aboard: int
    actor: str
    counted_s: int = Field(sa_type=BigInteger)


class HandoverRow(Row, table=True):
    """A handover note: written and signed by who leaves, signed by who takes over (signed_s none: not yet)."""

    __table_args__ = (WITHOUT_ROWID,)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    number: int = Field(primary_key=True)
    text: str
    written_by_id: str
    written_by: str
    written_s: int = Field(sa_type=BigInteger)
    signed_by: str | None = None
    signed_s: int | None = Field(default=None, sa_type=BigInteger)
