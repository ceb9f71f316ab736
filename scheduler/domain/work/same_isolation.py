"""What else falls due on the isolation of a job: the pump is out once, so it is looked at once."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from scheduler.domain.base.enums import JobState
from scheduler.domain.due.jobs import DueJob

SAME_ISOLATION_DAYS = 30
"""How far ahead a job counts as worth doing with another. Judgement, no source."""


def due_on_same_isolation(
    jobs: Iterable[DueJob], job: DueJob, at: datetime, *, within_days: int = SAME_ISOLATION_DAYS
) -> list[DueJob]:
    """Other open jobs on the same pump whose window is open, or that fall due within so many days; in order.

    Jobs that this one renews are listed too where they are due in their own right; none where the job has no pump.
    """
    if job.pump is None:
        return []
    until = at + timedelta(days=within_days)
    found = [
        other
        for other in jobs
        if other.first
        and other.pump == job.pump
        and other.job_id != job.job_id
        and other.renewed_by != job.job_id.key
        and (other.state is not JobState.AHEAD or other.due_at <= until)
    ]
    return sorted(found, key=lambda other: (other.due_at, other.job_id.key))
