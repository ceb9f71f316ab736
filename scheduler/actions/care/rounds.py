"""What the timers do: keep up with readings and requests, the nightly forecast and plan, the silent-counter watch."""

import logging
from collections.abc import Callable, Collection
from dataclasses import replace
from datetime import timedelta

from scheduler.actions.base.context import Context
from scheduler.actions.base.pending import ask_plan, plan_made, plan_number, plans_asked
from scheduler.actions.feed.calendars import FLEET, fleet_is_behind
from scheduler.actions.feed.refresh import stale_vessels
from scheduler.actions.hours.ledger import derive_all, totals_of
from scheduler.actions.plan.fleet import PlantPlan, plan_many
from scheduler.actions.vessel.document import document_of
from scheduler.actions.vessel.fleet import offset_minutes
from scheduler.actions.voyage.days import ship_today, voyage_days_of
from scheduler.domain.hours.ledger import Code, Flag, LedgerState
from scheduler.domain.hours.ledger_fit import AHEAD_S
from scheduler.domain.hours.ledger_values import WATCHED
from scheduler.domain.hours.watch import CONFLICTS_S, Seen, apart, conflicting, watch
from scheduler.domain.voyage.days import LAID_UP
from scheduler.errors import Busy
from scheduler.storage.capacity import outage_rows
from scheduler.storage.database import Session, bump_revision
from scheduler.storage.hours.counters import CounterRow, FlagRow, counter_rows, flag_rows
from scheduler.storage.hours.ledger import newest_checkpoint
from scheduler.storage.hours.readings import Unstored, unstored_since
from scheduler.storage.tasks import take_period
from scheduler.storage.vessel import vessel_rows

log = logging.getLogger("leadline")

NIGHTLY = "nightly round"
_FEED_AGE_S = 6 * 3600
"""So old a calendar grows where nothing changed and the clock alone makes nothing another (`PlantSummary.turns_at`)."""
_LASTING = frozenset({Code.SOURCES, Code.CONFLICT})
"""These stay the same flag, of the instant at which they were first raised, while they last."""


def write_behind(context: Context, refresh: Callable[[str], object]) -> None:
    """Derive what was posted, and write the calendars that are behind what is stored: what an action asked for by its revision.
    What is posted meanwhile waits for one vessel's calendar at most.

    Args:
        refresh: called with each vessel that is behind, and with `FLEET` where the fleet's calendar is.
    """
    derive_all(context)
    for vessel_id in stale_vessels(context, _FEED_AGE_S):
        if context.stopping.is_set():
            return
        refresh(vessel_id)
        derive_all(context)
    if fleet_is_behind(context, _FEED_AGE_S):
        refresh(FLEET)


def plan_asked(context: Context) -> int:
    """Make the plans that were asked for; how many. One that fails is noted and does not stop the others."""
    with context.db.read() as session:
        wanted = [pair for pair in plans_asked(session) if not context.background.under_way(("plan", pair[1]))]
        numbers = {pair: plan_number(session, *pair) for pair in wanted}

    def note(made: PlantPlan) -> None:
        if made.error is None or isinstance(made.error, Busy):
            return  # stopping, or the database is held: what is wanted stays so until the next tick
        log.error("no plan for %s: %s", made.plant_id, made.trouble)
        with context.db.write(made.vessel_id) as session:
            outcome = f"failed: {made.trouble}"[:500]
            pair = (made.vessel_id, made.plant_id)
            plan_made(session, *pair, numbers[pair], context.now(), outcome)

    if wanted:
        plan_many(context, wanted, context.settings.processes_at_once(), note)
    return len(wanted)


def nightly(context: Context) -> int:
    """Once a ship's night, at the hour set: ask for a new plan of every plant. How many vessels had their turn."""
    turns = 0
    with context.db.read() as session:
        vessels = [row.id for row in vessel_rows(session)]
    for vessel_id in vessels:
        with context.db.write(vessel_id) as session:
            now = context.now()
            ship = now + timedelta(minutes=offset_minutes(session, vessel_id, now))
            night = (ship - timedelta(hours=context.settings.nightly_hour)).date()
            period = f"{vessel_id} {night.isoformat()}"
            if not take_period(session, NIGHTLY, period, now, vessel_id):
                continue
            vessel, _ = document_of(session, vessel_id)
            for plant in vessel.plants:
                ask_plan(session, vessel_id, plant.id, now)
            turns += 1
    return turns


def watch_counters(context: Context, refresh: Callable[[str], object]) -> list[str]:
    """Flag counters that are silent or stand still, take the flag from those well again; the vessels where that changed."""
    changed = []
    with context.db.read() as session:
        vessels = [row.id for row in vessel_rows(session)]
    for vessel_id in vessels:
        with context.db.write(vessel_id) as session:
            if _watch_vessel(context, session, vessel_id):
                bump_revision(session, vessel_id)
                changed.append(vessel_id)
    for vessel_id in changed:
        refresh(vessel_id)
    return changed


def watched_flags(context: Context, session: Session, vessel_id: str) -> list[tuple[str, Flag]]:
    """(counter id, flag) of a vessel's counters that are silent, stand still or differ from the one they check, now."""
    vessel, _ = document_of(session, vessel_id)
    rows = counter_rows(session, vessel_id)
    seen = {row.id: _seen(session, row, context.now_s()) for row in rows}
    totals = totals_of(session, vessel_id, rows)
    today = voyage_days_of(session, vessel_id)[0].on(ship_today(session, context, vessel_id))
    laid_up = today is not None and today.kind in LAID_UP
    found = []
    for plant in vessel.plants:
        changes = {position.id: totals.changes(position.id) for position in plant.positions}
        out = {row.pump_id for row in outage_rows(session, vessel_id, plant.id, since_at=context.now())}
        found += watch(plant, seen, context.now(), out, changes, laid_up=laid_up)
        found += apart(plant, totals, context.now())
    return found


def _conflicts(context: Context, session: Session, vessel_id: str, known: Collection[str]) -> list[tuple[str, Flag]]:
    log = unstored_since(session, vessel_id, context.now_s() - CONFLICTS_S)
    return [
        (counter_id, conflicting(many, newest_s))
        for status, counter_id, many, newest_s in log
        if status == Unstored.CONFLICT.value and counter_id in known
    ]


def _watch_vessel(context: Context, session: Session, vessel_id: str) -> bool:
    rows = {row.id: row for row in counter_rows(session, vessel_id)}
    wanted: dict[tuple[int | None, str, int], Flag] = {}
    there: dict[tuple[int | None, str, int], FlagRow] = {
        (row.counter_no, row.code, row.at_s): row for row in flag_rows(session, vessel_id) if row.code in WATCHED
    }
    first_said: dict[tuple[int | None, str], int] = {(no, code): at_s for no, code, at_s in there}
    for counter_id, flag in (
        *watched_flags(context, session, vessel_id),
        *_conflicts(context, session, vessel_id, rows),
    ):
        no, code, at_s = rows[counter_id].no, flag.code.value, flag.at_s
        if flag.code in _LASTING:
            at_s = first_said.get((no, code), at_s)
        wanted[no, code, at_s] = flag._replace(at_s=at_s)
    for key, flag in wanted.items():
        known = there.get(key)
        if key[0] is not None and (known is None or known.facts is None or flag.code in _LASTING):
            session.merge(FlagRow.of(vessel_id, key[0], flag))
    gone = [row for key, row in there.items() if key not in wanted]
    for row in gone:
        session.delete(row)
    return bool(gone) or any(key not in there for key in wanted)


def _seen(session: Session, row: CounterRow, now_s: int) -> Seen:
    """What is known of a counter: the ledger's newest state, or without one its newest reading alone.

    A stamp from the future makes no counter look alive.
    """
    kept = None if row.no is None else newest_checkpoint(session, row.no, now_s + AHEAD_S + 1)
    if kept is not None:
        try:
            return replace(Seen.of(LedgerState.from_text(kept.state)), read_s=row.newest_s)
        except ValueError:
            pass  # of another version: derived anew at the next tick
    return Seen(read_s=row.newest_s, rose_s=None)
