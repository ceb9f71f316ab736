"""A breakdown job: the same way of work without a plan. Its kind is reserved; it has no due point and no verdict on time."""

from datetime import datetime

from scheduler.domain.base.enums import JobState, Subject, Trigger
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.last_done import JobId
from scheduler.domain.due.subjects import where
from scheduler.domain.vessel.document import Plant
from scheduler.domain.vessel.job_kinds import BREAKDOWN


def breakdown_job(plant: Plant, job_id: JobId, opened_at: datetime, now_at: datetime) -> DueJob:
    """An open breakdown job as other jobs are told: due when it was opened, and pressing from then on."""
    pump, position = where(plant, Subject.PUMP, job_id.subject, now_at)
    return DueJob(
        job_id=job_id,
        kind_name=BREAKDOWN.name,
        pump=pump,
        position=position,
        takes_hours=BREAKDOWN.takes_hours,
        hands=BREAKDOWN.hands,
        takes_pump_out=True,
        due_at=opened_at,
        window_opens_at=opened_at,
        limit_at=opened_at,
        trigger=Trigger.CALENDAR,
        state=JobState.WINDOW_OPEN,
        first=True,
        calendar_due_at=opened_at,
    )
