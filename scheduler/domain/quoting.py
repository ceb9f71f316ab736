"""The figures an entry shows, kept until a reader would act on the difference.

`Quoted` holds what was last shown. It is shown again, letter for letter, until one of these happens:

- the state, the slot or its margin, the due figure, the limit, a postponement, the trigger or the job's own words
  change;
- the forecast due date moves by 7 days or 15 % of the time to go, whichever is more (2 days or 15 % once the window is
  open), or the window opens; a calendar due point moves at all;
- the figures are 7 days old and the present ones differ: quoted anew, the date staying unless it has fallen outside
  early to late.

A job past its due point stays on the date it was due. A change of ship time alone moves no all-day date. Figures carry
their own date, so they stay true while they stand.
"""

import hashlib
import json
from dataclasses import asdict, dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

from scheduler.domain.due import DueJob
from scheduler.domain.history import canonical
from scheduler.domain.published import AHEAD_DAYS_MOVED, moved_enough
from scheduler.domain.words import State, Trigger

PAST = (State.PAST_DUE, State.PAST_LIMIT)
REQUOTE_AFTER = timedelta(days=7)
NEAR_DAYS_MOVED = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedSlot:
    """A slot of the taken plan; the margin is the least in it, none when no pump is out."""

    start_at: datetime
    end_at: datetime
    least_margin_swept_m3_per_h: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Quoted:
    """The figures an entry shows. Dates are ship dates as they were when quoted.

    shows: hash of what is shown at once when it changes; due_by, limit_by: what the due date and the limit rest on.
    """

    quoted_at: datetime
    state: State
    due_at: datetime
    due_on: date
    due_by: str
    limit_on: date
    limit_by: str
    shows: str
    offset_minutes: int
    running_seconds: int | None = None
    hours_on: date | None = None
    h_per_day_tenths: int | None = None
    look_back_days: int | None = None
    early_on: date | None = None
    late_on: date | None = None

    def text(self) -> str:
        """For keeping; `Quoted.read` gives the same value back."""
        return canonical(asdict(self))

    @staticmethod
    def read(text: str) -> "Quoted":
        """The value that `text` was made from."""
        kept: dict[str, Any] = json.loads(text)
        for name in ("quoted_at", "due_at"):
            kept[name] = datetime.fromisoformat(kept[name])
        for name in ("due_on", "limit_on", "hours_on", "early_on", "late_on"):
            kept[name] = None if kept[name] is None else date.fromisoformat(kept[name])
        for name in ("offset_minutes", "running_seconds", "h_per_day_tenths", "look_back_days"):
            kept[name] = None if kept[name] is None else int(kept[name])
        return Quoted(**{**kept, "state": State(kept["state"])})


def quote(
    job: DueJob, slot: PlannedSlot | None, place: str, offset_minutes: int, at: datetime, old: Quoted | None
) -> Quoted:
    """The figures to show for `job`: `old` itself until one of the changes named at the top of this module.

    Args:
        slot: of the taken plan, none when it has none. place: the position's name, as shown.
        offset_minutes: ship time now, -720 to 840.
        old: what was shown last, none at first.
    """
    fresh = _fresh(job, slot, place, offset_minutes, at)
    if old is None:
        return fresh
    moves = _date_moves(job, old, offset_minutes, at)
    aged = at - old.quoted_at >= REQUOTE_AFTER
    if aged and not moves and not _point_passed(job) and fresh.early_on is not None and fresh.late_on is not None:
        moves = job.trigger is Trigger.RUNNING_HOURS and not fresh.early_on <= old.due_on <= fresh.late_on
    if not moves:
        limit_on = old.limit_on if fresh.limit_by == old.limit_by else fresh.limit_on
        fresh = replace(fresh, due_at=old.due_at, due_on=old.due_on, limit_on=limit_on)
    unchanged = not moves and (old.state, old.shows) == (fresh.state, fresh.shows)
    if unchanged and (not aged or replace(fresh, quoted_at=old.quoted_at) == old):
        return old
    return fresh


def ship_time(at: datetime, offset_minutes: int) -> datetime:
    """`at` moved by the offset: its date and clock are those aboard; not an instant any more."""
    return at.astimezone(UTC) + timedelta(minutes=offset_minutes)


def _fresh(job: DueJob, slot: PlannedSlot | None, place: str, offset_minutes: int, at: datetime) -> Quoted:
    def ship_date(instant: datetime | None) -> date | None:
        return None if instant is None else ship_time(instant, offset_minutes).date()

    forecast, running, margin = job.forecast, None, None
    if job.due_running_seconds is not None and job.running_seconds_left is not None:
        running = job.due_running_seconds - job.running_seconds_left
    if slot is not None and slot.least_margin_swept_m3_per_h is not None:
        margin = f"{slot.least_margin_swept_m3_per_h:.1f}"
    due_by = _due_by(job)
    by_calendar = job.trigger is Trigger.CALENDAR
    limit_by: list[object] = [
        job.postponed_to,
        job.limit_running_seconds,
        (job.limit_at - job.due_at).total_seconds() if by_calendar and job.first else None,
    ]
    words: list[object] = [
        job.kind_name,
        place,
        job.takes_hours,
        job.hands,
        job.takes_pump_out,
        job.first,
        job.renewed_by,
    ]
    slot_shown: list[object] = [] if slot is None else [slot.start_at, slot.end_at, margin]
    limit_text = canonical({"limit": limit_by})
    shows = canonical(
        {
            "due": due_by,
            "limit": limit_text,
            "trigger": job.trigger,
            "slot": slot_shown,
            "words": words,
            "estimated": job.estimated,
        }
    )
    return Quoted(
        quoted_at=at,
        state=job.state,
        due_at=job.due_at,
        due_on=ship_time(job.due_at, offset_minutes).date(),
        due_by=due_by,
        limit_on=ship_time(job.limit_at, offset_minutes).date(),
        limit_by=limit_text,
        shows=hashlib.sha256(shows.encode("ascii")).hexdigest()[:16],
        offset_minutes=offset_minutes,
        running_seconds=running,
        hours_on=ship_date(job.hours_as_of),
        h_per_day_tenths=None if forecast is None else round(forecast.h_per_day * 10),
        look_back_days=None if forecast is None else forecast.look_back_days,
        early_on=ship_date(forecast.early_at) if forecast else None,
        late_on=ship_date(forecast.late_at) if forecast else None,
    )


def _due_by(job: DueJob) -> str:
    """What the due date rests on; the calendar point of an outlook drifts with the job before it, so it is left out."""
    return canonical(
        {"hours": job.due_running_seconds, "calendar": job.calendar_due_at if job.first else None, "first": job.first}
    )


def _point_passed(job: DueJob) -> bool:
    """The due point lies behind, so the date is a fact."""
    by_hours = job.trigger is Trigger.RUNNING_HOURS
    return job.state in PAST or (by_hours and job.running_seconds_left is not None and job.running_seconds_left <= 0)


def _date_moves(job: DueJob, old: Quoted, offset_minutes: int, at: datetime) -> bool:
    if job.due_at == old.due_at:
        return False
    if _due_by(job) != old.due_by and job.first == ('"first":true' in old.due_by):
        return True
    if _point_passed(job):
        # On the day it passes the date may not lie ahead of today; after that it stays.
        return old.state is not job.state and old.due_on > ship_time(at, offset_minutes).date()
    if job.state is State.WINDOW_OPEN and old.state is not State.WINDOW_OPEN:
        return True
    if job.trigger is Trigger.CALENDAR and job.first:
        return True
    least_days = AHEAD_DAYS_MOVED if job.state is State.AHEAD else NEAR_DAYS_MOVED
    return moved_enough(old.due_at, job.due_at, at, least_days)
