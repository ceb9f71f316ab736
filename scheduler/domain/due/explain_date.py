"""Why a job is due when it is: the facts behind a date, and one sentence that says them.

Times to go are said both ways, in running hours and as a date. Ship dates and ship time throughout.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from scheduler.domain.base.enums import JobState, Trigger
from scheduler.domain.due.jobs import DueJob
from scheduler.shiptime import day_text, days_from, moment_text, near_day_text, running_hours_text, ship_time


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """What a due date rests on.

    trigger: which of hours and calendar comes first; other_at: the point of the one that comes second, none without it.
    to_go: time to go as said, "20 running h, about Fri 27 Nov 2026" or "7 days, on Fri 27 Nov 2026".
    running_hours_left: at the last reading, negative beyond the point, none without an interval in hours.
    days_left: from now to the due point. h_per_day, look_back_days, runs, calendar_used, standing: of the forecast, none
    where there is none. projected: the hours were carried on from `hours_as_of` at the usual rate. may_miss_hours: that no
    counter told of, at most.
    """

    trigger: Trigger
    due_at: datetime
    to_go: str
    days_left: float
    sentence: str
    other_at: datetime | None = None
    running_hours_left: float | None = None
    h_per_day: float | None = None
    h_per_sea_day: float | None = None
    look_back_days: int | None = None
    runs: int | None = None
    calendar_used: bool | None = None
    standing: bool | None = None
    hours_as_of: datetime | None = None
    estimated: bool = False
    may_miss_hours: float = 0.0
    projected: bool = False


def explain_date(job: DueJob, at: datetime, offset_minutes: int) -> Reason:
    """The facts behind a job's due date and the sentence that says them.

    Args:
        at: now. offset_minutes: ship time now, -720 to 840.
    """
    words = _DateSentences(job, at, offset_minutes)
    forecast = job.forecast
    by_hours = job.trigger is Trigger.RUNNING_HOURS
    likely_at = forecast.likely_at if forecast else None
    return Reason(
        trigger=job.trigger,
        due_at=job.due_at,
        to_go=words.to_go(),
        days_left=(job.due_at - at) / timedelta(days=1),
        sentence=words.sentence(),
        other_at=job.calendar_due_at if by_hours else likely_at,
        running_hours_left=None if job.running_seconds_left is None else job.running_seconds_left / 3600,
        h_per_day=forecast.h_per_day if forecast else None,
        h_per_sea_day=forecast.h_per_sea_day if forecast else None,
        look_back_days=forecast.look_back_days if forecast else None,
        runs=forecast.runs if forecast else None,
        calendar_used=forecast.h_per_sea_day is not None if forecast else None,
        standing=forecast.standing if forecast else None,
        hours_as_of=job.hours_as_of,
        estimated=job.estimated,
        may_miss_hours=job.may_miss_seconds / 3600,
        projected=words.projected,
    )


@dataclass(frozen=True, slots=True)
class _DateSentences:
    job: DueJob
    at: datetime
    offset_minutes: int

    @property
    def projected(self) -> bool:
        """Whether the point was reached only by carrying the hours on."""
        left = self.job.running_seconds_left
        by_hours = self.job.trigger is Trigger.RUNNING_HOURS
        return by_hours and left is not None and left > 0 and self.job.due_at <= self.at

    @property
    def left(self) -> int | None:
        """Running seconds left as every list shows them: carried on while the counter is silent."""
        projected = self.job.projected_seconds_left
        if projected is None or self.projected or (self.job.running_seconds_left or 0) <= 0:
            return self.job.running_seconds_left
        return max(0, projected)

    def to_go(self) -> str:
        if self.job.state is JobState.NOT_KNOWN:
            return "last time not known, due now"
        left = self.left
        if self.job.trigger is Trigger.RUNNING_HOURS and left is not None:
            return (
                f"{running_hours_text(left)} running h{' over' if left < 0 else ''}, about {self._on(self.job.due_at)}"
            )
        return f"{self._days()}, on {self._on(self.job.due_at)}"

    def sentence(self) -> str:
        if self.job.state is JobState.NOT_KNOWN:
            return (
                "Nobody has said when this was last done, so it is planned as due now and has no limit, until the chief "
                "engineer sets its first date."
            )
        by_hours = self.job.trigger is Trigger.RUNNING_HOURS
        said = "; ".join([*(self._by_hours() if by_hours else self._by_calendar()), *self._rest()])
        if not self.job.first:
            said = f"if the turn before it is done when due, {said[0].lower()}{said[1:]}"
        return f"{said[0].upper()}{said[1:]}."

    def _by_hours(self) -> Iterator[str]:
        job = self.job
        left = self.left or 0
        if left <= 0:
            yield f"due since about {self._on(job.due_at)} ({self._days()}): {running_hours_text(-left)} running h beyond the point"
        elif self.projected:
            yield (
                f"due since about {self._on(job.due_at)} ({self._days()}): the {running_hours_text(left)} running h left at the last "
                f"reading have run by now at {self._rate()}"
            )
        else:
            yield f"due in {running_hours_text(left)} running h, about {self._on(job.due_at)} ({self._days()}), at {self._rate()}"
            yield from self._span()
        if job.calendar_due_at is not None:
            by = "by the calendar" if job.first_set_at is None else self._set()
            yield f"{by} it would be due later, on {self._on(job.calendar_due_at)}"

    def _by_calendar(self) -> Iterator[str]:
        job, forecast = self.job, self.job.forecast
        since = f", counted from {self._on(job.calendar_start_at)}" if job.calendar_start_at else ""
        by = f"by the calendar{since}" if job.first_set_at is None else self._set()
        yield f"due on {self._on(job.due_at)} ({self._days()}) {by}"
        left = self.left
        if forecast is not None and left is not None and left > 0:
            until = f"until about {self._on(forecast.likely_at)}, at {self._rate()}"
            yield f"its {running_hours_text(left)} running h left would last longer, {until}"
        yield from self._standing()

    def _set(self) -> str:
        on = "" if self.job.first_set_at is None else self._on(self.job.first_set_at)
        return f"as the chief engineer set it on {on}, since nobody knew when it was last done,"

    def _rate(self) -> str:
        forecast = self.job.forecast
        if forecast is None:
            return "an unknown rate"
        days = forecast.look_back_days
        mixed = "half this pump's own, half the plant's mean, of the last"
        rests = f"{mixed} {days} days" if days > 1 else "taken until there is a past"
        if forecast.h_per_sea_day is None:
            return f"{forecast.h_per_day:.1f} running h a day ({rests}; no operating calendar)"
        return (
            f"{forecast.h_per_sea_day:.1f} running h a day at sea, {forecast.h_per_day:.1f} in the usual mix of days "
            f"({rests}; along the operating calendar)"
        )

    def _span(self) -> Iterator[str]:
        forecast = self.job.forecast
        if forecast is None:
            return
        rests = (
            f"as {forecast.runs} past runs on this ship turned out"
            if forecast.runs
            else "no past runs here to go by yet"
        )
        yield f"early {self._on(forecast.early_at)}, late {self._on(forecast.late_at)}, {rests}"
        yield from self._standing()

    def _standing(self) -> Iterator[str]:
        if self.job.forecast is not None and self.job.forecast.standing:
            yield "the pump has hardly run of late, so early and late lie wide"

    def _rest(self) -> Iterator[str]:
        job = self.job
        if job.running_seconds_left is not None:
            if job.hours_as_of is None:
                yield "no counter has been read yet, so the hours are estimated"
            else:
                stale = " and estimated since" if self.projected else " (estimated)" if job.estimated else ""
                yield f"hours as of {moment_text(job.hours_as_of, self.offset_minutes)}{stale}"
        elif job.estimated:
            yield "when it was last done is estimated"
        if job.may_miss_seconds:
            missing = running_hours_text(job.may_miss_seconds)
            yield f"up to {missing} running h more may have run where a counter started again, and early allows for them"
        if job.postponed_to is not None:
            yield f"postponed to {self._on(job.postponed_to)}, the due date itself stays"

    def _on(self, when: datetime) -> str:
        return day_text(ship_time(when, self.offset_minutes).date())

    def _days(self) -> str:
        return near_day_text(days_from(self.at, self.job.due_at, self.offset_minutes))
