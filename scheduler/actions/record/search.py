"""What is found again in a vessel's record: by words, and all that is about one pump."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from scheduler.actions.base.context import Context
from scheduler.actions.vessel.document import document_of
from scheduler.domain.record.chain import Record
from scheduler.domain.record.closed_job import ClosedJob
from scheduler.domain.record.period import CLOSE_STRUCK
from scheduler.domain.record.search import MOST_WORDS, plain_words, pump_about
from scheduler.domain.vessel.document import Position, Vessel
from scheduler.storage.database import Session
from scheduler.storage.record import records_numbered
from scheduler.storage.search import find_phrases, find_records

MOST = 500
"""Records looked at for one search, newest first."""
MOST_OF_PUMP = 5000
"""Records of one pump, the acts of its jobs left out: far more than two years bring."""
_ACTS = "work: "
"""How the kinds of the acts of a job begin; each job has some forty, and its close says what came of them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordHit:
    """A record that was found. pump: id of the one it is about, none for none. members: as recorded."""

    number: int
    kind: str
    recorded_at: datetime
    members: dict[str, Any]
    pump: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchAnswer:
    """words: what was looked for, names of positions aside. hits: newest first. cut: there are more than were looked at."""

    vessel: Vessel
    words: tuple[str, ...]
    hits: tuple[RecordHit, ...]
    cut: bool


def search(context: Context, vessel_id: str, text: str) -> SearchAnswer:
    """The vessel's records that hold every word typed; the name of a position narrows them to what stood there then.

    Raises NotFound.
    """
    with context.db.read() as session:
        vessel, _ = document_of(session, vessel_id)
        words = list(dict.fromkeys(plain_words(text)))[:MOST_WORDS]
        positions = [
            one for plant in vessel.plants for one in plant.positions if "".join(plain_words(one.name)) in words
        ]
        named = {"".join(plain_words(one.name)) for one in positions}
        left = [word for word in words if word not in named]
        if not words:
            return SearchAnswer(vessel=vessel, words=(), hits=(), cut=False)
        numbers = (
            find_records(session, vessel_id, left, MOST)
            if left
            else _numbers_about(session, vessel, _pumps_in(vessel, positions, context.now()))
        )
        hits = [_hit(vessel, record) for record in records_numbered(session, vessel_id, numbers)]
    if positions:
        hits = [hit for hit in hits if _stood(vessel, hit, positions)]
    return SearchAnswer(vessel=vessel, words=tuple(left), hits=tuple(hits), cut=len(numbers) == MOST)


def pump_hits(context: Context, vessel_id: str, pump_id: str) -> tuple[RecordHit, ...]:
    """What is on record about a pump, newest first, the acts of its jobs left out, and closes that were struck or corrected.

    Raises NotFound.
    """
    with context.db.read() as session:
        vessel, _ = document_of(session, vessel_id)
        numbers = _numbers_about(session, vessel, [pump_id], MOST_OF_PUMP, but=_ACTS)
        hits = [_hit(vessel, record) for record in records_numbered(session, vessel_id, numbers)]
    mine = [hit for hit in hits if hit.pump == pump_id]
    gone = {hit.members.get("corrects") for hit in mine if hit.kind == ClosedJob.KIND}
    gone |= {hit.members.get("strikes_record") for hit in mine if hit.kind == CLOSE_STRUCK}
    return tuple(hit for hit in mine if str(hit.number) not in gone)


def _numbers_about(
    session: Session, vessel: Vessel, pumps: Sequence[str], most: int = MOST, *, but: str = ""
) -> list[int]:
    """Records that may be about one of the pumps: that name it, its serial number, a part or a position's counter of its."""
    names: set[tuple[str, ...]] = set()
    for plant in vessel.plants:
        for pump in (one for one in plant.pumps if one.id in pumps):
            stood = {stay.position for stay in plant.stays if stay.pump == pump.id}
            ids = [pump.id, pump.serial, *(fit.part for fit in plant.fittings if fit.pump == pump.id), *stood]
            ids += [counter.id for counter in plant.counters if counter.position in stood]
            names |= {tuple(plain_words(one)) for one in ids}
    return find_phrases(session, vessel.id, sorted(names - {()}), most, but=but) if names - {()} else []


def _hit(vessel: Vessel, record: Record) -> RecordHit:
    members = json.loads(record.text)
    at = datetime.fromisoformat(str(members.get("done_at") or members.get("at") or record.recorded_at.isoformat()))
    return RecordHit(
        number=record.number,
        kind=record.kind,
        recorded_at=record.recorded_at,
        members=members,
        pump=pump_about(members, vessel, at),
    )


def _pumps_in(vessel: Vessel, positions: Sequence[Position], at: datetime) -> list[str]:
    found = (plant.pump_in(one.id, at) for plant in vessel.plants for one in positions)
    return [one for one in found if one is not None]


def _stood(vessel: Vessel, hit: RecordHit, positions: Sequence[Position]) -> bool:
    """Whether what a record is about stood in one of the positions then."""
    if hit.members.get("position") in {one.id for one in positions} | {one.name for one in positions}:
        return True
    return hit.pump is not None and hit.pump in _pumps_in(vessel, positions, hit.recorded_at)
