"""What the page of the fleet is given: each vessel in counts."""

from dataclasses import dataclass
from datetime import datetime

from api.pages.shared.frame import Frame
from api.pages.shared.margin import margin_stretches, positions_of
from scheduler.actions.base.context import Context
from scheduler.actions.plan import planning
from scheduler.actions.plant_state.load import PlantState
from scheduler.domain.base.enums import JobState


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


def vessel_line(plants: list[PlantState], context: Context) -> VesselLine:
    """A vessel in counts, over its plants."""
    first = plants[0]
    tally = dict.fromkeys(_COUNTS.values(), 0)
    below = []
    for now in plants:
        for job in now.jobs:
            if job.first and job.state in _COUNTS:
                tally[_COUNTS[job.state]] += 1
        problem, plan = planning.as_now(now, context)
        margins = margin_stretches(problem, plan.slots, positions_of(now))
        below += [run.from_at for run in margins if run.margin_m3_per_h < 0][:1]
    return VesselLine(
        name=first.vessel.name,
        imo=first.vessel.imo,
        href=f"/plants/{first.plant.id}",
        below_at=min(below, default=None),
        next_due_at=min((job.due_at for now in plants for job in now.shown if job.first), default=None),
        hours_as_of=min((at for now in plants if (at := now.hours_as_of()) is not None), default=None),
        silent_counters=sum(c.silent for now in plants for c in now.counters),
        no_plan=any(now.taken is None for now in plants),
        **tally,
    )
