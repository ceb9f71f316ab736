"""Why a job is due when it is: the facts behind a date; `wording.due` says them."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from scheduler.domain.base.enums import Trigger
from scheduler.domain.due.jobs import DueJob


@dataclass(frozen=True, slots=True, kw_only=True)
class DateFacts:
    """What a due date rests on, besides what the job itself says.

    at: now. seconds_to_go: running seconds left, carried on while the counter is silent, negative beyond the point; none
    without an interval in hours. days_left: from now to the due point. other_at: the point of the trigger that comes second,
    none without it. projected: the point was reached only by carrying the hours on from `hours_as_of` at the usual rate.
    """

    job: DueJob
    at: datetime
    seconds_to_go: int | None
    days_left: float
    other_at: datetime | None
    projected: bool


def explain_date(job: DueJob, at: datetime) -> DateFacts:
    """The facts behind a job's due date. at: now."""
    by_hours = job.trigger is Trigger.RUNNING_HOURS
    left = job.running_seconds_left
    projected = by_hours and left is not None and left > 0 and job.due_at <= at
    carried = job.projected_seconds_left
    return DateFacts(
        job=job,
        at=at,
        seconds_to_go=left if carried is None or projected or (left or 0) <= 0 else max(0, carried),
        days_left=(job.due_at - at) / timedelta(days=1),
        other_at=job.calendar_due_at if by_hours else job.forecast.likely_at if job.forecast else None,
        projected=projected,
    )
