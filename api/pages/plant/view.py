"""What the plant page is given: frozen values, already worked out, instants in UTC."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from api.pages.plan.plan_line import PlanLine
from api.pages.shared.frame import Frame
from api.pages.shared.job_line import JobLine
from api.pages.shared.margin import MarginStretch
from api.pages.shared.waits import WaitLine
from scheduler.actions.hours.shown import CounterShows
from scheduler.domain.capacity.may_open import OpeningAnswer
from scheduler.domain.capacity.minimum import Outage
from scheduler.domain.capacity.returning import PlannedReturn
from scheduler.domain.hours.running import RunningHours
from scheduler.wording.capacity import OpeningWords


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpRow:
    """A position and the pump in it. hours none: nothing read yet. silent_since_at: the counter has stopped posting.

    projected_hours: what it is likely to have run by now, while its counter is silent.
    """

    position: str
    serial: str = ""
    href: str = ""
    hours: RunningHours | None = None
    projected_hours: float | None = None
    outage: Outage | None = None
    silent_since_at: datetime | None = None
    shows: CounterShows | None = None
    """What its counter shows; none: nothing read."""
    stopped_href: str = ""
    """Its page when it stops, and while it is out; empty where this person may not put it out."""
    repair_href: str = ""
    back: PlannedReturn | None = None
    """When plans have it back."""
    pump_id: str = ""

    def down_at(self, at: datetime) -> bool:
        """Whether it is out and counts for nothing at an instant."""
        out = self.outage
        return (
            out is not None
            and out.counts_for.m3_per_h <= 0
            and out.from_at <= at
            and (out.to_at is None or at < out.to_at)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class MayOpenView:
    """May I open: what stands in the form, why it was refused, and the answer. begin_href: of the job to be begun with."""

    values: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)
    says: str = ""
    answer: OpeningAnswer | None = None
    words: OpeningWords | None = None
    begin: str = ""
    begin_href: str = ""
    hours_href: str = ""
    again: str = ""
    """The next time that holds, as it is typed into the form."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantView:
    """The plant page and its figures.

    margins cover now..horizon without gap and rest on `plan` when there is one, else on `proposed`, else on nothing
    opened. jobs: open occurrences in any order. tube_kinds: codes of the kinds drawn as tubes, at most three; empty:
    chosen here.
    """

    frame: Frame
    plant: str
    now_at: datetime
    horizon_at: datetime
    pumps: tuple[PumpRow, ...]
    jobs: tuple[JobLine, ...] = ()
    margins: tuple[MarginStretch, ...] = ()
    plan: PlanLine | None = None
    proposed: PlanLine | None = None
    tube_kinds: tuple[str, ...] = ()
    plant_href: str = ""
    plan_href: str = ""
    figures_href: str = ""
    moved_href: str = ""
    feed_href: str = ""
    hours_href: str = ""
    minimum_href: str = ""
    notice: str = ""
    """What has just been done, in words; empty for nothing."""
    hours_say: str = ""
    """What the hours say of the plant; empty for nothing."""
    signs_href: str = ""
    days: int = 28
    """How many days the drawing shows: 7, by the hour, or 28."""
    may_begin: bool = False
    """Whether this person may write down the work."""
    asked_days: bool = False
    """Whether somebody asked for so many: a phone shows three days by the hour until then."""
    waits: tuple[WaitLine, ...] = ()
    may: MayOpenView = MayOpenView()
    diagnosis_href: str = ""
    diagnosed: int = 0
    """How many things need a look."""
