"""Two lives of one ship: which goes on is said by somebody of the office, with a reason, and is on record."""

import json
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Answer, Context, Hand, hand_action, instant
from scheduler.actions.people.people import withdraw_key
from scheduler.actions.people.sides import person_acting
from scheduler.actions.shore.taking import put_changes
from scheduler.domain.base.enums import Role
from scheduler.domain.shore.frame import FIRST_HASH, rows_of, unpack
from scheduler.errors import Clash, NotFound, Refused
from scheduler.storage.database import INSTALLATION, Session, bump_revision
from scheduler.storage.people import key_row_by_prefix
from scheduler.storage.record import append_record
from scheduler.storage.shore.mirror import empty_mirror
from scheduler.storage.shore.ships import LineState, ShipLineRow, batch_rows, hash_of_change, set_aside, ship_line


class LifeAnswer(StrEnum):
    """What somebody of the office says of a line that parted."""

    GOES_ON = "goes on"
    """The new life is the ship: her mirror is built anew up to where both are one, and goes on from there."""
    STRAY = "stray copy"
    """What was sent is no ship's: the key by which it came ends, and the line stays as it was."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LostRecord:
    """A record of a life that ended: it stands in no database aboard any more, and is to be entered by hand where it still holds."""

    life: str
    change: int
    number: int
    kind: str
    recorded_at: datetime
    text: str


def answer_parted(context: Context, hand: Hand, vessel_id: str, answer: LifeAnswer, reason: str) -> Answer:
    """Say which life of a ship goes on. On record of the installation; nothing that was taken is lost.

    Raises:
        NotFound: nothing was ever sent of that ship. NotAllowed: by nobody known, or who is not of the office. Clash: her line has not
        parted. Refused: no reason, or it is not known where the two lives part. MissingCondition: no Idempotency-Key.
    """
    hand.actor.must_reach(vessel_id, f"ship {vessel_id}")
    by = person_acting(context, hand.actor, frozenset({Role.OFFICE}), "say which life of a ship goes on")
    reason = " ".join(reason.split())
    if not reason or len(reason) > 1000:
        says = "Say why, in 1 to 1000 characters: it is on record."
        raise Refused(says, faults=[("/reason", says)])

    def act(session: Session) -> Answer:
        context.db.lock_vessels(session.connection(), [vessel_id])
        line = ship_line(session, vessel_id)
        if line is None:
            raise NotFound(f"There is no ship {vessel_id[:63]} that sends what she writes.")
        session.refresh(line)
        if line.state is not LineState.PARTED:
            raise Clash("Her line has not parted, or somebody answered it already: it goes on as it is.")
        facts, held = dict(line.facts), line.number
        if answer is LifeAnswer.GOES_ON:
            _go_on(session, line)
        else:
            key = key_row_by_prefix(session, str(facts.get("key")))
            if key is not None and key.revoked_at is None:
                withdraw_key(session, key, context.now(), hand.actor)
        line.state, line.since_at, line.facts = LineState.OPEN, context.now(), {}
        session.add(line)
        payload = {
            "vessel": vessel_id,
            "answer": answer.value,
            "reason": reason,
            "life": str(facts.get("life")),
            "held_life": str(facts.get("held_life")),
            "held_change": held,
            "from_change": line.number,
            "key": str(facts.get("key")),
            "by": by.name,
        }
        record, _ = append_record(session, INSTALLATION, "ship's lives parted, answered", context.now(), payload)
        bump_revision(session, vessel_id)
        return Answer(200, {"vessel": vessel_id, "answer": answer.value, "number": line.number, "record": record})

    return hand_action(context, hand, INSTALLATION, act)


def _go_on(session: Session, line: ShipLineRow) -> None:
    number, life = line.facts.get("number"), str(line.facts.get("life"))
    if number is None:
        raise Refused(
            "It is not known where the two lives part: what came shows no change that both have. The ship's server says it when it is "
            "put back (`rejoin`); until then only a stray copy can be answered."
        )
    line.state = LineState.ANEW
    session.add(line)
    session.flush()
    set_aside(session, line.vessel_id, int(number))
    build_anew(session, line.vessel_id)
    line = session.merge(line)
    line.life, line.number = life, int(number)
    line.hash = hash_of_change(session, line.vessel_id, int(number)) or FIRST_HASH


def build_anew(session: Session, vessel_id: str) -> None:
    """Make a ship's mirror out of what she sent and is aboard, and of nothing else. Her line says `LineState.ANEW` meanwhile."""
    empty_mirror(session, vessel_id)
    for row in batch_rows(session, vessel_id):
        put_changes(session, vessel_id, unpack(row.frame), closely=True)


def lost_records(context: Context, actor: Actor, vessel_id: str) -> list[LostRecord]:
    """The records of lives that ended, in order. Raises NotFound: the ship is out of reach."""
    actor.must_reach(vessel_id, f"ship {vessel_id}")
    with context.db.read() as session:
        frames = [row.frame for row in batch_rows(session, vessel_id, not_aboard=True)]
    found = []
    for batch in map(unpack, frames):
        for change in batch.changes:
            for table, _, row in rows_of(change):
                if table == "record":
                    found.append(
                        LostRecord(
                            life=batch.life,
                            change=change.number,
                            number=row["number"],
                            kind=row["kind"],
                            recorded_at=instant(row["recorded_s"]),
                            text=json.dumps(json.loads(row["text"]), ensure_ascii=False),
                        )
                    )
    return found
