"""Tables of the operating calendar."""

from datetime import date

from sqlalchemy import BigInteger, CheckConstraint, Index
from sqlmodel import Field

from scheduler.domain.voyage.stretches import Source
from scheduler.storage.columns import WITHOUT_ROWID, Row, by_value


class DaybookRow(Row, table=True):
    """A version of a vessel's operating calendar: who made it and why; `kinds` is JSON.

    undoes: the version that this one takes back. record: its number in the vessel's history.
    """

    __table_args__ = (CheckConstraint("version >= 1", name="version"), WITHOUT_ROWID)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    version: int = Field(primary_key=True)
    kinds: str
    actor: str
    reason: str
    what: str
    undoes: int | None = None
    record: int = Field(sa_type=BigInteger)
    recorded_s: int = Field(sa_type=BigInteger)


class SpellRow(Row, table=True):
    """A stretch of ship's days of one kind, in the versions from `since_version` up to before `until_version`."""

    __table_args__ = (
        CheckConstraint("to_on >= from_on", name="to_on"),
        CheckConstraint("until_version IS NULL OR until_version > since_version", name="until_version"),
        Index(None, "vessel_id", "until_version"),
        WITHOUT_ROWID,
    )

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    since_version: int = Field(primary_key=True)
    from_on: date = Field(primary_key=True)
    to_on: date
    kind: str
    source: Source = Field(sa_type=by_value(Source, "source"))
    note: str
    until_version: int | None = None
