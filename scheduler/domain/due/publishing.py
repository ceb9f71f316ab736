"""The dates of a turn as people see them, on page, command, API and calendar alike, and why they move.

States always follow what is reckoned now; the dates stand until a reader would act on the difference (`published`), and:

- an act moves them when it makes a day's difference: work done or taken back, a postponement, a changed vessel document
  or operating calendar, a counter's replacement or event;
- with the window open a date that came to be a day earlier is shown at once, and at any time an early date that came to be
  earlier by as much as would move the likely one (hours may have been lost, a counter is silent);
- a date that goes by before the turn is due is shown anew, and so is one by calendar, which is no forecast;
- of a turn that falls due by the calendar the dates of its hours move by the same measure, and when its early one goes by;
- once a turn is past due its date is a fact and stays; so does the day since which one is asked for whose last time is not
  known.

Everything a date rests on is kept with it, so that the order in which readings came before it was written makes no difference.
What stands depends on what was shown before, by design: two ships with the same readings, looked at on different days, may
show dates that differ by less than a reader would act on.
"""

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum
from math import ceil
from typing import Any

from scheduler.domain.base.canonical import canonical, vars_of
from scheduler.domain.base.enums import PAST, JobState, Trigger
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.published import AHEAD_DAYS_MOVED, SHARE_MOVED, Dates, moved_enough, why_moved
from scheduler.shiptime import ship_time

DAY = timedelta(days=1)
_LEAST_H_PER_DAY = 0.25
_NOT_KNOWN = canonical({"point": None})


class Cause(StrEnum):
    """Why published dates moved."""

    WORK_DONE = "work done"
    WORK_UNDONE = "work taken back"
    POSTPONED = "postponed"
    DOCUMENT = "document changed"
    CALENDAR = "operating calendar changed"
    REPLACED = "counter replaced"
    EVENT = "counter event"
    LATE = "late readings"
    FASTER = "running faster"
    SLOWER = "running slower"
    FIRST_READINGS = "first readings"
    MISSING = "hours may be missing"
    TURN_BEFORE = "the turn before it moved"
    NOT_KNOWN = "last time not known"
    FIRST_DATE = "first date set"


@dataclass(frozen=True, slots=True, kw_only=True)
class Basis:
    """What dates rest on besides the running hours.

    figure: due and limit in hours, calendar point, postponement; empty for a turn that is not open yet. document,
    daybook: versions. events, replacements: how many events of the plant's counters are recorded.
    """

    figure: str
    document: int
    daybook: int
    events: int
    replacements: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Published:
    """The dates of a turn as published at `since_at`.

    early_at, likely_at, late_at: of the hours, none without a running-hour interval. running_seconds: of the subject at
    `hours_as_of`, as credited then.
    """

    since_at: datetime
    due_at: datetime
    window_opens_at: datetime
    limit_at: datetime | None
    trigger: Trigger
    first: bool
    basis: Basis
    early_at: datetime | None = None
    likely_at: datetime | None = None
    late_at: datetime | None = None
    running_seconds: int | None = None
    hours_as_of: datetime | None = None

    def dates(self) -> Dates:
        """Early, due and late date, for `why_moved`."""
        return _dates(self.due_at, self.early_at, self.late_at, self.since_at)

    def text(self) -> str:
        """For keeping; `Published.read` gives the same value back."""
        return canonical({**vars_of(self), "basis": vars_of(self.basis)})

    @staticmethod
    def read(text: str) -> "Published":
        """The value that `text` was made from."""
        kept: dict[str, Any] = json.loads(text)
        for name, value in kept.items():
            if name.endswith(("_at", "_as_of")) and value is not None:
                kept[name] = datetime.fromisoformat(value)
        kept["trigger"] = Trigger(kept["trigger"])
        seconds, basis = kept["running_seconds"], kept["basis"]
        kept["running_seconds"] = None if seconds is None else int(seconds)
        counts = {name: int(basis[name]) for name in ("document", "daybook", "events", "replacements")}
        kept["basis"] = Basis(figure=basis["figure"], **counts)
        return Published(**kept)


@dataclass(frozen=True, slots=True, kw_only=True)
class Posted:
    """What is published of a turn now, and what was before. cause: why its dates moved, none when they stand."""

    old: Published | None
    new: Published
    cause: Cause | None = None

    def stays_within(self, until: datetime) -> bool:
        """Whether the turn is shown with the outlook up to `until`; by its published date, so that none comes and goes
        while its forecast trembles across the end."""
        return self.new.first or self.new.due_at <= until


Correction = Callable[[Published], int]
"""Running seconds by which the hours at `hours_as_of` are more by now than they were credited when it was published."""


def figure_of(job: DueJob) -> str:
    """The figures of an open turn that only an act changes; empty for a turn that is not open yet."""
    if not job.first:
        return ""
    if job.state is JobState.NOT_KNOWN:
        return _NOT_KNOWN
    point = [job.due_running_seconds, job.limit_running_seconds, job.calendar_due_at, job.postponed_to]
    return canonical({"point": point})


def slack_days(horizon_days: int) -> int:
    """Days by which turns are reckoned beyond the horizon: no published date inside it lies further from the reckoned."""
    return max(AHEAD_DAYS_MOVED, ceil(horizon_days * SHARE_MOVED)) + 1


def published_dates(
    job: DueJob,
    old: Published | None,
    basis: Basis,
    *,
    at: datetime,
    planning_window: timedelta,
    correction: Correction,
) -> Posted:
    """What to show of the turn: the dates as published, or those reckoned now with the cause.

    Args:
        job: as reckoned at `at`. old: none when nothing was published yet. basis: of the turn now.
        planning_window: how far ahead jobs are given slots.
    """
    fresh = _fresh(job, basis, at)
    if old is None:
        return Posted(old=None, new=fresh)
    act = _act(job, old, basis, correction)
    if act is not None and _differs(old, fresh):
        return Posted(old=old, new=fresh, cause=act)
    if _gives_way(job, old, fresh, at, planning_window):
        return Posted(old=old, new=fresh, cause=act or _drift(job, old, fresh, correction))
    return Posted(old=old, new=_in_keeping(old, fresh, job, at))


def as_published(job: DueJob, published: Published) -> DueJob:
    """The job with its published dates; state, hours and words are those of now."""
    forecast = job.forecast
    if forecast is not None and published.early_at and published.likely_at and published.late_at:
        early_at, likely_at, late_at = published.early_at, published.likely_at, published.late_at
        forecast = replace(forecast, early_at=early_at, likely_at=likely_at, late_at=late_at)
    return replace(
        job,
        due_at=published.due_at,
        window_opens_at=published.window_opens_at,
        limit_at=published.limit_at,
        trigger=published.trigger,
        forecast=forecast,
    )


def dates_moved(posted: Posted, offset_minutes: int) -> bool:
    """Whether a ship's date that people see is another one now: due, early or late."""
    if posted.old is None or posted.cause is None:
        return False

    def dates(one: Published) -> list[object]:
        return [
            None if at is None else ship_time(at, offset_minutes).date()
            for at in (one.due_at, one.early_at, one.late_at)
        ]

    return dates(posted.old) != dates(posted.new)


def _fresh(job: DueJob, basis: Basis, at: datetime) -> Published:
    forecast, seconds = job.forecast, None
    if job.due_running_seconds is not None and job.running_seconds_left is not None:
        seconds = job.due_running_seconds - job.running_seconds_left
    return Published(
        since_at=at.replace(microsecond=0),
        due_at=job.due_at,
        window_opens_at=job.window_opens_at,
        limit_at=job.limit_at,
        trigger=job.trigger,
        first=job.first,
        basis=basis,
        early_at=forecast.early_at if forecast else None,
        likely_at=forecast.likely_at if forecast else None,
        late_at=forecast.late_at if forecast else None,
        running_seconds=seconds,
        hours_as_of=job.hours_as_of,
    )


def _dates(due_at: datetime, early_at: datetime | None, late_at: datetime | None, as_of: datetime) -> Dates:
    early, late = min(early_at or due_at, due_at), max(late_at or due_at, due_at)
    return Dates(early_at=early, likely_at=due_at, late_at=late, as_of=as_of)


def _act(job: DueJob, old: Published, basis: Basis, correction: Correction) -> Cause | None:
    """What people did since; none when nothing that could concern this turn."""
    before = old.basis
    if job.first != old.first:
        return Cause.WORK_DONE if job.first else Cause.WORK_UNDONE
    if basis.figure != before.figure and _NOT_KNOWN in (basis.figure, before.figure):
        if job.state is JobState.NOT_KNOWN:
            return Cause.NOT_KNOWN
        return Cause.DOCUMENT if job.first_set_at is None else Cause.FIRST_DATE
    if basis.document != before.document:
        return Cause.DOCUMENT
    if basis.daybook != before.daybook:
        return Cause.CALENDAR
    if basis.events != before.events and _days(job, correction(old)) >= 0.5:
        return Cause.REPLACED if basis.replacements != before.replacements else Cause.EVENT
    if basis.figure != before.figure:
        return Cause.POSTPONED if job.postponed_to is not None else Cause.LATE
    return None


def _differs(old: Published, fresh: Published) -> bool:
    if (old.first, old.basis.figure) != (fresh.first, fresh.basis.figure):
        return True
    pairs = ((old.due_at, fresh.due_at), (old.window_opens_at, fresh.window_opens_at), (old.limit_at, fresh.limit_at))
    return any((was != now) if was is None or now is None else abs(was - now) >= DAY for was, now in pairs)


def _gives_way(job: DueJob, old: Published, fresh: Published, at: datetime, planning_window: timedelta) -> bool:
    if job.state is JobState.NOT_KNOWN:  # due since it was first asked for
        return False
    if job.state in PAST:  # the day it fell due is a fact; it may only not lie ahead
        return old.due_at > at or _hours_moved(old, fresh, at)
    if why_moved(old.dates(), fresh.dates(), planning_window) is not None:
        return True
    if job.first and job.trigger is Trigger.CALENDAR and old.due_at != fresh.due_at:
        return True
    if _hours_moved(old, fresh, at):
        return True
    if job.state is JobState.WINDOW_OPEN and _earlier(old, fresh):
        return True
    was, now = old.dates().early_at, fresh.dates().early_at
    if now < was and moved_enough(was, now, at):
        return True
    return job.state in (JobState.AHEAD, JobState.WINDOW_OPEN) and old.due_at <= at


def _hours_moved(old: Published, fresh: Published, at: datetime) -> bool:
    """Whether the hours of a turn that falls due by the calendar tell of another date: no date stands by a reckoning long gone."""
    if {old.trigger, fresh.trigger} != {Trigger.CALENDAR} or old.likely_at is None or fresh.likely_at is None:
        return False
    gone_by = old.early_at is not None and fresh.early_at is not None and old.early_at <= at < fresh.early_at
    return gone_by or moved_enough(old.likely_at, fresh.likely_at, at)


def _earlier(old: Published, fresh: Published) -> bool:
    was, now = old.dates(), fresh.dates()
    return was.likely_at - now.likely_at >= DAY or was.early_at - now.early_at >= DAY


def _drift(job: DueJob, old: Published, fresh: Published, correction: Correction) -> Cause:
    """Why a forecast moved by itself: readings that came late, if they make up for half of it, else the running."""
    if not job.first:
        return Cause.TURN_BEFORE
    if old.hours_as_of is None and fresh.hours_as_of is not None:
        return Cause.FIRST_READINGS
    was, now = old.due_at, fresh.due_at
    if old.likely_at is not None and fresh.likely_at is not None and _hours_moved(old, fresh, fresh.since_at):
        was, now = old.likely_at, fresh.likely_at
    moved_days = abs(now - was) / DAY
    if moved_days and _days(job, correction(old)) >= moved_days / 2:
        return Cause.LATE
    if abs(now - was) < DAY and fresh.dates().early_at < old.dates().early_at:
        return Cause.MISSING  # as while a counter is silent: the likely date stands, the early one does not
    return Cause.FASTER if now < was else Cause.SLOWER


def _days(job: DueJob, seconds: int) -> float:
    rate = job.forecast.h_per_day if job.forecast else 0.0
    return abs(seconds) / 3600 / max(rate, _LEAST_H_PER_DAY)


def _in_keeping(old: Published, fresh: Published, job: DueJob, at: datetime) -> Published:
    """The dates that stand, with window and limit on the side of now on which the state says they are."""
    window, limit = old.window_opens_at, old.limit_at
    if job.state in (JobState.AHEAD, JobState.WINDOW_OPEN) and (window <= at) != (job.state is JobState.WINDOW_OPEN):
        window = fresh.window_opens_at
    if limit is None or (limit <= at) != (job.state is JobState.PAST_LIMIT):
        limit = fresh.limit_at
    return replace(old, basis=fresh.basis, window_opens_at=window, limit_at=limit)
