"""What the timers do: keep up with readings and requests, the nightly forecast and plan, the silent-counter watch."""

import logging
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from typing import NamedTuple

from scheduler.actions.base.context import Context, seconds
from scheduler.actions.base.pending import ask_plan, plan_made, plan_number, plans_asked
from scheduler.actions.feed.calendars import FLEET, fleet_is_behind
from scheduler.actions.feed.refresh import stale_vessels
from scheduler.actions.hours.ledger import derive_all, totals_of
from scheduler.actions.plan.fleet import PlantPlan, plan_many
from scheduler.actions.plan.stored import forget_plans
from scheduler.actions.vessel.document import document_of
from scheduler.actions.vessel.fleet import clock_of, offset_minutes
from scheduler.actions.voyage.days import ship_today, voyage_days_of
from scheduler.domain.hours.ledger import Code, Flag, LedgerState
from scheduler.domain.hours.ledger_fit import AHEAD_S
from scheduler.domain.hours.ledger_values import WATCHED
from scheduler.domain.hours.watch import CONFLICTS_S, Seen, apart, conflicting, watch, watch_turns
from scheduler.domain.voyage.days import LAID_UP
from scheduler.errors import Busy
from scheduler.shiptime import next_days
from scheduler.storage.capacity import outage_rows
from scheduler.storage.database import INSTALLATION, Session, bump_revision
from scheduler.storage.hours.counters import CounterRow, FlagRow, counter_rows, flag_rows
from scheduler.storage.hours.ledger import first_entry, newest_checkpoint
from scheduler.storage.hours.readings import Unstored, unstored_since
from scheduler.storage.shore.home import Writing
from scheduler.storage.shore.ships import heard_at
from scheduler.storage.task_queue import drop_jobs
from scheduler.storage.tasks import drop_periods, take_period
from scheduler.storage.vessel import revision_of, ship_offset_rows
from scheduler.storage.watches import Watch, vessels_to_watch, watch_again

log = logging.getLogger("leadline")

NIGHTLY = "nightly round"
FEED_AGE_S = 6 * 3600
"""So old a calendar grows where nothing changed and the clock alone makes nothing another (`PlantSummary.turns_at`)."""
TICK = "tick "
"""Before the name of a tick whose periods are counted."""
TICK_DAYS, RUN_DAYS, QUEUE_DAYS = 2, 60, 7
"""So long are periods of ticks, nights with their backups, and ended jobs of the queue kept."""
_LASTING = frozenset({Code.SOURCES, Code.CONFLICT})
"""These stay the same flag, of the instant at which they were first raised, while they last."""


def write_behind(context: Context, refresh: Callable[[str], object]) -> None:
    """Derive what was posted, and write the calendars that are behind what is stored: what an action asked for by its revision.
    What is posted meanwhile waits for one vessel's calendar at most.

    Args:
        refresh: called with each vessel that is behind, and with `FLEET` where the fleet's calendar is.
    """
    derive_all(context)
    for vessel_id in stale_vessels(context, FEED_AGE_S):
        if context.stopping.is_set():
            return
        refresh(vessel_id)
        derive_all(context)
    if fleet_is_behind(context, FEED_AGE_S):
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
        with context.db.write(made.vessel_id, writing=Writing.WORKED_OUT) as session:
            outcome = f"failed: {made.trouble}"[:500]
            pair = (made.vessel_id, made.plant_id)
            plan_made(session, *pair, numbers[pair], context.now(), outcome)

    if wanted:
        plan_many(context, wanted, context.settings.processes_at_once(), note)
    return len(wanted)


def nightly(context: Context) -> int:
    """Once a ship's night, at the hour set: ask for a new plan of every plant, and forget plans of long ago. How many vessels had
    their turn."""
    with context.db.read() as session:
        vessels = vessels_to_watch(session, Watch.NIGHT, context.now())
    return sum(begin_night(context, vessel_id) for vessel_id in vessels)


def begin_night(context: Context, vessel_id: str) -> bool:
    """The same of one vessel, unless she had that night's turn; whether it was this call's. Her next night is noted."""
    with context.db.write(vessel_id) as session:
        now, revision = context.now(), revision_of(session, vessel_id)
        night, next_at = _night(session, context, vessel_id, now)
        watch_again(session, Watch.NIGHT, vessel_id, next_at, at=now, revision=revision)
        period = f"{vessel_id} {night.isoformat()}"
        if not take_period(session, NIGHTLY, period, now, vessel_id):
            return False
        vessel, _ = document_of(session, vessel_id)
        for plant in vessel.plants:
            ask_plan(session, vessel_id, plant.id, now)
        forget_plans(session, vessel_id, now)
    return True


def _night(session: Session, context: Context, vessel_id: str, now: datetime) -> tuple[date, datetime]:
    """The ship's night it is, by the day it began, and when the next one begins or her clock is changed, whichever comes first."""
    hour = timedelta(hours=context.settings.nightly_hour)
    clock = timedelta(minutes=offset_minutes(session, vessel_id, now))
    night = (now + clock - hour).date()
    begins_at = datetime.combine(night + timedelta(days=1), time(), UTC) + hour - clock
    changes = [row.from_at for row in ship_offset_rows(session, vessel_id) if row.from_at > now]
    return night, min((begins_at, *changes))


def prune_tasks(context: Context) -> None:
    """Forget which periods had their turn once nobody asks any more."""
    now = context.now()
    with context.db.write(INSTALLATION) as session:
        drop_periods(session, now - timedelta(days=TICK_DAYS), TICK)
        drop_periods(session, now - timedelta(days=RUN_DAYS))
        if context.db.path is None:
            drop_jobs(session, timedelta(days=QUEUE_DAYS))


def watch_counters(context: Context, refresh: Callable[[str], object]) -> list[str]:
    """Flag counters that are silent or stand still, take the flag from those well again; the vessels where that changed."""
    with context.db.read() as session:
        vessels = vessels_to_watch(session, Watch.COUNTERS, context.now())
    changed = [vessel_id for vessel_id in vessels if watch_vessel(context, vessel_id)]
    for vessel_id in changed:
        refresh(vessel_id)
    return changed


class _Look(NamedTuple):
    """What a look at a vessel's counters found. turns: instants in epoch seconds at which the clock alone may find something else."""

    flags: list[tuple[str, Flag]]
    turns: list[int]


def watched_flags(context: Context, session: Session, vessel_id: str) -> list[tuple[str, Flag]]:
    """(counter id, flag) of a vessel's counters that are silent, stand still or differ from the one they check, now."""
    return _look(context, session, vessel_id, counter_rows(session, vessel_id)).flags


def _look(context: Context, session: Session, vessel_id: str, rows: Sequence[CounterRow]) -> _Look:
    vessel, _ = document_of(session, vessel_id)
    now = _judged_at(context, session, vessel_id)
    now_s = seconds(now)
    seen = {row.id: _seen(session, row, now_s) for row in rows}
    totals = totals_of(session, vessel_id, rows)
    today = voyage_days_of(session, vessel_id)[0].on(ship_today(session, context, vessel_id))
    laid_up = today is not None and today.kind in LAID_UP
    clock = clock_of(session, vessel_id, now)
    flags: list[tuple[str, Flag]] = []
    turns = [seconds(one) for one in (*next_days(now, clock), *(at for at, _ in clock.changes))]
    turns += [
        s - AHEAD_S for row in rows if row.no is not None and (s := first_entry(session, row.no, now_s + AHEAD_S + 1))
    ]
    for plant in vessel.plants:
        changes = {position.id: totals.changes(position.id) for position in plant.positions}
        outages = outage_rows(session, vessel_id, plant.id, since_at=now)
        flags += watch(plant, seen, now, {row.pump_id for row in outages}, changes, laid_up=laid_up)
        flags += apart(plant, totals, now)
        turns += [*watch_turns(plant, seen, totals, now), *(seconds(row.to_at) for row in outages if row.to_at)]
    return _Look(flags, turns)


def _judged_at(context: Context, session: Session, vessel_id: str) -> datetime:
    """Counters of a ship that writes aboard are judged as of when she was last heard: that her link is silent makes none silent."""
    heard = heard_at(session, vessel_id)
    return context.now() if heard is None else min(heard, context.now())


def _conflicts(context: Context, session: Session, vessel_id: str, known: Collection[str]) -> _Look:
    since_s = seconds(_judged_at(context, session, vessel_id)) - CONFLICTS_S
    log = [
        (counter_id, many, newest_s)
        for status, counter_id, many, newest_s in unstored_since(session, vessel_id, since_s)
        if status == Unstored.CONFLICT.value and counter_id in known
    ]
    flags = [(counter_id, conflicting(many, newest_s)) for counter_id, many, newest_s in log]
    return _Look(flags, [newest_s + CONFLICTS_S + 1 for *_, newest_s in log])


def watch_vessel(context: Context, vessel_id: str) -> bool:
    """Flag a vessel's counters that are silent or stand still, take the flag from those well again; whether that changed.

    She is looked at again when something changes, or the clock may change it."""
    with context.db.write(vessel_id, writing=Writing.WORKED_OUT) as session:
        now_s, revision = context.now_s(), revision_of(session, vessel_id)
        rows = {row.id: row for row in counter_rows(session, vessel_id)}
        looks = _look(context, session, vessel_id, list(rows.values())), _conflicts(context, session, vessel_id, rows)
        changed = _keep_flags(session, vessel_id, rows, [flag for look in looks for flag in look.flags])
        next_s = min((turn for look in looks for turn in look.turns if turn > now_s), default=now_s + 86_400)
        next_at = datetime.fromtimestamp(next_s, UTC)
        watch_again(session, Watch.COUNTERS, vessel_id, next_at, at=context.now(), revision=revision)
        if changed:
            bump_revision(session, vessel_id)
    return changed


def _keep_flags(
    session: Session, vessel_id: str, rows: Mapping[str, CounterRow], flags: Sequence[tuple[str, Flag]]
) -> bool:
    """Make it so that a vessel has these flags of the watch and no others; whether one came or went."""
    wanted: dict[tuple[int | None, str, int], Flag] = {}
    there: dict[tuple[int | None, str, int], FlagRow] = {
        (row.counter_no, row.code, row.at_s): row for row in flag_rows(session, vessel_id) if row.code in WATCHED
    }
    first_said: dict[tuple[int | None, str], int] = {(no, code): at_s for no, code, at_s in there}
    for counter_id, flag in flags:
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
