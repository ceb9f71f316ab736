"""What the timers do: keep up with readings and requests, the nightly forecast and plan, the silent-counter watch."""

import logging
from collections.abc import Callable
from datetime import timedelta

from scheduler.actions.documents import held
from scheduler.actions.feed import stale_vessels
from scheduler.actions.fleet import offset_minutes
from scheduler.actions.house import House, maybe
from scheduler.actions.ledger import derive_all
from scheduler.actions.planning import propose
from scheduler.actions.wanted import plan_made, want_plan, wanted_plans
from scheduler.domain.ledger import Code
from scheduler.errors import SchedulerError
from scheduler.storage import fleet_rows, ledger_rows, people_rows
from scheduler.storage.database import Session, bump_revision
from scheduler.storage.tables import FlagRow, TaskRunRow

log = logging.getLogger("leadline")

NIGHTLY = "nightly round"
_FEED_AGE_S = 15 * 60


def keep_up(house: House, refresh: Callable[[str], object]) -> None:
    """Derive what was posted, plan what was asked for, write the calendars that are behind."""
    derive_all(house)
    plan_wanted(house)
    for vessel_id in stale_vessels(house, _FEED_AGE_S):
        refresh(vessel_id)


def plan_wanted(house: House) -> int:
    """Make the plans that were asked for; how many. One that fails is noted and does not stop the others."""
    with house.db.read() as session:
        wanted = wanted_plans(session)
    for vessel_id, plant_id in wanted:
        try:
            propose(house, vessel_id, plant_id)
        except SchedulerError as error:
            log.error("no plan for %s: %s", plant_id, error)
            with house.db.write(vessel_id) as session:
                plan_made(session, plant_id, house.now_s(), f"failed: {error}"[:500])
    return len(wanted)


def nightly(house: House) -> int:
    """Once a ship's night, at the hour set: ask for a new plan of every plant. How many vessels had their turn."""
    turns = 0
    with house.db.read() as session:
        vessels = [row.id for row in fleet_rows.vessels(session)]
    for vessel_id in vessels:
        with house.db.write(vessel_id) as session:
            now = house.now()
            ship = now + timedelta(minutes=offset_minutes(session, vessel_id, now))
            night = (ship - timedelta(hours=house.settings.nightly_hour)).date()
            period = f"{vessel_id} {night.isoformat()}"
            if people_rows.task(session, NIGHTLY, period) is not None:
                continue
            now_s = house.now_s()
            session.add(
                TaskRunRow(
                    task=NIGHTLY, period=period, vessel_id=vessel_id, started_s=now_s, ended_s=now_s, outcome="done"
                )
            )
            vessel, _ = held(session, vessel_id)
            for plant in vessel.plants:
                want_plan(session, vessel_id, plant.id, now_s)
            turns += 1
    return turns


def watch(house: House, refresh: Callable[[str], object]) -> list[str]:
    """Flag counters that have gone silent, and take the flag from those that post again; the vessels where that changed."""
    changed = []
    with house.db.read() as session:
        vessels = [row.id for row in fleet_rows.vessels(session)]
    for vessel_id in vessels:
        with house.db.write(vessel_id) as session:
            if _watch_vessel(house, session, vessel_id):
                bump_revision(session, vessel_id)
                changed.append(vessel_id)
    for vessel_id in changed:
        refresh(vessel_id)
    return changed


def _watch_vessel(house: House, session: Session, vessel_id: str) -> bool:
    now_s = house.now_s()
    flags = {
        (row.counter_no, row.at_s): row
        for row in ledger_rows.flags(session, vessel_id)
        if row.code == Code.SILENT.value
    }
    changed = False
    for row in fleet_rows.counters(session, vessel_id):
        assert row.no is not None
        since_s = row.newest_s
        silent = since_s is not None and now_s - since_s > row.quiet_after_hours * 3600
        key = (row.no, since_s or 0)
        if silent and since_s is not None and key not in flags:
            last = maybe(since_s)
            says = (
                f"{row.id} has not posted since {last:%Y-%m-%d %H:%MZ}. Hours are carried on at the recent rate and marked "
                "estimated. Check the gateway, or post the counter by hand."
            )
            session.add(
                FlagRow(
                    vessel_id=vessel_id, counter_no=row.no, code=Code.SILENT.value, at_s=since_s, says=says, seconds=0
                )
            )
            changed = True
        for (no, at_s), flag in flags.items():
            if no == row.no and not (silent and at_s == since_s):
                session.delete(flag)
                changed = True
    return changed
