"""The figures a calendar entry shows, kept until a reader would act on the difference.

Dates come as published (`publishing`): they move there and not here. `Quoted` holds what was last shown, and it is shown
again, letter for letter, until one of these happens:

- the state, a date, the slot or its margin, the due figure, a postponement, the trigger or the job's own words change;
- the figures are 7 days old and the present ones differ: quoted anew.

A change of ship time alone moves no all-day date. Figures carry their own date, so they stay true while they stand.
"""

import hashlib
import json
from dataclasses import dataclass, fields, replace
from datetime import date, datetime, timedelta
from typing import Any

from scheduler.domain.base.canonical import canonical, vars_of
from scheduler.domain.base.enums import JobState
from scheduler.domain.due.jobs import DueJob
from scheduler.shiptime import minutes_at, ship_time

REQUOTE_AFTER = timedelta(days=7)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedSlot:
    """A slot of the taken plan; the margin is the least in it, none when no pump is out. covered: the minimum would hold if one
    more pump tripped."""

    start_at: datetime
    end_at: datetime
    least_margin_swept_m3_per_h: float | None = None
    covered: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownFigures:
    """The figures an entry shows. Dates are ship dates as they were when quoted.

    shows: hash of what is shown at once when it changes. instants: what due, limit, early and late date were made from.
    """

    quoted_at: datetime
    state: JobState
    due_on: date
    limit_on: date | None
    shows: str
    instants: tuple[str, ...]
    offset_minutes: int
    """Of the ship's clock when the slot starts; without a slot, when quoted."""
    running_seconds: int | None = None
    hours_on: date | None = None
    h_per_day_tenths: int | None = None
    look_back_days: int | None = None
    early_on: date | None = None
    late_on: date | None = None
    end_offset_minutes: int | None = None
    """Of the ship's clock when the slot ends."""

    def text(self) -> str:
        """For keeping; `Quoted.read` gives the same value back."""
        return canonical(vars_of(self))

    @staticmethod
    def read(text: str) -> "ShownFigures":
        """The value that `text` was made from."""
        kept: dict[str, Any] = json.loads(text)
        known = {one.name for one in fields(ShownFigures)}
        kept = {name: value for name, value in kept.items() if name in known}  # an older text has others
        kept["quoted_at"] = datetime.fromisoformat(kept["quoted_at"])
        kept["instants"] = tuple(kept.get("instants", ()))
        for name in ("due_on", "limit_on", "hours_on", "early_on", "late_on"):
            kept[name] = None if kept[name] is None else date.fromisoformat(kept[name])
        for name in ("end_offset_minutes", "offset_minutes", "running_seconds", "h_per_day_tenths", "look_back_days"):
            kept[name] = None if kept.get(name) is None else int(kept[name])
        return ShownFigures(**{**kept, "state": JobState(kept["state"])})


def shown_figures(
    job: DueJob, slot: PlannedSlot | None, place: str, offset_minutes: int, at: datetime, old: ShownFigures | None
) -> ShownFigures:
    """The figures to show for `job`: `old` itself until one of the changes named at the top of this module.

    Args:
        slot: of the taken plan, none when it has none. place: the position's name, as shown.
        offset_minutes: ship time now, -720 to 840.
        old: what was shown last, none at first.
    """
    fresh = _fresh(job, slot, place, offset_minutes, at)
    if old is None:
        return fresh
    aged = at - old.quoted_at >= REQUOTE_AFTER
    names = ("due_on", "limit_on", "early_on", "late_on")
    pairs = zip(names, old.instants, fresh.instants, strict=False)
    fresh = replace(fresh, **{name: getattr(old, name) for name, was, now in pairs if was == now})
    unchanged = (old.state, old.shows, old.instants) == (fresh.state, fresh.shows, fresh.instants)
    if unchanged and (not aged or replace(fresh, quoted_at=old.quoted_at) == old):
        return old
    return fresh


def _fresh(job: DueJob, slot: PlannedSlot | None, place: str, offset_minutes: int, at: datetime) -> ShownFigures:
    def ship_date(instant: datetime | None) -> date | None:
        return None if instant is None else ship_time(instant, offset_minutes).date()

    forecast, running, margin = job.forecast, None, None
    if job.due_running_seconds is not None and job.running_seconds_left is not None:
        running = job.due_running_seconds - job.running_seconds_left
    if slot is not None and slot.least_margin_swept_m3_per_h is not None:
        margin = f"{slot.least_margin_swept_m3_per_h:.1f}"
    words: list[object] = [
        job.kind_name,
        place,
        job.takes_hours,
        job.hands,
        job.takes_pump_out,
        job.first,
        job.renewed_by,
    ]
    starts, ends = (at, at) if slot is None else (slot.start_at, slot.end_at)
    clock = [minutes_at(offset_minutes, one) for one in (starts, ends)]
    slot_shown: list[object] = [] if slot is None else [slot.start_at, slot.end_at, margin, slot.covered, *clock]
    dates = (job.due_at, job.limit_at, forecast.early_at if forecast else None, forecast.late_at if forecast else None)
    due_on, limit_on, early_on, late_on = map(ship_date, dates)
    assert due_on is not None
    shows = canonical(
        {
            "due": [job.due_running_seconds, job.calendar_due_at if job.first else None],
            "limit": [job.limit_running_seconds, job.postponed_to],
            "trigger": job.trigger,
            "slot": slot_shown,
            "words": words,
            "estimated": job.estimated,
        }
    )
    return ShownFigures(
        quoted_at=at,
        state=job.state,
        due_on=due_on,
        limit_on=limit_on,
        instants=tuple("" if one is None else one.isoformat() for one in dates),
        shows=hashlib.sha256(shows.encode("ascii")).hexdigest()[:16],
        offset_minutes=clock[0],
        end_offset_minutes=clock[1],
        running_seconds=running,
        hours_on=ship_date(job.hours_as_of),
        h_per_day_tenths=None if forecast is None else round(forecast.h_per_day * 10),
        look_back_days=None if forecast is None else forecast.look_back_days,
        early_on=early_on,
        late_on=late_on,
    )
