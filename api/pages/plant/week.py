"""This week: the jobs that are due or planned within seven days, in seven lines at most. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from api.pages.plant.view import PlantView
from api.pages.shared.job_line import JobLine, tone_of
from scheduler.actions.hours.shown import CounterShows
from scheduler.domain.base.enums import JobState, Trigger
from scheduler.domain.vessel.naming import short_kind
from scheduler.language import gettext as _
from scheduler.wording.due import brief_words, job_name, job_rank, meets_at
from scheduler.wording.figures import clock, day_words, inner, listed, margin_number, ship, short_date
from scheduler.wording.hours import counts_words

MOST_LINES = 7
DAYS = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekLine:
    """A line: when it is planned and the day, what with its pages, its state with the counter's figure, the margin."""

    when: str
    day: str
    jobs: tuple[tuple[str, str], ...]
    """(name, address): the first in full, those on the same isolation by their kind."""
    state: JobState
    words: str
    counter: str
    tone: str
    margin: str


def week_lines(view: PlantView) -> tuple[tuple[WeekLine, ...], int]:
    """The lines, what has no slot and is late first, then by time; and how many jobs of the week there was no room for."""
    until_at = view.now_at + timedelta(days=DAYS)
    late = (JobState.PAST_LIMIT, JobState.PAST_DUE, JobState.NOT_KNOWN)
    mine = [
        job
        for job in view.jobs
        if (
            (job.due.renewed_by is None or job.due.state in late) and (job.slot_from_at or meets_at(job.due)) < until_at
        )
        or job.due.state in late
    ]
    gathered: dict[tuple[object, ...], list[JobLine]] = {}
    for job in sorted(mine, key=lambda job: job_rank(job.due)):
        alone = job.slot_from_at is None or not job.kind.takes_pump_out
        gathered.setdefault((job.due.job_id.key,) if alone else (job.slot_from_at, job.due.position), []).append(job)
    order = sorted(gathered.values(), key=lambda group: _order(group[0], view.now_at))
    shown = order[:MOST_LINES]
    return tuple(_line(group, view) for group in shown), sum(map(len, order[MOST_LINES:]))


def _order(job: JobLine, now_at: datetime) -> tuple[int, datetime, tuple[int, datetime, str]]:
    """Late without a slot, by rank; all else by its time."""
    planned_at = None if _passed(job, now_at) else job.slot_from_at
    without = planned_at is None and meets_at(job.due) <= now_at
    return (0, now_at, job_rank(job.due)) if without else (1, planned_at or meets_at(job.due), job_rank(job.due))


def _passed(job: JobLine, now_at: datetime) -> bool:
    """Whether its slot has gone by and it was not done."""
    return job.slot_to_at is not None and job.slot_to_at <= now_at


def _line(group: Sequence[JobLine], view: PlantView) -> WeekLine:
    first, offset = group[0], view.frame.utc_offset_minutes
    name = begin_words(first, view) if begins_today(first, view) else job_name(first.due)
    names = [name, *(inner(short_kind(job.due.kind_name)) for job in group[1:])]
    when, day = _when(first, view.now_at, offset)
    words = brief_words(first.due, view.now_at, offset)
    if len(group) > 1:
        words = _("one isolation; {names}", names=listed([brief_words(job.due, view.now_at, offset) for job in group]))
    margins = [job.margin_m3_per_h for job in group if job.margin_m3_per_h is not None]
    return WeekLine(
        when=when,
        day=day,
        jobs=tuple(zip(names, [job.href for job in group], strict=True)),
        state=first.due.state,
        words=words,
        counter=due_at_counter(first, view) if len(group) == 1 else "",
        tone=tone_of(first.due.state),
        margin=margin_number(min(margins)) if margins else "",
    )


def begins_today(job: JobLine, view: PlantView) -> bool:
    """Whether its permit may start today: the plan aboard opens its pump on this day of the ship, the minimum holds, the slot is
    not over and the pump not out."""
    start, end, margin, offset = job.slot_from_at, job.slot_to_at, job.margin_m3_per_h, view.frame.utc_offset_minutes
    if not (view.may_begin and view.plan and job.kind.takes_pump_out and start and end and margin is not None):
        return False
    out = any(pump.position == job.due.position and pump.down_at(view.now_at) for pump in view.pumps)
    today = ship(start, offset).date() == ship(view.now_at, offset).date()
    return today and view.now_at < end and margin >= 0 and not out


def begin_words(job: JobLine, view: PlantView) -> str:
    """ "Begin VP1 knife inspection" where that may be today, else "Open ..."."""
    words = _("Begin {job_name}") if begins_today(job, view) else _("Open {job_name}")
    return words.format(job_name=job_name(job.due))


def _when(job: JobLine, now_at: datetime, offset: int) -> tuple[str, str]:
    if job.slot_from_at is not None and _passed(job, now_at):
        return _("slot passed"), short_date(job.slot_from_at, offset)
    if job.slot_from_at is None or job.slot_to_at is None:
        at = meets_at(job.due)
        return (_("no slot"), "") if at <= now_at else (short_date(at, offset), _("due, no slot"))
    same = short_date(job.slot_from_at, offset) == short_date(job.slot_to_at, offset)
    near = day_words(job.slot_from_at, now_at, offset)
    day = near if near in ("today", "tomorrow") else short_date(job.slot_from_at, offset)
    if not same:
        return _("from {clock}", clock=clock(job.slot_from_at, offset)), _(
            "{day} to {short_date}", day=day, short_date=short_date(job.slot_to_at, offset)
        )
    return _("{clock} to {clock_2}", clock=clock(job.slot_from_at, offset), clock_2=clock(job.slot_to_at, offset)), day


def due_at_counter(job: JobLine, view: PlantView) -> str:
    """ "due at counter 24 761", in the counter's own unit; empty where no counter says when it is due."""
    shows = next((pump.shows for pump in view.pumps if pump.position == job.due.position), None)
    figure = counter_at_due(job, shows)
    return "" if figure is None else _("due at counter {figure}", figure=figure)


def counter_at_due(job: JobLine, shows: CounterShows | None) -> str | None:
    """What the counter shows when the job falls due, as whole counts; none where no counter says."""
    left = job.due.running_seconds_left
    if shows is None or left is None or job.due.trigger is not Trigger.RUNNING_HOURS:
        return None
    return counts_words(shows.after(left) // 1000 * 1000)
