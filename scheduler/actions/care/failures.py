"""What the timers could not do and nobody put right since, as things to look at: readiness, metrics and doctor say the same."""

from collections.abc import Mapping
from datetime import timedelta

from scheduler.actions.base.context import Context
from scheduler.actions.base.pending import REPLAN
from scheduler.actions.feed.refresh import CALENDAR_TROUBLE
from scheduler.actions.vessel.document import document_of
from scheduler.actions.vessel.fleet import clock_of
from scheduler.domain.checks.diagnosis import About, Diagnosis
from scheduler.errors import SchedulerError
from scheduler.storage.base import TaskRunRow, failed_tasks, task_done_since, task_rows
from scheduler.storage.database import Session

_DAYS = 1
"""A task is tried again at least each night; what failed before and did not since is over."""


def of_tasks(context: Context, session: Session, vessel_id: str | None = None) -> list[Diagnosis]:
    """Calendars and plans that could not be made, and other tasks that failed in the last day; of one vessel or of all."""
    rows = [row for row in task_rows(session, CALENDAR_TROUBLE) if row.outcome not in (None, "done")]
    plants: set[str] = set()
    for row in failed_tasks(session, context.now() - timedelta(days=_DAYS)):
        if row.task == CALENDAR_TROUBLE:
            continue
        if row.task == REPLAN:
            begins = f"{row.period.rpartition('@')[0]}@"
            if begins in plants or task_done_since(session, REPLAN, begins, row.ended_at or row.started_at):
                continue
            plants.add(begins)
        rows.append(row)
    return [_of_row(context, session, row) for row in rows if vessel_id in (None, row.vessel_id)]


def of_timers(failing: Mapping[str, str]) -> list[Diagnosis]:
    """Ticks of this server whose last turn failed. failing: what with, by name."""
    return [
        Diagnosis(about=About.TIMER, which=name, name=name, facts={"outcome": says})
        for name, says in sorted(failing.items())
    ]


def _of_row(context: Context, session: Session, row: TaskRunRow) -> Diagnosis:
    about, which = About.TIMER, f"{row.task} {row.period}"
    name, clock = row.task, None
    if row.task in (CALENDAR_TROUBLE, REPLAN) and row.vessel_id is not None:
        calendar = row.task == CALENDAR_TROUBLE
        about = About.CALENDAR_FAILED if calendar else About.PLAN_FAILED
        which = row.vessel_id if calendar else row.period.rpartition("@")[0]
        name, clock = which, clock_of(session, row.vessel_id, context.now())
        try:
            vessel, _ = document_of(session, row.vessel_id)
        except SchedulerError:  # the document itself may be what is wrong: then its id has to do
            pass
        else:
            name = vessel.name if calendar else next((one.name for one in vessel.plants if one.id == which), which)
    return Diagnosis(
        about=about,
        which=which,
        name=name,
        facts={"outcome": str(row.outcome)},
        since_at=row.started_at,
        offset_minutes=clock,
    )
