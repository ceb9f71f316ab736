"""A job as the pages list it: its dates and names, its slot, and the row of a list."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from scheduler.actions.plant_state.load import PlantState
from scheduler.domain.base.enums import JobState
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.vessel.job_kinds import JobKind, caution_line
from scheduler.language import gettext as _
from scheduler.wording.due import job_name, meets_at, state_words
from scheduler.wording.figures import capital, clock, day_words, margin_number, moment, short_date
from scheduler.wording.hours import counter_line


@dataclass(frozen=True, slots=True, kw_only=True)
class JobLine:
    """A due job, its kind, its page, and its slot with the least margin inside it (all none: no slot)."""

    due: DueJob
    kind: JobKind
    href: str
    slot_from_at: datetime | None = None
    slot_to_at: datetime | None = None
    margin_m3_per_h: float | None = None
    counter: str = ""
    """The one figure of hours, see `counter_line`."""


def job_line(now: PlantState, job: DueJob, margins: Mapping[str, float]) -> JobLine:
    """A due job with its slot in the plan shown; its position and name as people say them."""
    held = now.taken or now.proposed
    times = (held.times() if held else {}).get(job.job_id.key)
    return JobLine(
        due=as_job_line(now, job),
        kind=now.plant.kind(job.job_id.kind),
        href=f"/vessels/{now.vessel.id}/jobs/{job.job_id.key}",
        slot_from_at=times[0] if times else None,
        slot_to_at=times[1] if times else None,
        margin_m3_per_h=margins.get(job.job_id.key),
        counter=counter_line(now.counter_figure(job.position), job),
    )


def as_job_line(now: PlantState, job: DueJob) -> DueJob:
    """The job as people see it: with its published dates, and its position's name in place of its id."""
    return replace(now.as_shown(job), position=now.position_name(job.position) if job.position else None)


@dataclass(frozen=True, slots=True, kw_only=True)
class TideRow:
    """A row of the job list. time: the slot's start or "due"; until: its end; margin empty when no pump is out."""

    day: str
    near: str
    time: str
    until: str
    name: str
    href: str
    margin: str
    state: JobState
    words: str
    counter: str
    caution: str
    tone: str


def tone_of(state: JobState) -> str:
    """Class of the colour: brass says act, boot says broken, nothing otherwise."""
    return {JobState.PAST_DUE: "brass", JobState.PAST_LIMIT: "boot"}.get(state, "")


def tide_row(job: JobLine, now_at: datetime, offset_minutes: int) -> TideRow:
    """One row of the job list: planned time when there is a slot, else the day it is due."""
    due = job.due
    at = job.slot_from_at or meets_at(due)
    until = ""
    if job.slot_from_at and job.slot_to_at:
        same = short_date(job.slot_from_at, offset_minutes) == short_date(job.slot_to_at, offset_minutes)
        until = (clock if same else moment)(job.slot_to_at, offset_minutes)
    return TideRow(
        day=short_date(at, offset_minutes),
        near=day_words(at, now_at, offset_minutes),
        time=clock(at, offset_minutes) if job.slot_from_at else _("due, no slot"),
        until=until,
        name=job_name(due),
        href=job.href,
        margin="" if job.margin_m3_per_h is None else margin_number(job.margin_m3_per_h),
        state=due.state,
        words=state_words(due, now_at, offset_minutes),
        counter=capital(job.counter),
        caution=caution_line(job.kind),
        tone=tone_of(due.state),
    )
