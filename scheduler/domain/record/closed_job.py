"""What a closed job writes down: its due point, its verdict, what was found."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from typing import ClassVar, TypeVar

from scheduler.domain.base.enums import Test, Trigger
from scheduler.domain.vessel.job_kinds import JobKind
from scheduler.errors import Refused

_T = TypeVar("_T")


class Verdict(StrEnum):
    """How a done job stands against its original due point."""

    EARLY = "early"
    IN_WINDOW = "in window"
    WITHIN_LIMIT = "past due within limit"
    POSTPONED = "postponed"
    LATE = "late"
    BREAKDOWN = "breakdown"
    """Not planned: there was no due point to judge it by."""
    NOT_JUDGED = "not judged"
    """Nobody knew when it was last done, so there was no due point to judge it by."""


class HoursSource(StrEnum):
    """Where the running hours at close came from."""

    COUNTER = "counter"
    BY_HAND = "by hand"
    ESTIMATED = "estimated"


@dataclass(frozen=True, slots=True, kw_only=True)
class DuePoint:
    """The original due point of an occurrence; a postponement stands beside it and never replaces it.

    Running seconds are readings of the subject's hours, none without a running-hour interval; instants are those of the
    calendar interval, none without one. At least one of `due_running_seconds` and `calendar_due_at` is given where it is
    planned and known.
    limit_from says where the limit came from, in words. postponed_*: the new limit, none where not postponed.
    """

    trigger: Trigger
    due_running_seconds: int | None = None
    window_opens_running_seconds: int | None = None
    limit_running_seconds: int | None = None
    calendar_due_at: datetime | None = None
    calendar_window_opens_at: datetime | None = None
    calendar_limit_at: datetime | None = None
    limit_from: str = "tolerance of the job kind"
    postponed_to_running_seconds: int | None = None
    postponed_to_at: datetime | None = None
    planned: bool = True
    """False for a breakdown, which has no due point."""
    known: bool = True
    """False where nobody knew when the job was last done: it has no due point either."""


NO_DUE_POINT = DuePoint(trigger=Trigger.CALENDAR, limit_from="not planned", planned=False)
"""Of a breakdown."""


LAST_NOT_KNOWN = DuePoint(trigger=Trigger.CALENDAR, limit_from="last time not known", known=False)
"""Of a job that nobody knew when it was last done."""


def due_point_of(
    kind: JobKind,
    *,
    trigger: Trigger,
    due_running_seconds: int | None,
    calendar_due_at: datetime | None,
    postponed_to_at: datetime | None = None,
    postponed_to_running_seconds: int | None = None,
    limit_from: str = "tolerance of the job kind",
) -> DuePoint:
    """The due point with the window and tolerance of its job kind laid around it."""
    hours, at = due_running_seconds, calendar_due_at
    return DuePoint(
        trigger=trigger,
        due_running_seconds=hours,
        window_opens_running_seconds=None if hours is None else hours - 3600 * kind.window_running_hours,
        limit_running_seconds=None if hours is None else hours + 3600 * kind.tolerance_running_hours,
        calendar_due_at=at,
        calendar_window_opens_at=None if at is None else at - timedelta(days=kind.window_days),
        calendar_limit_at=None if at is None else at + timedelta(days=kind.tolerance_days),
        limit_from=limit_from,
        postponed_to_running_seconds=postponed_to_running_seconds,
        postponed_to_at=postponed_to_at,
    )


def verdict_of(
    point: DuePoint, *, done_at: datetime, running_seconds: int | None, utc_offset_minutes: int = 0
) -> Verdict:
    """The verdict on work done at `done_at`, judged from the original due point.

    The calendar is judged by ship dates: the due day and the limit day count in full. The window is open as soon as
    either trigger opened it; the job is past due, or past its limit, as soon as either trigger is. Past the original
    limit it is `postponed` while every postponed limit given holds, else `late`.

    Args:
        running_seconds: of the subject when done; none where it has no running hours.
        utc_offset_minutes: ship time when done, -720 to 840.

    Raises:
        Refused: the due point has neither hours nor a date, or it has hours only and `running_seconds` is none.
    """

    def reached(seconds: int | None, at: datetime | None, *, beyond: bool) -> bool:
        """A mark is reached (or passed, when `beyond`) by either trigger."""
        by_hours = seconds is not None and running_seconds is not None and running_seconds >= seconds + beyond
        days = None if at is None else _days_after(at, done_at, utc_offset_minutes)
        return by_hours or (days is not None and days >= beyond)

    if not point.planned:
        return Verdict.BREAKDOWN
    if not point.known:
        return Verdict.NOT_JUDGED
    if point.calendar_due_at is None and (point.due_running_seconds is None or running_seconds is None):
        raise Refused(
            "This job cannot be judged: it needs a due date, or a due figure of running hours together with the "
            "running hours at which it was done. Give the running hours; an estimate may be marked as one."
        )
    if not reached(point.due_running_seconds, point.calendar_due_at, beyond=True):
        opened = reached(point.window_opens_running_seconds, point.calendar_window_opens_at, beyond=False)
        on_the_point = reached(point.due_running_seconds, point.calendar_due_at, beyond=False)
        return Verdict.IN_WINDOW if opened or on_the_point else Verdict.EARLY
    limit_seconds = _first_given(point.limit_running_seconds, point.due_running_seconds)
    limit_at = _first_given(point.calendar_limit_at, point.calendar_due_at)
    if not reached(limit_seconds, limit_at, beyond=True):
        return Verdict.WITHIN_LIMIT
    postponed = point.postponed_to_at is not None or point.postponed_to_running_seconds is not None
    if postponed and not reached(point.postponed_to_running_seconds, point.postponed_to_at, beyond=True):
        return Verdict.POSTPONED
    return Verdict.LATE


@dataclass(frozen=True, slots=True, kw_only=True)
class ClosedJob:
    """What a closed job puts on record. A correction is another one whose `corrects` is the number of the old record.

    least_margin_swept_m3_per_h: smallest available minus minimum while the pump was out (calculated), none where no
    pump was out. tags, parts_used, measures: in words, from the steps of the work. lowest_vacuum_kpa: the lowest the plant
    was seen at meanwhile. opened_at: when the subject was taken out, none where it is not known. opened_as_shown: on the
    ship's day that was shown for it.
    """

    KIND: ClassVar[str] = "closed job"

    vessel: str
    position: str | None
    pump_serial: str | None
    job_kind: str
    job_no: str
    due: DuePoint
    done_at: datetime
    utc_offset_minutes: int
    running_seconds: int | None
    hours_source: HoursSource | None
    done_by: str
    checked_by: str | None
    recorded_by: str
    findings: str = ""
    test: Test = Test.NONE
    opened_at: datetime | None = None
    least_margin_swept_m3_per_h: float | None = None
    permit_no: str | None = None
    tags: str = ""
    parts_used: str = ""
    measures: str = ""
    lowest_vacuum_kpa: float | None = None
    corrects: int | None = None
    opened_as_shown: bool = False

    @property
    def verdict(self) -> Verdict:
        """As `verdict_of`; a job that was opened on the date that was shown for it is in its window, though the window as reckoned
        when it was done opens a little later."""
        found = verdict_of(
            self.due,
            done_at=self.done_at,
            running_seconds=self.running_seconds,
            utc_offset_minutes=self.utc_offset_minutes,
        )
        return Verdict.IN_WINDOW if found is Verdict.EARLY and self.opened_as_shown else found

    def payload(self) -> dict[str, object]:
        """The members of its record; absent figures are null, so every closed job has the same members."""
        due = self.due
        return {
            "vessel": self.vessel,
            "position": self.position,
            "pump_serial": self.pump_serial,
            "job_kind": self.job_kind,
            "job_no": self.job_no,
            "trigger": "breakdown" if not due.planned else due.trigger if due.known else due.limit_from,
            "due_running_seconds": due.due_running_seconds,
            "due_at": due.calendar_due_at,
            "window_opens_running_seconds": due.window_opens_running_seconds,
            "window_opens_at": due.calendar_window_opens_at,
            "limit_running_seconds": due.limit_running_seconds,
            "limit_at": due.calendar_limit_at,
            "limit_from": due.limit_from,
            "postponed_to_running_seconds": due.postponed_to_running_seconds,
            "postponed_to_at": due.postponed_to_at,
            "opened_at": self.opened_at,
            "done_at": self.done_at,
            "utc_offset_minutes": self.utc_offset_minutes,
            "running_seconds": self.running_seconds,
            "hours_source": self.hours_source,
            "seconds_from_due": _less(self.running_seconds, due.due_running_seconds),
            "days_from_due": None
            if due.calendar_due_at is None
            else _days_after(due.calendar_due_at, self.done_at, self.utc_offset_minutes),
            "verdict": self.verdict,
            "findings": self.findings,
            "test": self.test,
            "least_margin_swept_m3_per_h": self.least_margin_swept_m3_per_h,
            "done_by": self.done_by,
            "checked_by": self.checked_by,
            "recorded_by": self.recorded_by,
            "permit_no": self.permit_no,
            "tags": self.tags,
            "parts_used": self.parts_used,
            "measures": self.measures,
            "lowest_vacuum_kpa": self.lowest_vacuum_kpa,
            "corrects": self.corrects,
        }


def _days_after(mark: datetime, done_at: datetime, utc_offset_minutes: int) -> int:
    """Ship dates from `mark` to `done_at`, both at the ship time of `done_at`."""
    offset = timedelta(minutes=utc_offset_minutes)
    return ((done_at.astimezone(UTC) + offset).date() - (mark.astimezone(UTC) + offset).date()).days


def _less(value: int | None, other: int | None) -> int | None:
    return None if value is None or other is None else value - other


def _first_given(first: _T | None, second: _T | None) -> _T | None:
    return second if first is None else first
