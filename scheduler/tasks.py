"""The tasks: what timers aboard and workers in the office do, each one function. What is asked for is state in our own tables.

Aboard the ticks perform them, in the office procrastinate's jobs: performed twice, a task does its work once.
"""

import logging
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta

from scheduler.actions.base.context import Context
from scheduler.actions.base.pending import FLEET_CALENDAR, PLAN, ask_task
from scheduler.actions.care.backups import nightly_backup
from scheduler.actions.care.rounds import FEED_AGE_S, TICK, nightly, prune_tasks, watch_counters
from scheduler.actions.feed.calendars import FLEET, fleet_is_behind
from scheduler.actions.feed.refresh import stale_vessels
from scheduler.actions.hours.ledger import derive_vessel
from scheduler.actions.plan.planning import bring_up
from scheduler.actions.record.chains import daily_walk
from scheduler.actions.work.nonconformities import open_where_due
from scheduler.actions.work.photos import sweep_photos
from scheduler.errors import Busy, SchedulerError, StorageFull
from scheduler.planning.problem.values import Plan, Problem
from scheduler.storage.database import INSTALLATION, Database, Session
from scheduler.storage.hours.counters import dirty_vessels
from scheduler.storage.shore.home import Writing
from scheduler.storage.task_queue import jobs_waiting, make_queue, wake_worker
from scheduler.storage.tasks import (
    DONE,
    PendingTaskRow,
    count_try,
    end_pending,
    open_pending,
    pending_row,
    take_period,
    task_row,
)
from scheduler.storage.waking import CALENDAR, wake_for

log = logging.getLogger("leadline")

DERIVE = "derive"
QUEUES = ("derive", "show", "plan", "care")
"""Ledgers; calendars and summaries; plans; rounds, watches, walks and backups."""
MOST_TRIES = 10
"""A task that was begun so often without an end has ended whoever did it: it is left until it is asked for anew."""
ASKED_AGAIN = timedelta(minutes=15)
"""What is asked for and has no job since so long is given one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskTools:
    """What tasks work with. refresh: writes a vessel's calendars and summary ("": the fleet's). solve: makes a plan of a problem."""

    context: Context
    refresh: Callable[[str], object]
    solve: Callable[[Problem], Plan]


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """A kind of work.

    act: does it for a vessel and plant ("" where it is of none). counted: asked for by number (`pending_task`); the others are
    asked for by what is stored, and look for themselves. every: how often it is asked for, none where others ask.
    """

    name: str
    queue: str
    act: Callable[[TaskTools, str, str], object]
    counted: bool
    every: Callable[[Context], timedelta] | None = None


TASKS: dict[str, Task] = {}
"""By name."""

_Act = Callable[[TaskTools, str, str], object]


def task(
    name: str, queue: str, *, counted: bool = True, every: Callable[[Context], timedelta] | None = None
) -> Callable[[_Act], _Act]:
    """Makes a function the task of that name."""

    def add(act: _Act) -> _Act:
        TASKS[name] = Task(name=name, queue=queue, act=act, counted=counted, every=every)
        return act

    return add


def _each(**time: float) -> Callable[[Context], timedelta]:
    return lambda _: timedelta(**time)


@task(DERIVE, "derive", counted=False)
def _derive(tools: TaskTools, vessel_id: str, _: str) -> None:
    derive_vessel(tools.context, vessel_id)


@task(CALENDAR, "show", counted=False)
def _show(tools: TaskTools, vessel_id: str, _: str) -> None:
    if stale_vessels(tools.context, FEED_AGE_S, vessel_id):
        tools.refresh(vessel_id)


@task(FLEET_CALENDAR, "show", counted=False)
def _show_fleet(tools: TaskTools, _: str, __: str) -> None:
    if fleet_is_behind(tools.context, FEED_AGE_S):
        tools.refresh(FLEET)


@task(PLAN, "plan")
def _plan(tools: TaskTools, vessel_id: str, plant_id: str) -> None:
    bring_up(tools.context, vessel_id, plant_id, tools.solve)


@task("limits watch", "care", every=_each(hours=1))
def _watch_limits(tools: TaskTools, _: str, __: str) -> None:
    open_where_due(tools.context)


@task("nightly round", "care", every=_each(minutes=10))
def _round(tools: TaskTools, _: str, __: str) -> None:
    nightly(tools.context)


@task("record walk", "care", every=_each(hours=1))
def _walk(tools: TaskTools, _: str, __: str) -> None:
    daily_walk(tools.context)


@task("photo sweep", "care", every=_each(days=1))
def _sweep(tools: TaskTools, _: str, __: str) -> None:
    sweep_photos(tools.context)


@task("nightly backup", "care", every=_each(minutes=10))
def _back_up(tools: TaskTools, _: str, __: str) -> None:
    nightly_backup(tools.context)


@task("silent-counter watch", "care", every=lambda context: timedelta(minutes=context.settings.watch_minutes))
def _watch_counters(tools: TaskTools, _: str, __: str) -> None:
    watch_counters(tools.context, tools.refresh)


@task("pruning", "care", every=_each(days=1))
def _prune(tools: TaskTools, _: str, __: str) -> None:
    prune_tasks(tools.context)


def perform(tools: TaskTools, name: str, vessel_id: str = "", plant_id: str = "") -> bool:
    """Do a task if it is asked for; whether it was. What was asked for until it began is done with then, what comes after stays.

    Raises:
        Busy, StorageFull: it stays asked for. Whatever else the task raises is noted as how it ended.
    """
    context, what = tools.context, TASKS[name]
    key = (name, vessel_id, plant_id)
    if not what.counted:
        what.act(tools, vessel_id, plant_id)
        return True
    with context.db.write(vessel_id, writing=Writing.WORKED_OUT) as session:
        row = pending_row(session, *key)
        if row is None or not row.open:
            return False
        number = row.asked
        if row.tries >= MOST_TRIES:
            end_pending(session, *key, number, context.now(), f"failed: begun {row.tries} times, ended by none of them")
            return False
        count_try(session, *key)
    try:
        what.act(tools, vessel_id, plant_id)
    except (Busy, StorageFull):
        with suppress(SchedulerError), context.db.write(vessel_id, writing=Writing.WORKED_OUT) as session:
            count_try(session, *key, -1)
        raise
    except Exception as error:
        says = error.says if isinstance(error, SchedulerError) else f"{type(error).__name__}: {error}"
        _end(context, key, number, f"failed: {says}"[:500])
        raise
    _end(context, key, number, DONE)
    return True


def _end(context: Context, key: tuple[str, str, str], number: int, outcome: str) -> None:
    """Note how it ended, unless the task did so itself in the transaction of its own effects."""
    with context.db.read() as session:
        row = pending_row(session, *key)
    if row is not None and row.made < number:
        with context.db.write(key[1], writing=Writing.WORKED_OUT) as session:
            end_pending(session, *key, number, context.now(), outcome)


def periodic(context: Context) -> dict[str, timedelta]:
    """The tasks that are asked for now and then, and how often."""
    return {name: one.every(context) for name, one in TASKS.items() if one.every is not None}


def ask_in_turn(context: Context, name: str) -> bool:
    """Ask for such a task, once a period among all clocks. Whether it was this caller's turn."""
    every, now = periodic(context)[name], context.now()
    with context.db.read() as session:
        if task_row(session, *_turn(name, every, now)) is not None:
            return False
    with context.db.write(INSTALLATION) as session:
        if not take_period(session, *_turn(name, every, now), now):
            return False
        ask_task(session, name, INSTALLATION, "", now)
    return True


def look(context: Context, every: timedelta) -> bool:
    """Wake workers for the vessels whose counters were touched, and whose calendar and summary are behind what is stored or the
    clock. Whether it was this caller's turn: one of all clocks looks each period."""
    with context.db.write(INSTALLATION) as session:
        if not take_period(session, *_turn("look", every, context.now()), context.now()):
            return False
    with context.db.read() as session:
        derive = dirty_vessels(session)
    show, fleet = stale_vessels(context, FEED_AGE_S), fleet_is_behind(context, FEED_AGE_S)
    with context.db.write(INSTALLATION) as session:
        for name, vessels in ((DERIVE, derive), (CALENDAR, show), (FLEET_CALENDAR, [FLEET] if fleet else [])):
            for vessel_id in vessels:
                wake_for(session, name, vessel_id)
    return True


def ask_again(context: Context, every: timedelta) -> bool:
    """Wake workers for what has been asked for since long and has no job: whoever asked knew of no workers, or its job was lost.
    Whether it was this caller's turn."""
    with context.db.write(INSTALLATION) as session:
        if not take_period(session, *_turn("ask again", every, context.now()), context.now()):
            return False
        there = jobs_waiting(session)
        asked = {_job_of(row) for row in open_pending(session, asked_by=context.now() - ASKED_AGAIN)}
        for name, vessel_id, plant_id in sorted(asked - there):
            wake_for(session, name, vessel_id, plant_id)
    return True


def _job_of(row: PendingTaskRow) -> tuple[str, str, str]:
    """The fleet's calendar is asked for by rows of vessels, and written by one job."""
    return (row.task, FLEET if row.task == FLEET_CALENDAR else row.vessel_id, row.plant_id)


def _turn(name: str, every: timedelta, now: datetime) -> tuple[str, str]:
    """The task and period under which the turn of a tick is noted: periods begin at the same instants for every clock."""
    return f"{TICK}{name}", str(int(now.timestamp() // every.total_seconds()))


def with_workers(database: Database) -> None:
    """From now on what is asked for in a session of this database wakes a worker; the queue is made where there is none.

    Raises:
        Refused: an SQLite database. Clash: the queue is of an older version.
    """
    make_queue(database)

    def wake(session: Session, name: str, vessel_id: str, plant_id: str) -> None:
        wake_worker(session, name, TASKS[name].queue, vessel_id, plant_id)

    database.wake = wake
