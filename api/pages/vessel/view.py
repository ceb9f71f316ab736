"""What the page of the fleet is given: each vessel in counts."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from markupsafe import Markup

from api.pages.drawing.season import season_strip
from api.pages.shared.frame import Frame
from api.pages.shared.job_line import as_job_line, tone_of
from api.pages.shared.margin import MarginStretch, least, margin_stretches, positions_of
from api.pages.shared.waits import WaitLine, wait_lines
from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.care.waiting import matters_of
from scheduler.actions.plan import planning
from scheduler.actions.plant_state.load import PlantState
from scheduler.domain.base.enums import JobState
from scheduler.language import gettext as _
from scheduler.wording.due import brief_words, job_name, job_rank
from scheduler.wording.figures import margin_number, short_date

DRAWN = timedelta(days=28)


@dataclass(frozen=True, slots=True, kw_only=True)
class VesselLine:
    """A vessel of the fleet in counts. below_at: first instant below the minimum as planned, or none."""

    name: str
    imo: str
    href: str
    past_limit: int = 0
    past_due: int = 0
    window_open: int = 0
    postponed: int = 0
    not_known: int = 0
    below_at: datetime | None = None
    next_due_at: datetime | None = None
    hours_as_of: datetime | None = None
    silent_counters: int = 0
    no_plan: bool = False
    least: str = ""
    """The least margin of 28 days as planned, and when; empty where nothing is planned or worked out."""
    least_when: str = ""
    worst_words: str = ""
    """The job that presses most, by name, with its state."""
    worst_tone: str = ""
    age: str = ""
    """How old the oldest of its newest hours are."""
    strip: Markup = Markup("")  # noqa: RUF009 - frozen
    waits_count: int = 0

    @property
    def worst(self) -> JobState:
        """The worst state among its jobs."""
        if self.past_limit:
            return JobState.PAST_LIMIT
        if self.past_due:
            return JobState.PAST_DUE
        if self.not_known:
            return JobState.NOT_KNOWN
        if self.window_open:
            return JobState.WINDOW_OPEN
        return JobState.POSTPONED if self.postponed else JobState.AHEAD


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetView:
    """The vessels this person may see, in any order."""

    frame: Frame
    now_at: datetime
    vessels: tuple[VesselLine, ...]
    waits: tuple[WaitLine, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class EmptyView:
    """First run: no vessel yet. may_set_up: this person may set one up."""

    frame: Frame
    may_set_up: bool = False


_COUNTS = {
    JobState.PAST_LIMIT: "past_limit",
    JobState.PAST_DUE: "past_due",
    JobState.WINDOW_OPEN: "window_open",
    JobState.POSTPONED: "postponed",
    JobState.NOT_KNOWN: "not_known",
}


def vessel_line(plants: list[PlantState], context: Context, actor: Actor) -> tuple[VesselLine, tuple[WaitLine, ...]]:
    """A vessel in counts, over its plants, and what waits on her for this person."""
    first = plants[0]
    tally = dict.fromkeys(_COUNTS.values(), 0)
    below: list[datetime] = []
    shown: list[tuple[MarginStretch, ...]] = []
    waits: tuple[WaitLine, ...] = ()
    for now in plants:
        matters = matters_of(context, now, actor, planning.margins_now(now, context), of_vessel=now is first)
        waits += wait_lines(matters, now, now.vessel.name)
        for job in now.jobs:
            if job.first and job.state in _COUNTS:
                tally[_COUNTS[job.state]] += 1
        problem, plan = planning.as_now(now, context)
        margins = margin_stretches(problem, plan.slots, positions_of(now))
        below += [run.from_at for run in margins if run.margin_m3_per_h < 0][:1]
        shown.append(tuple(run for run in margins if run.from_at < now.at + DRAWN))
    jobs = [as_job_line(now, job) for now in plants for job in (*now.jobs, *now.breakdowns) if job.first]
    worst = min(jobs, key=job_rank, default=None)
    worst_margins = min(shown, key=lambda one: min((r.margin_m3_per_h for r in one), default=float("inf")), default=())
    lowest = least(worst_margins)
    offset = first.offset_minutes
    line = VesselLine(
        name=first.vessel.name,
        imo=first.vessel.imo,
        href=f"/plants/{first.plant.id}",
        below_at=min(below, default=None),
        next_due_at=min((job.due_at for now in plants for job in now.shown if job.first), default=None),
        hours_as_of=min((at for now in plants if (at := now.hours_as_of()) is not None), default=None),
        silent_counters=sum(c.silent for now in plants for c in now.counters),
        no_plan=any(now.taken is None for now in plants),
        least="" if lowest is None else margin_number(lowest.margin_m3_per_h),
        least_when="" if lowest is None else short_date(lowest.from_at, offset),
        worst_words="" if worst is None else f"{job_name(worst)}, {brief_words(worst, first.at, offset)}",
        worst_tone="" if worst is None else tone_of(worst.state),
        age=_age_words(plants),
        strip=season_strip(
            worst_margins,
            from_at=first.at,
            to_at=first.at + DRAWN,
            utc_offset_minutes=offset,
            name=_("{ship}: margin of the next 28 days", ship=first.vessel.name),
        )
        if worst_margins
        else Markup(""),
        waits_count=len(waits),
        **tally,
    )
    return line, waits


def _age_words(plants: Sequence[PlantState]) -> str:
    """ "4 min", "31 h", "VP5 silent 11 days"; of the oldest."""
    silent = [
        (one.newest_at, now, one.position) for now in plants for one in now.counters if one.silent and one.primary
    ]
    if silent:
        at, now, position = min(silent, key=lambda one: (one[0] is not None, one[0] or one[1].at))
        name = now.position_name(position)
        return (
            _("{name} never read", name=name)
            if at is None
            else _("{name} silent {long}", name=name, long=_long(now.at - at))
        )
    read = [(at, now) for now in plants if (at := now.hours_as_of()) is not None]
    return _("{long} old", long=_long(max(now.at - at for at, now in read))) if read else _("no hours read yet")


def _long(ago: timedelta) -> str:
    minutes = int(ago / timedelta(minutes=1))
    if minutes < 120:
        return f"{minutes} min"
    return f"{minutes // 60} h" if minutes < 48 * 60 else _("{minutes} days", minutes=minutes // 1440)
