"""Tables of the vessel, its counters and running hours."""

from enum import StrEnum

from sqlalchemy import BigInteger, CheckConstraint, ForeignKeyConstraint, Index, SmallInteger, UniqueConstraint
from sqlmodel import Field

from scheduler.storage.columns import AUTO, WITHOUT_ROWID, Packed, Row, by_value


class AssetKind(StrEnum):
    """What an id of the vessel document names."""

    PLANT = "plant"
    POSITION = "position"
    PUMP = "pump"
    PART = "part"
    COUNTER = "counter"


class Unstored(StrEnum):
    """Why a reading stands in the intake log and not among the readings."""

    CONFLICT = "conflict"
    REFUSED = "refused"


class VesselRow(Row, table=True):
    """A vessel and its document, the JSON text of `scheduler.domain.vessel.document.Vessel`."""

    id: str = Field(primary_key=True)
    name: str
    imo: str
    document: str
    version: int
    changed_s: int = Field(sa_type=BigInteger)


class DocumentVersionRow(Row, table=True):
    """A vessel's document as stored once: every version is kept. record: of the vessel's history, 0 where that was before."""

    __table_args__ = (WITHOUT_ROWID,)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    version: int = Field(primary_key=True)
    document: str = Field(sa_type=Packed)
    stored_s: int = Field(sa_type=BigInteger)
    by: str
    reason: str
    approved_by: str
    record: int = Field(sa_type=BigInteger)


class KindSinceRow(Row, table=True):
    """When a plant's job kind was first set up here: of what was done before that, nobody keeps count."""

    __table_args__ = (WITHOUT_ROWID,)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    plant_id: str = Field(primary_key=True)
    kind: str = Field(primary_key=True)
    since_s: int = Field(sa_type=BigInteger)


class RevisionRow(Row, table=True):
    """Goes up by one with each write that touches the vessel ("": the installation); caches are keyed by it.

    Kept apart from the vessel so that a reading does not rewrite the vessel's document.
    """

    vessel_id: str = Field(primary_key=True)
    number: int = Field(sa_type=BigInteger)


class AssetRow(Row, table=True):
    """An id that some vessel document uses; ids are unique across vessels."""

    id: str = Field(primary_key=True)
    vessel_id: str = Field(foreign_key="vessel.id", index=True)
    plant_id: str | None = None
    kind: AssetKind = Field(sa_type=by_value(AssetKind, "kind"))


class ShipOffsetRow(Row, table=True):
    """The ship's clock: minutes ahead of UTC from an instant on."""

    __table_args__ = (CheckConstraint("offset_minutes BETWEEN -900 AND 900", name="offset_minutes"), WITHOUT_ROWID)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    from_s: int = Field(primary_key=True, sa_type=BigInteger)
    offset_minutes: int
    actor: str
    reason: str
    recorded_s: int = Field(sa_type=BigInteger)


class CounterRow(Row, table=True):
    """A running-hour counter. `no` is its short name in the readings; `id` the one people use.

    seconds_per_count, modulus, resolution_milli (smallest step in thousandths of a count): as first set up; counter
    events say how it counts later. newest_s: newest observed instant, put right by the sender's skew, stamps from the
    future left out. skew_most_s: furthest that a reading was ever put right. dirty_from_s: earliest instant whose ledger
    entries must be derived anew; none when they are up to date.
    """

    __table_args__ = (UniqueConstraint("no", "vessel_id"), CheckConstraint("seconds_per_count > 0", name="scale"))

    no: int | None = Field(default=None, primary_key=True)
    id: str = Field(unique=True)
    vessel_id: str = Field(foreign_key="vessel.id", index=True)
    plant_id: str
    position_id: str
    seconds_per_count: int
    modulus: int | None = Field(default=None, sa_type=BigInteger)
    resolution_milli: int = Field(sa_type=BigInteger)
    quiet_after_hours: int
    newest_s: int | None = Field(default=None, sa_type=BigInteger)
    dirty_from_s: int | None = Field(default=None, sa_type=BigInteger)
    skew_most_s: int = Field(default=0, sa_type=BigInteger, sa_column_kwargs={"server_default": "0"})


class ReadingRow(Row, table=True):
    """A cumulative reading as posted, in thousandths of a count; never changed. Written by `intake` alone.

    at_s: as stamped, with counter_no its identity. skew_s: how far the sender's clock was behind ours when it was sent (0
    within 5 minutes); the ledger takes it as observed at at_s + skew_s.
    """

    __table_args__ = (
        ForeignKeyConstraint(["counter_no", "vessel_id"], ["counter.no", "counter.vessel_id"]),
        CheckConstraint("value_milli >= 0", name="value_milli"),
        WITHOUT_ROWID,
    )

    counter_no: int = Field(primary_key=True)
    at_s: int = Field(primary_key=True, sa_type=BigInteger)
    value_milli: int = Field(sa_type=BigInteger)
    received_s: int = Field(sa_type=BigInteger)
    vessel_id: str
    skew_s: int = Field(default=0, sa_type=BigInteger, sa_column_kwargs={"server_default": "0"})


class HandReadingRow(Row, table=True):
    """An instant at which a person read a counter and typed what it showed: flags about it give no advice on wiring."""

    __table_args__ = (
        ForeignKeyConstraint(["counter_no", "vessel_id"], ["counter.no", "counter.vessel_id"]),
        WITHOUT_ROWID,
    )

    counter_no: int = Field(primary_key=True)
    at_s: int = Field(primary_key=True, sa_type=BigInteger)
    vessel_id: str


class IntakeLogRow(Row, table=True):
    """A posted item that is not among the readings, as it came, and why."""

    __table_args__ = (Index(None, "vessel_id", "received_s"),)

    id: int | None = Field(default=None, primary_key=True, sa_type=AUTO)
    vessel_id: str = Field(foreign_key="vessel.id")
    counter_ref: str
    received_s: int = Field(sa_type=BigInteger)
    status: Unstored = Field(sa_type=by_value(Unstored, "status"))
    why: str
    item: str


class CounterEventRow(Row, table=True):
    """What a person recorded about a counter (replacement, scale change, step decision ...); `detail` is JSON."""

    __table_args__ = (
        ForeignKeyConstraint(["counter_no", "vessel_id"], ["counter.no", "counter.vessel_id"]),
        Index(None, "counter_no", "at_s"),
    )

    id: str = Field(primary_key=True)
    vessel_id: str
    counter_no: int
    kind: str
    at_s: int = Field(sa_type=BigInteger)
    detail: str
    actor: str
    reason: str
    recorded_s: int = Field(sa_type=BigInteger)


class LedgerEntryRow(Row, table=True):
    """A derived ledger entry: a cache that may be dropped and replayed at any time.

    total_s: seconds counted so far, none where the value is not used. given_s: seconds given so far by opening balances
    and adjustments.
    """

    __table_args__ = (WITHOUT_ROWID,)

    counter_no: int = Field(primary_key=True, foreign_key="counter.no")
    at_s: int = Field(primary_key=True, sa_type=BigInteger)
    seq: int = Field(primary_key=True, sa_type=SmallInteger)
    credit_s: int = Field(sa_type=BigInteger)
    total_s: int | None = Field(default=None, sa_type=BigInteger)
    given_s: int = Field(sa_type=BigInteger)
    verdict: str
    reason: str
    vessel_id: str


class LedgerCheckpointRow(Row, table=True):
    """The fold's state after everything up to and including `at_s`; a cache as well."""

    __table_args__ = (WITHOUT_ROWID,)

    counter_no: int = Field(primary_key=True, foreign_key="counter.no")
    at_s: int = Field(primary_key=True, sa_type=BigInteger)
    state: str
    vessel_id: str


class FlagRow(Row, table=True):
    """Something about a counter that a person should look at. seconds: how much may be missing, where known."""

    __table_args__ = (WITHOUT_ROWID,)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    counter_no: int = Field(primary_key=True, foreign_key="counter.no")
    code: str = Field(primary_key=True)
    at_s: int = Field(primary_key=True, sa_type=BigInteger)
    says: str
    seconds: int | None = Field(default=None, sa_type=BigInteger)
