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
