"""Intervals: month steps that keep their day, and the due points of a job kind."""

from calendar import monthrange
from datetime import datetime, timedelta

from scheduler.domain.vessel.job_kinds import JobKind


def add_months(start_at: datetime, months: int) -> datetime:
    """`start_at` moved by whole months, its time of day kept; a day the month lacks becomes the month's last.

    Several steps are taken at once from the original day, never one from the other: 31 January goes to 28 February and
    then to 31 March.

    Args:
        start_at: any instant or date-time.
        months: whole months, may be negative.

    Raises:
        OverflowError: the answer would lie outside the years 1 to 9999.

    >>> add_months(datetime(2027, 1, 31, 8, 30), 1), add_months(datetime(2027, 1, 31, 8, 30), 2)
    (datetime.datetime(2027, 2, 28, 8, 30), datetime.datetime(2027, 3, 31, 8, 30))
    """
    year, month = divmod(start_at.year * 12 + start_at.month - 1 + months, 12)
    if not 1 <= year <= 9999:
        raise OverflowError(f"{months} months from {start_at} leave the calendar (years 1 to 9999)")
    return start_at.replace(year=year, month=month + 1, day=min(start_at.day, monthrange(year, month + 1)[1]))


def calendar_due(kind: JobKind, start_at: datetime, times: int = 1) -> datetime | None:
    """When the calendar interval that began at `start_at` has passed `times` times; none without such an interval.

    With both months and days the earlier counts. The time of day is kept (in UTC).
    """
    points = []
    if kind.interval_months is not None:
        points.append(add_months(start_at, times * kind.interval_months))
    if kind.interval_days is not None:
        points.append(start_at + timedelta(days=times * kind.interval_days))
    return min(points, default=None)


def interval_seconds(kind: JobKind) -> int | None:
    """The running-hour interval in seconds, or none."""
    return None if kind.interval_running_hours is None else kind.interval_running_hours * 3600


def hours_due(kind: JobKind, start_seconds: int) -> int | None:
    """Running seconds of the subject at which the job falls due, begun at `start_seconds`; none: calendar only."""
    interval = interval_seconds(kind)
    return None if interval is None else start_seconds + interval
