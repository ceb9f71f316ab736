"""The office's side: how far each ship that writes aboard was taken, and what she sent, which is the truth her mirror is made of."""

from collections.abc import Collection
from datetime import datetime
from enum import StrEnum
from typing import Any

from sqlalchemy import BigInteger, LargeBinary, and_, case, false, func, or_, update
from sqlmodel import Field, Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from scheduler.domain.shore.frame import ChangeBatch, pack, unpack
from scheduler.storage.types import WITHOUT_ROWID, Instant, Json, Row, by_value
from scheduler.storage.vessel import AssetRow, VesselRow


class LineState(StrEnum):
    """How taking from a ship stands. ANEW: inside the transaction that builds her mirror anew, and never after it."""

    OPEN = "open"
    REFUSED = "refused"
    PARTED = "parted"
    ANEW = "built anew"


class ShipLineRow(Row, table=True):
    """How far a ship was taken. life "": nothing yet, and she is no mirror.

    life, number, hash: the newest change taken. heard_at: last post that was taken. skew_s: her clock ahead of ours then. schema: her
    migration step. since_at: since when it stands so; facts: why, where it is not open (`domain.shore.taking`).
    """

    vessel_id: str = Field(primary_key=True)
    life: str = ""
    number: int = Field(default=0, sa_type=BigInteger)
    hash: str = ""
    heard_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "heard_s"})
    skew_s: int = Field(default=0, sa_type=BigInteger)
    schema_step: str = Field(default="", sa_column_kwargs={"name": "schema"})
    state: LineState = Field(default=LineState.OPEN, sa_type=by_value(LineState, "line_state"))
    since_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "since_s"})
    facts: dict[str, Any] = Field(default_factory=dict, sa_type=Json)


class ShipBatchRow(Row, table=True):
    """Changes as a ship sent them, without those that were there already. not_aboard: they stand in no database aboard any more."""

    vessel_id: str = Field(primary_key=True)
    life: str = Field(primary_key=True)
    begins: int = Field(primary_key=True, sa_type=BigInteger)
    ends: int = Field(sa_type=BigInteger)
    prev: str
    head: str
    schema_step: str = Field(sa_column_kwargs={"name": "schema"})
    taken_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "taken_s"})
    not_aboard: bool = Field(default=False, sa_column_kwargs={"server_default": false()})
    frame: bytes = Field(sa_type=LargeBinary)


class ShipPersonRow(Row, table=True):
    """Somebody aboard, as her server names them; nobody who may sign in here. person_vessel_id "": of her whole installation."""

    __table_args__ = (WITHOUT_ROWID,)

    vessel_id: str = Field(primary_key=True)
    person_vessel_id: str = Field(primary_key=True)
    id: str = Field(primary_key=True)
    name: str
    rank: str
    role: str
    created_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "created_s"})
    withdrawn_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "withdrawn_s"})


def ship_line(session: Session, vessel_id: str) -> ShipLineRow | None:
    """How far that ship was taken, or none where she never sent anything."""
    return session.get(ShipLineRow, vessel_id)


def ship_lines(session: Session) -> list[tuple[ShipLineRow, str]]:
    """Every ship that sent something, with her name ("" where her document is not here), by id."""
    query = (
        select(ShipLineRow, VesselRow.name)
        .outerjoin(VesselRow, col(VesselRow.id) == col(ShipLineRow.vessel_id))
        .order_by(ShipLineRow.vessel_id)
    )
    return [(row, name or "") for row, name in session.exec(query)]


def heard_at(session: Session, vessel_id: str) -> datetime | None:
    """When a ship that writes aboard was last heard; none for one that is written here."""
    query = select(ShipLineRow.heard_at).where(ShipLineRow.vessel_id == vessel_id, ShipLineRow.life != "")
    return session.exec(query).first()


def mirror_of(session: Session, names: Collection[str]) -> datetime | None:
    """When the ship was last heard whose id, or the id of whose thing, is among some names; none where she is written here."""
    owners = select(AssetRow.vessel_id).where(col(AssetRow.id).in_(names))
    row = ShipLineRow
    mine = or_(col(row.vessel_id).in_(names), col(row.vessel_id).in_(owners))
    return session.exec(select(row.heard_at).where(mine, row.life != "").limit(1)).first()


def written_aboard() -> SelectOfScalar[str]:
    """Ids of the ships that write aboard, as a query."""
    return select(ShipLineRow.vessel_id).where(ShipLineRow.life != "")


def store_batch(session: Session, batch: ChangeBatch, frame: bytes, after: int, at: datetime) -> ChangeBatch:
    """Keep what of a batch comes after a number; that part of it. frame: as it was sent, kept as it is where it is all new."""
    new = batch
    if batch.begins <= after:
        skipped = after - batch.begins + 1
        new = _part(batch, skipped, len(batch.changes))
        frame = pack(new)
    session.add(
        ShipBatchRow(
            vessel_id=new.vessel_id,
            life=new.life,
            begins=new.begins,
            ends=new.ends,
            prev=new.prev,
            head=new.head,
            schema_step=new.schema,
            taken_at=at,
            frame=frame,
        )
    )
    return new


def _part(batch: ChangeBatch, first: int, last: int) -> ChangeBatch:
    """The changes of a batch from one place up to before another."""
    changes = batch.changes[first:last]
    return ChangeBatch(
        vessel_id=batch.vessel_id,
        life=batch.life,
        begins=batch.begins + first,
        ends=batch.begins + last - 1,
        prev=batch.changes[first - 1].hash if first else batch.prev,
        head=changes[-1].hash if changes else batch.prev,
        schema=batch.schema,
        sent_at=batch.sent_at,
        changes=changes,
    )


def batch_rows(
    session: Session, vessel_id: str, *, after: int = 0, life: str | None = None, not_aboard: bool = False
) -> list[ShipBatchRow]:
    """Batches with changes above a number, in order; those that are aboard, or those that are not any more."""
    row = ShipBatchRow
    query = select(row).where(row.vessel_id == vessel_id, row.ends > after, col(row.not_aboard).is_(not_aboard))
    if life is not None:
        query = query.where(row.life == life)
    return list(session.exec(query.order_by(col(row.life) if not_aboard else col(row.begins), col(row.begins))))


def changes_lost(session: Session) -> dict[str, int]:
    """Of each ship with lives that ended, how many changes of hers are not aboard any more."""
    row = ShipBatchRow
    query = select(row.vessel_id, func.sum(col(row.ends) - row.begins + 1)).where(col(row.not_aboard).is_(True))
    return {vessel: int(count) for vessel, count in session.exec(query.group_by(row.vessel_id))}


def lines_in_short(session: Session, heard_before: datetime) -> dict[str, int]:
    """How many ships' lines stand how, and how many of all were last heard before an instant ("not heard")."""
    row = ShipLineRow
    silent = func.sum(case((and_(col(row.life) != "", col(row.heard_at) <= heard_before), 1), else_=0))
    found = session.exec(select(row.state, func.count(), silent).group_by(row.state)).all()
    return {LineState(state).value: count for state, count, _ in found} | {
        "not heard": sum(int(some) for *_, some in found)
    }


def hash_of_change(session: Session, vessel_id: str, number: int) -> str | None:
    """The chain hash of a change of the ship's that was taken and is aboard; none where it was not."""
    row = ShipBatchRow
    aboard = select(row).where(row.vessel_id == vessel_id, col(row.not_aboard).is_(False))
    found = session.exec(aboard.where(row.begins <= number + 1, row.ends >= number).order_by(col(row.begins))).first()
    if found is None:
        return None
    if number in (found.begins - 1, found.ends):
        return found.prev if number < found.begins else found.head
    return next(change.hash for change in unpack(found.frame).changes if change.number == number)


def set_aside(session: Session, vessel_id: str, number: int) -> None:
    """From now on the changes above a number are not aboard any more; a batch across it is cut in two."""
    for row in batch_rows(session, vessel_id, after=number):
        if row.begins <= number:
            batch = unpack(row.frame)
            cut = number - row.begins + 1
            lost = _part(batch, cut, len(batch.changes))
            kept = _part(batch, 0, cut)
            row.ends, row.head, row.frame = kept.ends, kept.head, pack(kept)
            session.add(row)
            session.flush()
            store_batch(session, lost, pack(lost), 0, row.taken_at)
            session.flush()
    session.connection().execute(
        update(ShipBatchRow)
        .where(col(ShipBatchRow.vessel_id) == vessel_id, col(ShipBatchRow.begins) > number)
        .values(not_aboard=True)
    )
    session.expire_all()
