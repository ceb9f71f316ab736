"""scheduler.wording.due"""

from datetime import datetime

from scheduler.domain.base.enums import JobState, Trigger
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.vessel.document import BREAKDOWN
from scheduler.shiptime import days_from
from scheduler.wording.figures import clock, days_text, inner, moment, running_hours_words, short_date

STATE_ORDER = {
    JobState.PAST_LIMIT: 0,
    JobState.PAST_DUE: 1,
    JobState.NOT_KNOWN: 2,
    JobState.WINDOW_OPEN: 3,
    JobState.POSTPONED: 4,
    JobState.AHEAD: 5,
    JobState.DONE: 6,
    JobState.WITHDRAWN: 7,
}
"""Worst state first."""


def job_name(due: DueJob) -> str:
    """Like "VP2 knife inspection"; a job of the plant itself has its kind's name only."""
    return f"{due.position} {inner(due.kind_name)}" if due.position else due.kind_name


def meets_at(due: DueJob) -> datetime:
    """The instant a job now has to meet: what it was postponed to, else its due point."""
    return due.postponed_to if due.state is JobState.POSTPONED and due.postponed_to else due.due_at


def job_rank(due: DueJob) -> tuple[int, datetime, str]:
    """Sort key: worst state first, then the earlier due."""
    return STATE_ORDER[due.state], due.due_at, due.job_id.key


def _past_words(due: DueJob, now_at: datetime, since_at: datetime, over_seconds: int | None, offset: int) -> str:
    by_hours = due.trigger is Trigger.RUNNING_HOURS and over_seconds is not None and over_seconds > 0
    return running_hours_words(over_seconds or 0) if by_hours else days_text(days_from(since_at, now_at, offset))


def due_words(due: DueJob, now_at: datetime, offset_minutes: int) -> str:
    """When it falls due, in running hours, in days and by date; or the calendar date and the days to it."""
    about = short_date(due.due_at, offset_minutes)
    left = due.running_seconds_left if due.projected_seconds_left is None else due.projected_seconds_left
    days = days_text(days_from(now_at, due.due_at, offset_minutes)) if due.due_at > now_at else ""
    if due.trigger is Trigger.RUNNING_HOURS and left is not None and left >= 0:
        return f"due in {running_hours_words(left)}, about {f'{days}: ' if days else ''}{about}"
    said = f"due {about}" if due.trigger is Trigger.RUNNING_HOURS else f"due by calendar {about}"
    return f"{said}, in {days}" if days else said


def as_of_words(due: DueJob, now_at: datetime, offset_minutes: int) -> str:
    """What the running hours rest on: `hours as of 08:00`, with the date when that is not today's; empty without hours."""
    if due.due_running_seconds is None:
        return ""
    about = "hours estimated" if due.estimated else "hours"
    if due.hours_as_of is None:
        return "hours estimated, nothing read yet"
    same = short_date(due.hours_as_of, offset_minutes) == short_date(now_at, offset_minutes)
    when = clock(due.hours_as_of, offset_minutes) if same else moment(due.hours_as_of, offset_minutes)
    return f"{about}{',' if due.estimated else ''} as of {when}"


def limit_left_seconds(due: DueJob) -> int | None:
    """Running seconds to the limit, negative beyond it; none when the kind has no running-hour limit."""
    if due.limit_running_seconds is None or due.due_running_seconds is None or due.running_seconds_left is None:
        return None
    return due.limit_running_seconds - due.due_running_seconds + due.running_seconds_left


def limit_words(due: DueJob, offset_minutes: int) -> str:
    """The date of its limit, or that there is none."""
    return "none" if due.limit_at is None else short_date(due.limit_at, offset_minutes)


def state_words(due: DueJob, now_at: datetime, offset_minutes: int) -> str:
    """The state of a job in words, with what is left in hours and date."""
    said = _state_words(due, now_at, offset_minutes)
    tails = []
    if due.state not in (JobState.DONE, JobState.WITHDRAWN) and (read := as_of_words(due, now_at, offset_minutes)):
        tails.append(read)
    elif due.estimated:
        tails.append("estimated")
    if due.forecast is not None and due.forecast.standing and due.state in (JobState.AHEAD, JobState.WINDOW_OPEN):
        tails.append("pump has hardly run, the date is wide")
    if not due.first and due.state not in (JobState.DONE, JobState.WITHDRAWN):
        tails.append("if the turn before is done when due")
    return "; ".join([said, *tails])


def _state_words(due: DueJob, now_at: datetime, offset: int) -> str:
    if due.job_id.kind == BREAKDOWN.code:
        return f"Repair open since {moment(due.due_at, offset)}"
    match due.state:
        case JobState.AHEAD:
            opens = f"Opens {short_date(due.window_opens_at, offset)}, " if due.window_opens_at > now_at else "Ahead, "
            return opens + due_words(due, now_at, offset)
        case JobState.WINDOW_OPEN:
            return f"Window open, {due_words(due, now_at, offset)}"
        case JobState.PAST_DUE:
            over = None if due.running_seconds_left is None else -due.running_seconds_left
            left = limit_left_seconds(due)
            by_hours = due.trigger is Trigger.RUNNING_HOURS and left is not None and left > 0
            limit = f"in {running_hours_words(left or 0)}, about " if by_hours else ""
            past = _past_words(due, now_at, due.due_at, over, offset)
            return f"Past due by {past}; limit {limit}{limit_words(due, offset)}"
        case JobState.PAST_LIMIT:
            left = limit_left_seconds(due)
            past = _past_words(due, now_at, due.limit_at or due.due_at, None if left is None else -left, offset)
            return f"Past limit by {past}; close it or ask for a postponement"
        case JobState.POSTPONED:
            until = limit_words(due, offset) if due.postponed_to is None else short_date(due.postponed_to, offset)
            return f"Postponed to {until}; was due {short_date(due.due_at, offset)}"
        case JobState.NOT_KNOWN:
            return "Last time not known: planned as due now; the chief sets a first date"
        case JobState.DONE:
            return "Done"
        case JobState.WITHDRAWN:
            return "Withdrawn"
