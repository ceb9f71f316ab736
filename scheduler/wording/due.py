"""Why a job is due when it is, and how long there is to go: both in running hours and by the ship's calendar."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from scheduler.domain.base.enums import JobState, Trigger
from scheduler.domain.due.explain_date import DateFacts, explain_date
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.publishing import Cause
from scheduler.domain.vessel.job_kinds import BREAKDOWN
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.shiptime import run_text
from scheduler.wording.figures import clock, day_words, days_between, inner, moment, short_date

NOT_KNOWN = marked("last time not known, due now")


def to_go_words(facts: DateFacts, offset_minutes: int) -> str:
    """Like "20 running h, about Fri 27 Nov (in 2 days)", "50 running h over, since about ...", or "Fri 2 Apr (in 32 days)"."""
    job, left = facts.job, facts.seconds_to_go
    if job.state is JobState.NOT_KNOWN:
        return _(NOT_KNOWN)
    on = f"{short_date(job.due_at, offset_minutes, facts.at)} ({day_words(job.due_at, facts.at, offset_minutes)})"
    if job.trigger is not Trigger.RUNNING_HOURS or left is None:
        return on
    return (
        _("{left} over, since about {on}", left=run_text(left), on=on)
        if left < 0
        else _("{left}, about {on}", left=run_text(left), on=on)
    )


_CAUSES = {
    Cause.WORK_DONE: marked("work done"),
    Cause.WORK_UNDONE: marked("work taken back"),
    Cause.POSTPONED: marked("postponed"),
    Cause.DOCUMENT: marked("document changed"),
    Cause.CALENDAR: marked("operating calendar changed"),
    Cause.REPLACED: marked("counter replaced"),
    Cause.EVENT: marked("counter event"),
    Cause.LATE: marked("late readings"),
    Cause.FASTER: marked("running faster"),
    Cause.SLOWER: marked("running slower"),
    Cause.FIRST_READINGS: marked("first readings"),
    Cause.MISSING: marked("hours may be missing"),
    Cause.NOT_KNOWN: marked("last time not known"),
    Cause.FIRST_DATE: marked("first date set"),
    Cause.TURN_BEFORE: marked("the job before it moved"),
}


def cause_words(cause: Cause) -> str:
    """Why a published date moved."""
    return _(_CAUSES.get(cause, cause.value))


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
            return _(
                "Nobody has said when this was last done, so it is planned as due now and has no limit, "
                "until the chief engineer sets its first date."
            )
        by_hours = job.trigger is Trigger.RUNNING_HOURS
        said = "; ".join([*(self._by_hours() if by_hours else self._by_calendar()), *self._rest()])
        if not job.first:
            said = _("if the job before it is done when due, {said}", said=said)
        return f"{said[0].upper()}{said[1:]}."

    def _by_hours(self) -> Iterator[str]:
        job, left = self.facts.job, self.facts.seconds_to_go or 0
        since = f"{self._on(job.due_at)} ({day_words(job.due_at, self.facts.at, self.offset)})"
        if left <= 0:
            yield _("due since about {since}: {left} beyond the point", since=since, left=run_text(left))
        elif self.facts.projected:
            yield (
                _(
                    "due since about {since}: the {left} left at the last reading have run by now at {rate}",
                    since=since,
                    left=run_text(left),
                    rate=self._rate(),
                )
            )
        else:
            yield _("due in {facts}, at {rate}", facts=to_go_words(self.facts, self.offset), rate=self._rate())
            yield from self._span()
        if job.calendar_due_at is not None:
            by = _("by the calendar") if job.first_set_at is None else self._set()
            yield _(
                "{by} it would be due later, on {calendar_due_at}", by=by, calendar_due_at=self._on(job.calendar_due_at)
            )

    def _by_calendar(self) -> Iterator[str]:
        job, forecast, left = self.facts.job, self.facts.job.forecast, self.facts.seconds_to_go
        since = (
            _(", counted from {calendar_start_at}", calendar_start_at=self._on(job.calendar_start_at))
            if job.calendar_start_at
            else ""
        )
        by = _("by the calendar{since}", since=since) if job.first_set_at is None else self._set()
        yield _("due on {facts} {by}", facts=to_go_words(self.facts, self.offset), by=by)
        if forecast is not None and left is not None and left > 0:
            until = self._on(forecast.likely_at)
            yield _(
                "its {left} left would last longer, until about {until}, at {rate}",
                left=run_text(left),
                until=until,
                rate=self._rate(),
            )
        yield from self._standing()

    def _set(self) -> str:
        on = "" if self.facts.job.first_set_at is None else self._on(self.facts.job.first_set_at)
        return _("as the chief engineer set it on {on}, since nobody knew when it was last done,", on=on)

    def _rate(self) -> str:
        forecast = self.facts.job.forecast
        if forecast is None:
            return _("an unknown rate")
        days = forecast.look_back_days
        mixed = _("half this pump's own, half the plant's mean, of the last {days} days", days=days)
        rests = mixed if days > 1 else _("taken until there is a past")
        if forecast.h_per_sea_day is None:
            return _(
                "{h_per_day} running h a day ({rests}; no operating calendar)",
                h_per_day=f"{forecast.h_per_day:.1f}",
                rests=rests,
            )
        return _(
            "{h_per_sea_day} running h a day at sea, {h_per_day} in the usual mix of days ({rests}; "
            "along the operating calendar)",
            h_per_sea_day=f"{forecast.h_per_sea_day:.1f}",
            h_per_day=f"{forecast.h_per_day:.1f}",
            rests=rests,
        )

    def _span(self) -> Iterator[str]:
        forecast = self.facts.job.forecast
        if forecast is None:
            return
        rests = (
            _("as {runs} past runs on this ship turned out", runs=forecast.runs)
            if forecast.runs
            else _("no past runs here to go by yet")
        )
        yield _(
            "early {early_at}, late {late_at}, {rests}",
            early_at=self._on(forecast.early_at),
            late_at=self._on(forecast.late_at),
            rests=rests,
        )
        yield from self._standing()

    def _standing(self) -> Iterator[str]:
        if self.facts.job.forecast is not None and self.facts.job.forecast.idle:
            yield _("the pump has hardly run of late, so early and late lie wide")

    def _rest(self) -> Iterator[str]:
        job = self.facts.job
        if job.running_seconds_left is not None:
            if job.hours_as_of is None:
                yield _("no counter has been read yet, so the hours are estimated")
            else:
                stale = (
                    _(" and estimated since") if self.facts.projected else _(" (estimated)") if job.estimated else ""
                )
                yield _(
                    "hours as of {hours_as_of}{stale}", hours_as_of=moment(job.hours_as_of, self.offset), stale=stale
                )
        elif job.estimated:
            yield _("when it was last done is estimated")
        if job.may_miss_seconds:
            missing = run_text(job.may_miss_seconds)
            yield _(
                "up to {missing} more may have run where a counter started again, and early allows for them",
                missing=missing,
            )
        if job.postponed_to is not None:
            yield _("postponed to {postponed_to}, the due date itself stays", postponed_to=self._on(job.postponed_to))

    def _on(self, when: datetime) -> str:
        return short_date(when, self.offset, self.facts.at)


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


def brief_words(due: DueJob, now_at: datetime, offset_minutes: int) -> str:
    """The state in a few words, for a list whose heading says the rest: "39 h past due, limit Sun 6 Dec", "84 h to due"."""
    on = short_date(due.due_at, offset_minutes)
    if due.job_id.kind == BREAKDOWN.code:
        return _("stopped {due_at}", due_at=moment(due.due_at, offset_minutes))
    match due.state:
        case JobState.NOT_KNOWN:
            return _(NOT_KNOWN)
        case JobState.PAST_DUE:
            over = None if due.running_seconds_left is None else -due.running_seconds_left
            past = _past_words(due, now_at, due.due_at, over, offset_minutes)
            return _("{past} past due, limit {due}", past=past, due=limit_words(due, offset_minutes))
        case JobState.PAST_LIMIT:
            left = due.limit_left_seconds
            over = None if left is None else -left
            return _(
                "past limit by {due}", due=_past_words(due, now_at, due.limit_at or due.due_at, over, offset_minutes)
            )
        case JobState.POSTPONED:
            return _("postponed to {due}", due=short_date(meets_at(due), offset_minutes))
        case _ if due.trigger is Trigger.RUNNING_HOURS and (due.running_seconds_left or 0) > 0:
            return _(
                "{running_seconds_left} to due, about {on}",
                running_seconds_left=run_text(due.running_seconds_left or 0),
                on=on,
            )
    return _("due {on}", on=on)


def _past_words(due: DueJob, now_at: datetime, since_at: datetime, over_seconds: int | None, offset: int) -> str:
    by_hours = due.trigger is Trigger.RUNNING_HOURS and over_seconds is not None and over_seconds > 0
    return run_text(over_seconds or 0) if by_hours else days_between(since_at, now_at, offset)


def due_words(due: DueJob, now_at: datetime, offset_minutes: int) -> str:
    """When it falls due, in running hours, by date and in days; or the calendar date and the days to it."""
    to_go = to_go_words(explain_date(due, now_at), offset_minutes)
    if due.trigger is not Trigger.RUNNING_HOURS:
        return _("due by calendar {to_go}", to_go=to_go)
    return _("due in {to_go}", to_go=to_go)


def as_of_words(due: DueJob, now_at: datetime, offset_minutes: int) -> str:
    """What the running hours rest on: `hours as of 08:00`, with the date when that is not today's; empty without hours."""
    if due.due_running_seconds is None:
        return ""
    if due.hours_as_of is None:
        return _("hours estimated, nothing read yet")
    same = short_date(due.hours_as_of, offset_minutes) == short_date(now_at, offset_minutes)
    when = clock(due.hours_as_of, offset_minutes) if same else moment(due.hours_as_of, offset_minutes)
    return _("hours estimated, as of {when}", when=when) if due.estimated else _("hours as of {when}", when=when)


def limit_words(due: DueJob, offset_minutes: int) -> str:
    """The date of its limit, or that there is none."""
    return _("none") if due.limit_at is None else short_date(due.limit_at, offset_minutes)


def state_words(due: DueJob, now_at: datetime, offset_minutes: int) -> str:
    """The state of a job in words, with what is left in hours and date."""
    said = state_alone(due, now_at, offset_minutes)
    tails = []
    if due.state not in (JobState.DONE, JobState.WITHDRAWN) and (read := as_of_words(due, now_at, offset_minutes)):
        tails.append(read)
    elif due.estimated:
        tails.append(_("estimated"))
    if due.forecast is not None and due.forecast.idle and due.state in (JobState.AHEAD, JobState.WINDOW_OPEN):
        tails.append(_("pump has hardly run, the date is wide"))
    if not due.first and due.state not in (JobState.DONE, JobState.WITHDRAWN):
        tails.append(_("if the job before is done when due"))
    return "; ".join([said, *tails])


def state_alone(due: DueJob, now_at: datetime, offset: int) -> str:
    """The state without what the hours rest on."""
    if due.job_id.kind == BREAKDOWN.code:
        return _("Repair open since {due_at}", due_at=moment(due.due_at, offset))
    match due.state:
        case JobState.AHEAD:
            opens = (
                _("Opens {window_opens_at}, ", window_opens_at=short_date(due.window_opens_at, offset))
                if due.window_opens_at > now_at
                else _("Ahead, ")
            )
            return opens + due_words(due, now_at, offset)
        case JobState.WINDOW_OPEN:
            return _("Window open, {due}", due=due_words(due, now_at, offset))
        case JobState.PAST_DUE:
            over = None if due.running_seconds_left is None else -due.running_seconds_left
            left = due.limit_left_seconds
            by_hours = due.trigger is Trigger.RUNNING_HOURS and left is not None and left > 0
            past = _past_words(due, now_at, due.due_at, over, offset)
            limit = limit_words(due, offset)
            if not by_hours:
                return _("Past due by {past}; limit {limit}", past=past, limit=limit)
            left_words = run_text(left or 0)
            return _("Past due by {past}; limit in {left}, about {limit}", past=past, left=left_words, limit=limit)
        case JobState.PAST_LIMIT:
            left = due.limit_left_seconds
            past = _past_words(due, now_at, due.limit_at or due.due_at, None if left is None else -left, offset)
            return _("Past limit by {past}; close it or ask for a postponement", past=past)
        case JobState.POSTPONED:
            until = limit_words(due, offset) if due.postponed_to is None else short_date(due.postponed_to, offset)
            return _("Postponed to {until}; was due {due_at}", until=until, due_at=short_date(due.due_at, offset))
        case JobState.NOT_KNOWN:
            return _("Last time not known: planned as due now; the chief sets a first date")
        case JobState.DONE:
            return _("Done")
        case JobState.WITHDRAWN:
            return _("Withdrawn")
