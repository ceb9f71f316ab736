"""Dry dock: what is better done there, and a batch of it. A list and a choice; nothing is put there by itself."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from scheduler.domain.base.enums import JobState
from scheduler.domain.due.jobs import DueJob

DUE_WITHIN = timedelta(days=120)
"""What falls due this long after the dock is better done in it. Judgement, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dock:
    """A stay in dock for which a batch of jobs was chosen: keys of their turns."""

    from_at: datetime
    to_at: datetime
    keys: tuple[str, ...]


def better_in_dock(jobs: Sequence[DueJob], from_at: datetime, to_at: datetime) -> list[DueJob]:
    """Open turns that take a pump out and fall due in the dock, or within DUE_WITHIN of its end, by due point.

    Those due before it stay where they are: a limit does not wait for a dock.
    """
    found = [
        job
        for job in jobs
        if job.first
        and job.takes_pump_out
        and job.renewed_by is None
        and job.state not in (JobState.DONE, JobState.WITHDRAWN)
        and job.limit_at is not None  # what is not known is due now
        and from_at <= job.limit_at
        and job.due_at <= to_at + DUE_WITHIN
    ]
    return sorted(found, key=lambda job: (job.due_at, job.job_id.key))


def dock_of(docks: Sequence[Dock], key: str) -> Dock | None:
    """The dock for which a turn was chosen, the newest where there are several."""
    return next((dock for dock in reversed(docks) if key in dock.keys), None)


def given_away(job: DueJob, at: datetime) -> float | None:
    """The share of its interval that is given away by doing a job at an instant before its due point, 0 at or after it; none: nobody
    knows how long the interval is in days."""
    early = job.due_at - at
    if early <= timedelta(0):
        return 0.0
    shares = []
    if job.forecast is not None and job.interval_seconds and job.due_running_seconds is not None:
        shares.append(early / timedelta(days=1) * job.forecast.h_per_day * 3600 / job.interval_seconds)
    if job.calendar_due_at is not None and job.calendar_start_at is not None:
        shares.append((job.calendar_due_at - at) / (job.calendar_due_at - job.calendar_start_at))
    return min(1.0, max(0.0, min(shares))) if shares else None
