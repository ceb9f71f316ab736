"""How the line of each ship that writes aboard stands, as somebody at the office sees it."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.vessel.fleet import clock_in
from scheduler.domain.shore.taking import AgainstTaking
from scheduler.shiptime import ShipOffset
from scheduler.storage.database import Session
from scheduler.storage.shore.requests import ship_requests_open
from scheduler.storage.shore.ships import LineState, ShipLineRow, batch_rows, ship_lines
from scheduler.storage.vessel import ship_offset_rows, vessel_names, vessel_row

SKEW = timedelta(minutes=5)
"""So far a ship's clock may be off before it is said."""
_MOST_WAITING = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class ShipSeen:
    """A ship's line. heard_at none: nothing of hers was taken yet. waiting: requests that she has not fetched. skew_s: her clock ahead
    of ours, none within 5 minutes. why, facts: what stands against taking, none where nothing does; ships: names of vessels in facts.
    lost: changes of lives that ended. clock none: ship time is not known."""

    vessel_id: str
    name: str
    state: LineState
    since_at: datetime
    heard_at: datetime | None
    number: int
    schema: str
    waiting: int
    skew_s: int | None
    why: AgainstTaking | None
    facts: dict[str, Any]
    ships: dict[str, str]
    lost: int
    clock: ShipOffset | None


def ships_seen(context: Context, actor: Actor, *, after: str = "", limit: int | None = None) -> list[ShipSeen]:
    """Each ship that ever sent something, by id: those after an id, at most so many. An actor of one vessel sees her alone."""
    with context.db.read() as session:
        found = [pair for pair in ship_lines(session, after, limit) if actor.vessel_id in (None, pair[0].vessel_id)]
        names = vessel_names(session) if any(row.facts.get("other") for row, _ in found) else {}
        return [_seen(session, context, row, name, names) for row, name in found]


def _seen(session: Session, context: Context, row: ShipLineRow, name: str, names: dict[str, str]) -> ShipSeen:
    why = row.facts.get("why")
    there = vessel_row(session, row.vessel_id) is not None
    offsets = ship_offset_rows(session, row.vessel_id)  # none yet where she has just begun to join
    return ShipSeen(
        vessel_id=row.vessel_id,
        name=name or row.vessel_id,
        state=row.state,
        since_at=row.since_at,
        heard_at=row.heard_at if row.life else None,
        number=row.number,
        schema=row.schema_step,
        waiting=len(ship_requests_open(session, row.vessel_id, _MOST_WAITING)) if there else 0,
        skew_s=row.skew_s if abs(row.skew_s) > SKEW.total_seconds() else None,
        why=None if why is None else AgainstTaking(why),
        facts=row.facts,
        ships=names,
        lost=sum(one.ends - one.begins + 1 for one in batch_rows(session, row.vessel_id, not_aboard=True)),
        clock=clock_in(offsets, context.now()) if offsets else None,
    )
