"""What the plant page is given: frozen values, already worked out, instants in UTC."""

from dataclasses import dataclass, field
from datetime import datetime

from api.pages.plan.plan_line import PlanLine
from api.pages.shared.forms import FormState
from api.pages.shared.frame import Frame
from api.pages.shared.job_line import JobLine
from api.pages.shared.margin import MarginStretch
from scheduler.domain.capacity.minimum import Outage
from scheduler.domain.capacity.returning import PlannedReturn
from scheduler.domain.hours.running import RunningHours


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
    out_action: str = ""
    """Where the form posts that puts it out and opens its repair; empty when it has one, or this person may not."""
    repair_href: str = ""
    return_action: str = ""
    """Where the form posts that says when it is expected back; empty while it is not out."""
    in_use_action: str = ""
    """Where the form posts that says it runs after all; empty once work on its repair was recorded."""
    back: PlannedReturn | None = None
    """When plans have it back."""
    pump_id: str = ""
    form: FormState = field(default_factory=FormState)
    """Its form when it was refused."""

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
    diagnosis_href: str = ""
    diagnosed: int = 0
    """How many things need a look."""
