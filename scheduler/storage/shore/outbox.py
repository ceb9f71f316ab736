"""Changes as they go out, what the office has of them, and how what it has is packed away."""

from collections.abc import Generator
from contextlib import closing
from dataclasses import replace
from datetime import datetime

from sqlalchemy import delete
from sqlmodel import Session, col, func, select

from scheduler.domain.shore.frame import (
    FIRST_HASH,
    PACKED_BYTES,
    BrokenBatch,
    Change,
    ChangeBatch,
    chained,
    pack,
    unpack,
)
from scheduler.domain.shore.line_state import LineStatus, ShoreState
from scheduler.storage.shore.lines import OutboxChangeRow, OutboxPackRow, ShoreLineRow

_READ_AT_ONCE = 50
_PACK_BYTES = 2_000_000


def batch_after(session: Session, line: ShoreLineRow, after: int, rate_bytes: int) -> ChangeBatch:
    """The next changes above a number, of one step of the tables, of `rate_bytes` at most but at least one; none are left: no changes.

    Its `sent_at` and `answered` are whoever's who sends it.
    """
    step, size = "", 0
    bodies: list[bytes] = []
    with closing(_bodies(session, line, after)) as waiting:
        for its_step, body in waiting:
            if bodies and (its_step != step or size + len(body) > rate_bytes):
                break
            step, size = its_step, size + len(body)
            bodies.append(body)
    prev = hash_at(session, line, after)
    changes = tuple(chained(prev, after + 1, bodies))
    return ChangeBatch(
        vessel_id=line.vessel_id,
        life=line.life,
        begins=after + 1,
        ends=after + len(changes),
        prev=prev,
        head=changes[-1].hash if changes else prev,
        schema=step,
        sent_at=0,
        changes=changes,
    )


def hash_at(session: Session, line: ShoreLineRow, number: int) -> str:
    """The hash of a change. Raises LookupError: it is not kept any more, or was never made."""
    if number == 0:
        return FIRST_HASH
    if number == line.number:
        return line.hash
    row = session.get(OutboxChangeRow, (line.vessel_id, number))
    if row is not None:
        return row.hash
    packed = _pack_with(session, line.vessel_id, number)
    if packed is None:
        raise LookupError(number)
    batch = _unpacked(packed)
    return batch.changes[number - batch.begins].hash


def _bodies(session: Session, line: ShoreLineRow, after: int) -> Generator[tuple[str, bytes], None, None]:
    """Step and body of each change above a number, in order, packed away or not. Raises LookupError: one is lost."""
    while True:
        packed = _pack_with(session, line.vessel_id, after + 1)
        if packed is not None:
            batch = _unpacked(packed)
            for change in batch.changes[after + 1 - batch.begins :]:
                yield batch.schema, change.body
            after = batch.ends
            continue
        query = (
            select(OutboxChangeRow)
            .where(OutboxChangeRow.vessel_id == line.vessel_id, OutboxChangeRow.number > after)
            .order_by(col(OutboxChangeRow.number))
            .execution_options(yield_per=_READ_AT_ONCE)
        )
        before = after
        with closing(session.exec(query)) as rows:
            for row in rows:
                if row.number != after + 1:
                    break  # what comes between is packed
                yield row.step, bytes(row.body)
                after = row.number
            else:
                if after < line.number:
                    raise LookupError(after + 1)
                return
        if after == before:
            raise LookupError(after + 1)


def _unpacked(packed: OutboxPackRow) -> ChangeBatch:
    """What is packed. Raises LookupError: it cannot be read, so it is not kept."""
    try:
        return unpack(packed.frame)
    except BrokenBatch as error:
        raise LookupError(packed.begins) from error


def _pack_with(session: Session, vessel_id: str, number: int) -> OutboxPackRow | None:
    query = select(OutboxPackRow).where(OutboxPackRow.vessel_id == vessel_id, OutboxPackRow.begins <= number)
    row = session.exec(query.order_by(col(OutboxPackRow.begins).desc()).limit(1)).first()
    return row if row is not None and row.ends >= number else None


def oldest_waiting(session: Session, line: ShoreLineRow) -> datetime | None:
    """When the first change was made that the office has not; none when it has all."""
    if line.acknowledged >= line.number:
        return None
    row = session.get(OutboxChangeRow, (line.vessel_id, line.acknowledged + 1))
    return None if row is None else row.at


def line_status(session: Session, line: ShoreLineRow) -> LineStatus:
    """How a line stands."""
    return LineStatus(
        vessel_id=line.vessel_id,
        address=line.address,
        state=ShoreState(line.state),
        joining=line.joining,
        waits=line.number - line.acknowledged,
        oldest_at=oldest_waiting(session, line),
        reached_at=line.reached_at,
        tried_at=line.tried_at,
        since_at=line.refused_at,
        joined_at=line.joined_at,
        life=line.life,
        number=line.number,
        acknowledged=line.acknowledged,
        facts=line.facts,
    )


def pack_away(session: Session, line: ShoreLineRow, before: datetime) -> int:
    """Packs what the office has and was made before an instant, day by day; returns how many changes.

    Only neighbours are packed together: a clock that was put back leaves younger changes among older ones.
    One piece a call, so that nobody waits long for the turn to write; call it until it returns 0.
    """
    query = (
        select(OutboxChangeRow)
        .where(
            OutboxChangeRow.vessel_id == line.vessel_id,
            OutboxChangeRow.number <= line.acknowledged,
            OutboxChangeRow.at < before,
        )
        .order_by(col(OutboxChangeRow.number))
        .execution_options(yield_per=_READ_AT_ONCE)
    )
    rows: list[OutboxChangeRow] = []
    size, found = 0, session.exec(query)
    for row in found:
        if rows and (row.step, row.at.date()) != (rows[0].step, rows[0].at.date()):
            break
        if rows and (row.number != rows[-1].number + 1 or size + len(row.body) > _PACK_BYTES):
            break
        size += len(row.body)
        rows.append(row)
    found.close()
    if not rows:
        return 0
    begins, ends = rows[0].number, rows[-1].number
    changes = tuple(Change(row.number, bytes(row.body), row.hash) for row in rows)
    batch = ChangeBatch(
        vessel_id=line.vessel_id,
        life=line.life,
        begins=begins,
        ends=ends,
        prev=hash_at(session, line, begins - 1),
        head=changes[-1].hash,
        schema=rows[0].step,
        sent_at=0,
        changes=changes,
    )
    session.add(OutboxPackRow(vessel_id=line.vessel_id, begins=begins, ends=ends, at=rows[-1].at, frame=pack(batch)))
    mine = col(OutboxChangeRow.vessel_id) == line.vessel_id
    gone = delete(OutboxChangeRow).where(mine, col(OutboxChangeRow.number).between(begins, ends))
    session.connection().execute(gone)
    return len(rows)


def drop_packed(session: Session, vessel_id: str, before: datetime) -> None:
    """Forget packs of changes older than an instant; the newest stays, and what an unpacked change is chained to."""
    mine = col(OutboxPackRow.vessel_id) == vessel_id
    newest: int | None = session.exec(select(func.max(OutboxPackRow.begins)).where(mine)).one()
    if newest is None:
        return
    oldest: int | None = session.exec(
        select(func.min(OutboxChangeRow.number)).where(OutboxChangeRow.vessel_id == vessel_id)
    ).one()
    old = delete(OutboxPackRow).where(mine, col(OutboxPackRow.at) < before, col(OutboxPackRow.begins) < newest)
    if oldest is not None:
        old = old.where(col(OutboxPackRow.ends) < oldest - 1)
    session.connection().execute(old)


def fitting_frame(batch: ChangeBatch) -> tuple[ChangeBatch, bytes]:
    """The batch, cut until its frame is one that the office takes; one change alone goes as it is."""
    frame = pack(batch)
    while len(frame) > PACKED_BYTES and len(batch.changes) > 1:
        changes = batch.changes[: len(batch.changes) // 2]
        batch = replace(batch, changes=changes, ends=changes[-1].number, head=changes[-1].hash)
        frame = pack(batch)
    return batch, frame
