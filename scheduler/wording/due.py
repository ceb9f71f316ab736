"""Why a job is due when it is, and how long there is to go: both in running hours and by the ship's calendar."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from scheduler.domain.base.enums import JobState, Trigger
from scheduler.domain.due.explain_date import DateFacts
from scheduler.domain.due.publishing import Cause
from scheduler.shiptime import run_text
from scheduler.wording.figures import day_words, moment, short_date

NOT_KNOWN = "last time not known, due now"


def to_go_words(facts: DateFacts, offset_minutes: int) -> str:
    """Like "20 running h, about Fri 27 Nov (in 2 days)", "50 running h over, since about ...", or "Fri 2 Apr (in 32 days)"."""
    job, left = facts.job, facts.seconds_to_go
    if job.state is JobState.NOT_KNOWN:
        return NOT_KNOWN
    on = f"{short_date(job.due_at, offset_minutes, facts.at)} ({day_words(job.due_at, facts.at, offset_minutes)})"
    if job.trigger is not Trigger.RUNNING_HOURS or left is None:
        return on
    return f"{run_text(left)} over, since about {on}" if left < 0 else f"{run_text(left)}, about {on}"


def cause_words(cause: Cause) -> str:
    """Why a published date moved."""
    return "the job before it moved" if cause is Cause.TURN_BEFORE else cause.value


def date_words(facts: DateFacts, offset_minutes: int) -> str:
    """Why the job is due then, as one sentence."""
    return _Date(facts, offset_minutes).sentence()


@dataclass(frozen=True, slots=True)
class _Date:
    facts: DateFacts
    offset: int

    def sentence(self) -> str:
        job = self.facts.job
        if job.state is JobState.NOT_KNOWN:
            return (
                "Nobody has said when this was last done, so it is planned as due now and has no limit, until the chief "
                "engineer sets its first date."
            )
        by_hours = job.trigger is Trigger.RUNNING_HOURS
        said = "; ".join([*(self._by_hours() if by_hours else self._by_calendar()), *self._rest()])
        if not job.first:
            said = f"if the job before it is done when due, {said}"
        return f"{said[0].upper()}{said[1:]}."

    def _by_hours(self) -> Iterator[str]:
        job, left = self.facts.job, self.facts.seconds_to_go or 0
        since = f"{self._on(job.due_at)} ({day_words(job.due_at, self.facts.at, self.offset)})"
        if left <= 0:
            yield f"due since about {since}: {run_text(left)} beyond the point"
        elif self.facts.projected:
            yield (
                f"due since about {since}: the {run_text(left)} left at the last reading have run by now at {self._rate()}"
            )
        else:
            yield f"due in {to_go_words(self.facts, self.offset)}, at {self._rate()}"
            yield from self._span()
        if job.calendar_due_at is not None:
            by = "by the calendar" if job.first_set_at is None else self._set()
            yield f"{by} it would be due later, on {self._on(job.calendar_due_at)}"

    def _by_calendar(self) -> Iterator[str]:
        job, forecast, left = self.facts.job, self.facts.job.forecast, self.facts.seconds_to_go
        since = f", counted from {self._on(job.calendar_start_at)}" if job.calendar_start_at else ""
        by = f"by the calendar{since}" if job.first_set_at is None else self._set()
        yield f"due on {to_go_words(self.facts, self.offset)} {by}"
        if forecast is not None and left is not None and left > 0:
            until = self._on(forecast.likely_at)
            yield f"its {run_text(left)} left would last longer, until about {until}, at {self._rate()}"
        yield from self._standing()

    def _set(self) -> str:
        on = "" if self.facts.job.first_set_at is None else self._on(self.facts.job.first_set_at)
        return f"as the chief engineer set it on {on}, since nobody knew when it was last done,"

    def _rate(self) -> str:
        forecast = self.facts.job.forecast
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
        forecast = self.facts.job.forecast
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
        if self.facts.job.forecast is not None and self.facts.job.forecast.standing:
            yield "the pump has hardly run of late, so early and late lie wide"

    def _rest(self) -> Iterator[str]:
        job = self.facts.job
        if job.running_seconds_left is not None:
            if job.hours_as_of is None:
                yield "no counter has been read yet, so the hours are estimated"
            else:
                stale = " and estimated since" if self.facts.projected else " (estimated)" if job.estimated else ""
                yield f"hours as of {moment(job.hours_as_of, self.offset)}{stale}"
        elif job.estimated:
            yield "when it was last done is estimated"
        if job.may_miss_seconds:
            missing = run_text(job.may_miss_seconds)
            yield f"up to {missing} more may have run where a counter started again, and early allows for them"
        if job.postponed_to is not None:
            yield f"postponed to {self._on(job.postponed_to)}, the due date itself stays"

    def _on(self, when: datetime) -> str:
        return short_date(when, self.offset, self.facts.at)
