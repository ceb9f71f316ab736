"""The office's door for what ships wrote aboard: taken once by number, or refused with nothing stored."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context, utc_text
from scheduler.actions.shore.requests import mark_fetched, not_fetched
from scheduler.actions.vessel.changes import assets_of, keep_assets
from scheduler.actions.vessel.document import document_of
from scheduler.domain.shore.frame import FIRST_HASH, PACKED_BYTES, BatchFault, BrokenBatch, ChangeBatch, rows_of, unpack
from scheduler.domain.shore.taking import AgainstTaking, NotTaken, raised_rows
from scheduler.errors import Clash, NotFound, Refused, SchedulerError, TooLarge
from scheduler.storage.database import Session, bump_revision
from scheduler.storage.migrate import newest, steps_known
from scheduler.storage.shore.home import Writing
from scheduler.storage.shore.mirror import Mirror
from scheduler.storage.shore.ships import LineState, ShipLineRow, batch_rows, hash_of_change, ship_line, store_batch
from scheduler.storage.summary import put_summary_rows
from scheduler.storage.vessel import asset_row, ids_taken_elsewhere, vessel_names, vessel_row
from scheduler.wording.shore_taking import not_taken_words

_UNREADABLE = frozenset({AgainstTaking.BROKEN, AgainstTaking.RECORD_CHAIN, AgainstTaking.ROW, AgainstTaking.OTHER_SHIP})
"""What is answered as 422; all else is 409."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenSoFar:
    """How far a ship is taken, as her server is answered. requests: what the office asks of her and she has not fetched."""

    number: int
    hash: str
    requests: tuple[dict[str, Any], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LineHead:
    """How a ship's line stands, as her server reads it. life "", number 0: nothing was taken yet."""

    life: str
    number: int
    hash: str
    state: LineState
    heard_at: datetime | None


def take_frame(context: Context, actor: Actor, vessel_id: str, frame: bytes) -> TakenSoFar:
    """Take a batch in, in one transaction: all of what is new in it, or nothing. Sent again it is answered with what is held.

    Args:
        actor: the ship's key. frame: see `domain.shore.frame`.

    Raises:
        NotFound: another ship's key. TooLarge: the frame is. Refused: it cannot be read, a record does not continue the history, a row
            fits nothing (`more` has code and number). Clash: a gap, another life, a newer program, an id of another vessel, a vessel
            that is written here. Busy, StorageFull: send it again. Nothing of it is stored.
    """
    _own(actor, vessel_id)
    try:
        if len(frame) > PACKED_BYTES:
            raise NotTaken(AgainstTaking.BROKEN, fault=BatchFault.TOO_LARGE.value, number=None)
        batch = _read(frame)
        taken = _taken(context, vessel_id, batch, frame)
    except NotTaken as against:
        _note(context, actor, vessel_id, against)
        with context.db.read() as session:
            names = vessel_names(session)
        raise _as_error(against, names.get(vessel_id, vessel_id), names) from against
    context.wake()
    return taken


def ship_head(context: Context, actor: Actor, vessel_id: str) -> LineHead:
    """How far the ship was taken. Raises NotFound: another ship's key."""
    _own(actor, vessel_id)
    with context.db.read() as session:
        row = ship_line(session, vessel_id)
    if row is None:
        return LineHead(life="", number=0, hash=FIRST_HASH, state=LineState.OPEN, heard_at=None)
    heard = row.heard_at if row.number else None
    return LineHead(life=row.life, number=row.number, hash=row.hash or FIRST_HASH, state=row.state, heard_at=heard)


def changes_after(context: Context, actor: Actor, vessel_id: str, life: str, after: int) -> bytes | None:
    """The next batch of a life with changes above a number, as a frame, whether they are aboard still or not; none: there is none.

    Raises NotFound: another ship's key.
    """
    _own(actor, vessel_id)
    with context.db.read() as session:
        found = [
            row
            for gone in (False, True)
            for row in batch_rows(session, vessel_id, after=after, life=life, not_aboard=gone)
        ]
    return min(found, key=lambda row: row.begins).frame if found else None


def rejoin(context: Context, actor: Actor, vessel_id: str, life: str, number: int, hash_then: str) -> TakenSoFar:
    """A ship that was put back says from which change her new life goes on; what is held, where that life is known.

    Raises:
        NotFound: another ship's key. Clash: somebody of the office decides first; it is noted.
    """
    _own(actor, vessel_id)
    with context.db.read() as session:
        row = ship_line(session, vessel_id)
        names = vessel_names(session)
        if row is None or not row.life or (row.life == life and row.state is not LineState.PARTED):
            return TakenSoFar(number=row.number if row else 0, hash=(row.hash if row else "") or FIRST_HASH)
        common = number if number == 0 or hash_of_change(session, vessel_id, number) == hash_then else None
    against = NotTaken(AgainstTaking.PARTED, life=life, number=common, held=row.number, held_life=row.life)
    _note(context, actor, vessel_id, against)
    raise _as_error(against, names.get(vessel_id, vessel_id), names)


def _own(actor: Actor, vessel_id: str) -> None:
    if actor.vessel_id != vessel_id:
        raise NotFound(f"There is no ship {vessel_id[:63]} for this key. A ship's key is good for her own doors alone.")


def _read(frame: bytes) -> ChangeBatch:
    try:
        return unpack(frame)
    except BrokenBatch as broken:
        raise NotTaken(AgainstTaking.BROKEN, fault=broken.code.value, number=broken.number) from broken


def _taken(context: Context, vessel_id: str, batch: ChangeBatch, frame: bytes) -> TakenSoFar:
    """As `_take`, in a transaction of its own; a row that does not fit is looked for a second time, to name its change."""
    for closely in (False, True):
        try:
            with context.db.write(vessel_id, writing=Writing.TAKING) as session:
                return _take(session, context, vessel_id, batch, frame, closely=closely)
        except NotTaken as against:
            if closely or against.why is not AgainstTaking.ROW:
                raise
    raise AssertionError("unreachable")


def _take(
    session: Session, context: Context, vessel_id: str, batch: ChangeBatch, frame: bytes, *, closely: bool
) -> TakenSoFar:
    now = context.now()
    if batch.vessel_id != vessel_id:
        raise NotTaken(AgainstTaking.OTHER_SHIP, other=batch.vessel_id[:63])
    if batch.schema not in steps_known():
        raise NotTaken(AgainstTaking.NEWER, schema=batch.schema[:40], known=newest())
    line = ship_line(session, vessel_id)
    if (line is None or not line.life) and vessel_row(session, vessel_id) is not None:
        raise NotTaken(AgainstTaking.HOME)
    line = line or ShipLineRow(vessel_id=vessel_id, heard_at=now, since_at=now)
    _must_go_on(session, line, batch)
    new = batch.ends > line.number
    if new:
        part = store_batch(session, batch, frame, line.number, now)
        put_changes(session, vessel_id, part, closely=closely)
        line.number, line.hash = part.ends, part.head
        bump_revision(session, vessel_id)
    if line.state is not LineState.OPEN:
        line.since_at = now
    line.life, line.heard_at, line.schema_step = batch.life, now, batch.schema
    line.skew_s = batch.sent_at - int(now.timestamp())
    line.state, line.facts = LineState.OPEN, {}
    session.add(line)
    session.flush()
    mark_fetched(session, vessel_id, batch.answered, now)
    asked = tuple(not_fetched(session, vessel_id, now))
    return TakenSoFar(number=line.number, hash=line.hash or FIRST_HASH, requests=asked)


def _must_go_on(session: Session, line: ShipLineRow, batch: ChangeBatch) -> None:
    """Raises NotTaken unless the batch is of the life that is held and lies on what is held, or begins just after it."""
    held = {"held": line.number, "held_life": line.life}
    if line.state is LineState.PARTED:
        members = ("life", "number", "held", "held_life")
        raise NotTaken(AgainstTaking.PARTED, **{name: line.facts.get(name) for name in members})
    if line.life and batch.life != line.life:
        raise NotTaken(AgainstTaking.PARTED, life=batch.life, number=_common(session, line.vessel_id, batch), **held)
    if batch.begins > line.number + 1:
        raise NotTaken(AgainstTaking.GAP, number=line.number, hash=line.hash or FIRST_HASH)
    at = min(line.number, batch.ends)
    known = (line.hash or FIRST_HASH) if at == line.number else hash_of_change(session, line.vessel_id, at)
    said = batch.prev if at < batch.begins else batch.changes[at - batch.begins].hash
    if known is not None and known != said:
        raise NotTaken(AgainstTaking.PARTED, life=batch.life, number=_common(session, line.vessel_id, batch), **held)


def _common(session: Session, vessel_id: str, batch: ChangeBatch) -> int | None:
    """The last change that the batch and what is held have in common; none: it is not in the batch."""
    said = {batch.begins - 1: batch.prev, **{change.number: change.hash for change in batch.changes}}
    for number in sorted(said, reverse=True):
        if number == 0 or hash_of_change(session, vessel_id, number) == said[number]:
            return number
    return None


def put_changes(session: Session, vessel_id: str, batch: ChangeBatch, *, closely: bool) -> None:
    """Put the changes of a batch into the vessel's tables. closely: see `Mirror`. Raises NotTaken."""
    mirror = Mirror(session, vessel_id, closely=closely)
    for change in batch.changes:
        try:
            mirror.take(change.number, raised_rows(rows_of(change), batch.schema))
            if mirror.touched.document:
                mirror.touched.document = False
                _keep_document(session, vessel_id)
        except NotTaken as against:
            raise NotTaken(against.why, **{"number": change.number, **against.figures}) from against
    mirror.finish()


def _keep_document(session: Session, vessel_id: str) -> None:
    """The ids of the vessel's document are hers alone, and her plants have summaries. Raises NotTaken."""
    try:
        vessel, _ = document_of(session, vessel_id)
    except ValueError as error:
        raise NotTaken(AgainstTaking.ROW) from error
    wanted = dict(assets_of(vessel))
    foreign = ids_taken_elsewhere(session, vessel_id, wanted)
    if foreign:
        raise NotTaken(AgainstTaking.FOREIGN, ids=foreign[:5], other=_owner(session, foreign[0]))
    try:
        keep_assets(session, vessel_id, wanted)
    except Refused as error:
        raise NotTaken(AgainstTaking.ROW) from error
    put_summary_rows(session, vessel_id, [plant.id for plant in vessel.plants])
    session.flush()


def _owner(session: Session, asset_id: str) -> str:
    row = asset_row(session, asset_id)
    return "" if row is None else row.vessel_id


def _note(context: Context, actor: Actor, vessel_id: str, against: NotTaken) -> None:
    """Keep why nothing was taken, for those who look; a gap is no trouble, and a line that parted stays so."""
    if against.why is AgainstTaking.GAP:
        return
    now = context.now()
    with context.db.write(vessel_id, writing=Writing.TAKING) as session:
        line = ship_line(session, vessel_id) or ShipLineRow(vessel_id=vessel_id, heard_at=now, since_at=now)
        if line.state is LineState.PARTED:
            said = against.figures
            if (
                line.facts.get("number") is None
                and said.get("number") is not None
                and line.facts["life"] == said["life"]
            ):
                line.facts = {**line.facts, "number": said["number"]}
                session.add(line)
            return
        facts = {"why": against.why.value, **against.figures}
        wanted = LineState.PARTED if against.why is AgainstTaking.PARTED else LineState.REFUSED
        if (line.state, {**line.facts, "key": ""}) != (wanted, {**facts, "key": ""}):
            line.state, line.since_at = wanted, now
        line.facts = {**facts, "key": actor.id.removeprefix("key "), "noted_at": utc_text(now)}
        session.add(line)


def _as_error(against: NotTaken, ship: str, names: dict[str, str]) -> SchedulerError:
    says = not_taken_words(against.why, against.figures, ship, names)
    more: dict[str, Any] = {
        "code": against.why.value,
        **{name: against.figures[name] for name in ("number", "hash") if name in against.figures},
    }
    if against.figures.get("fault") == BatchFault.TOO_LARGE.value:
        return TooLarge(says, more=more)
    return Refused(says, more=more) if against.why in _UNREADABLE else Clash(says, more=more)
