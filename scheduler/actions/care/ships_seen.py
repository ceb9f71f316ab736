"""How the line of each ship that writes aboard stands, as somebody at the office sees it."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from scheduler.actions.base.context import Context
from scheduler.actions.vessel.fleet import clock_in
from scheduler.domain.checks.diagnosis import About, Diagnosis
from scheduler.domain.shore.taking import AgainstTaking
from scheduler.shiptime import ShipOffset
from scheduler.storage.shore.requests import requests_waiting
from scheduler.storage.shore.ships import LineState, ShipLineRow, changes_lost, ship_lines
from scheduler.storage.vessel import ship_offsets, vessel_names
from scheduler.wording.figures import SILENT_LINK

SKEW = timedelta(minutes=5)
"""So far a ship's clock may be off before it is said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShipSeen:
    """A ship's line. heard_at none: nothing of hers was taken yet. waiting: requests that she has not fetched. skew_s: her clock ahead
    of ours, none within 5 minutes. why: code of what stands against taking, facts: its figures; none where nothing does.
    lost: changes of lives that ended. clock none: ship time is not known. diagnoses: what there is to look at."""

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
    lost: int
    clock: ShipOffset | None
    diagnoses: tuple[Diagnosis, ...]


def ships_seen(context: Context, vessel_id: str | None = None) -> list[ShipSeen]:
    """Each ship that ever sent something, by id; or that one alone."""
    now = context.now()
    with context.db.read() as session:
        found = [pair for pair in ship_lines(session) if vessel_id in (None, pair[0].vessel_id)]
        names = vessel_names(session) if any(row.facts.get("other") for row, _ in found) else {}
        waiting, lost, offsets = requests_waiting(session), changes_lost(session), ship_offsets(session)
    return [
        _seen(
            row,
            name or row.vessel_id,
            names=names,
            waits=waiting.get(row.vessel_id),
            lost=lost.get(row.vessel_id, 0),
            clock=clock_in(offsets[row.vessel_id], now) if row.vessel_id in offsets else None,
            now=now,
        )
        for row, name in found
    ]


def _seen(
    row: ShipLineRow,
    name: str,
    *,
    names: dict[str, str],
    waits: tuple[int, datetime] | None,
    lost: int,
    clock: ShipOffset | None,
    now: datetime,
) -> ShipSeen:
    """clock none: nothing is known of it where she has just begun to join."""
    why, heard_at = row.facts.get("why"), row.heard_at if row.life else None
    skew_s = row.skew_s if abs(row.skew_s) > SKEW.total_seconds() else None

    def look(about: About, since_at: datetime | None, *, note: bool = False, **facts: Any) -> Diagnosis:
        return Diagnosis(
            about=about,
            which=row.vessel_id,
            name=name,
            facts=facts,
            since_at=since_at,
            note=note,
            offset_minutes=clock,
        )

    diagnoses = []
    if why is not None:
        diagnoses.append(
            look(About.SHIP_NOT_TAKEN, row.since_at, why=AgainstTaking(why), figures=row.facts, ships=names)
        )
    if skew_s is not None:
        diagnoses.append(look(About.SHIP_CLOCK, heard_at, skew_s=skew_s))
    if heard_at is not None and now - heard_at >= SILENT_LINK:
        diagnoses.append(look(About.SHIP_SILENT, heard_at, note=True, heard_at=heard_at))
    if waits is not None:
        diagnoses.append(look(About.SHIP_REQUESTS, waits[1], note=True, count=waits[0]))
    return ShipSeen(
        vessel_id=row.vessel_id,
        name=name,
        state=row.state,
        since_at=row.since_at,
        heard_at=heard_at,
        number=row.number,
        schema=row.schema_step,
        waiting=0 if waits is None else waits[0],
        skew_s=skew_s,
        why=None if why is None else AgainstTaking(why),
        facts=row.facts,
        lost=lost,
        clock=clock,
        diagnoses=tuple(diagnoses),
    )
