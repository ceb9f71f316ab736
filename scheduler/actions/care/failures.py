"""What the timers could not do and nobody put right since, as things to look at: readiness, metrics and doctor say the same."""

from collections import Counter
from collections.abc import Mapping
from datetime import datetime, timedelta

from scheduler.actions.base.context import Context
from scheduler.actions.base.pending import PLAN
from scheduler.actions.vessel.document import document_of
from scheduler.actions.vessel.fleet import clock_of
from scheduler.domain.checks.diagnosis import About, Diagnosis
from scheduler.errors import SchedulerError
from scheduler.storage.database import Session
from scheduler.storage.task_queue import queue_state
from scheduler.storage.tasks import PendingTaskRow, failed_pending, failed_periods, open_pending
from scheduler.storage.waking import CALENDAR

WAITING = timedelta(minutes=15)
"""What waits for longer is said."""
ALL_TIMERS = "all"
"""The name under which it stands that none of the server's timers runs."""
_DAYS = 1
"""A task is tried again at least each night; what failed before and did not since is over."""


def of_tasks(context: Context, session: Session, vessel_id: str | None = None) -> list[Diagnosis]:
    """Calendars and plans that could not be made, and other tasks that failed in the last day; of one vessel or of all."""
    since = context.now() - timedelta(days=_DAYS)
    failed = [row for row in failed_pending(session) if row.task == CALENDAR or (row.ended_at or since) >= since]
    found = [_of_pending(context, session, row) for row in failed if vessel_id in (None, row.vessel_id)]
    runs = [row for row in failed_periods(session, since) if vessel_id in (None, row.vessel_id)]
    return [*found, *(_of_timer(row.task, f"{row.task} {row.period}", row.outcome, row.started_at) for row in runs)]


def of_pending(context: Context, session: Session) -> list[Diagnosis]:
    """What was asked for a quarter of an hour ago and is not done, and where workers do the tasks, whether they do."""
    rows = open_pending(session, asked_by=context.now() - WAITING)
    counts = Counter(row.task for row in rows)
    since = {row.task: row.asked_at for row in reversed(rows)}
    found = [
        Diagnosis(about=About.PENDING, which=task, name=task, facts={"count": count}, since_at=since[task])
        for task, count in sorted(counts.items())
    ]
    if context.settings.workers:
        queue = queue_state(session, WAITING)
        if not queue.workers:
            found.append(Diagnosis(about=About.NO_WORKER, which="worker", name="worker"))
        found += [
            Diagnosis(about=About.QUEUE, which=name, name=name, facts={"count": count})
            for name, count in sorted(queue.waiting.items())
        ]
    return found


def of_timers(failing: Mapping[str, str]) -> list[Diagnosis]:
    """Ticks of this server whose last turn failed, or all of them as `ALL_TIMERS`. failing: what with, by name."""
    return [
        Diagnosis(
            about=About.NO_TIMERS if name == ALL_TIMERS else About.TIMER, which=name, name=name, facts={"outcome": says}
        )
        for name, says in sorted(failing.items())
    ]


def _of_pending(context: Context, session: Session, row: PendingTaskRow) -> Diagnosis:
    if row.task not in (CALENDAR, PLAN) or not row.vessel_id:
        return _of_timer(row.task, f"{row.task} {row.vessel_id}".strip(), row.outcome, row.ended_at)
    calendar = row.task == CALENDAR
    which = name = row.vessel_id if calendar else row.plant_id
    try:
        vessel, _ = document_of(session, row.vessel_id)
    except SchedulerError:  # the document itself may be what is wrong: then its id has to do
        pass
    else:
        name = vessel.name if calendar else next((one.name for one in vessel.plants if one.id == which), which)
    return Diagnosis(
        about=About.CALENDAR_FAILED if calendar else About.PLAN_FAILED,
        which=which,
        name=name,
        facts={"outcome": str(row.outcome)},
        since_at=row.ended_at,
        offset_minutes=clock_of(session, row.vessel_id, context.now()),
    )


def _of_timer(name: str, which: str, outcome: str | None, since_at: datetime | None) -> Diagnosis:
    facts = {"outcome": str(outcome)}
    return Diagnosis(about=About.TIMER, which=which, name=name, facts=facts, since_at=since_at)
