"""Tables of what is kept beside the jobs: parts aboard."""

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
