"""What the pages are given: frozen values, already worked out, instants in UTC. No page asks the store or the clock.

The routes fill these from the actions; `api/saying` turns them into words, `api/drawing` into pictures.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from api.pages.work.first_date_view import FirstDateView
from api.pages.work.forms import StepTyped
from api.pages.work.part_view import PartView
from api.pages.work.postpone_view import PostponeView
from api.pages.work.sheet_view import SheetView
from scheduler.domain.base.enums import JobState, Test
from scheduler.domain.capacity.minimum import Outage
from scheduler.domain.capacity.returning import PlannedReturn
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.hours.running import RunningHours
from scheduler.domain.vessel.document import JobKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """An entry of the navigation."""

    label: str
    href: str
    current: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """What stands around every page.

    here: path of this page, to come back to after the day/night form. now_at none: no ship time is shown (signed out).
    """

    title: str
    here: str
    vessel: str = ""
    subtitle: str = ""
    links: tuple[Link, ...] = ()
    now_at: datetime | None = None
    utc_offset_minutes: int = 0
    person: str = ""
    sign_out_action: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MarginStretch:
    """A stretch of constant capacity: available, minimum and largest pump in swept m3/h.

    largest_m3_per_h: what the largest pump in use gives, so that one trip can be judged; none when not worked out.
    open_positions: pumps planned open in it; down_positions: pumps down or not proved, facts and not plans.
    """

    from_at: datetime
    to_at: datetime
    available_m3_per_h: float
    minimum_m3_per_h: float
    minimum_label: str = "minimum"
    largest_m3_per_h: float | None = None
    open_positions: tuple[str, ...] = ()
    down_positions: tuple[str, ...] = ()

    @property
    def margin_m3_per_h(self) -> float:
        """Available minus minimum."""
        return self.available_m3_per_h - self.minimum_m3_per_h


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
    capacity_m3_per_h: float | None = None
    measured: bool = False
    outage: Outage | None = None
    silent_since_at: datetime | None = None
    out_action: str = ""
    """Where the form posts that puts it out and opens its repair; empty when it has one, or this person may not."""
    repair_href: str = ""
    return_action: str = ""
    """Where the form posts that says when it is expected back; empty while it is not out."""
    runs_action: str = ""
    """Where the form posts that says it runs after all; empty once work on its repair was recorded."""
    back: PlannedReturn | None = None
    """When plans have it back."""
    asks_return: bool = False
    """Nobody said when it is back, or that time has passed."""

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
class JobLine:
    """A due job, its kind, its page, and its slot with the least margin inside it (all none: no slot)."""

    due: DueJob
    kind: JobKind
    href: str
    slot_from_at: datetime | None = None
    slot_to_at: datetime | None = None
    margin_m3_per_h: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanLine:
    """A plan as kept. faults: what the judge says, empty when lawful. taken_at none: proposed only.

    shortfalls: in sentences. unplaced: jobs without a place. changes: one sentence for each moved, new or dropped
    slot against the plan taken before. take_action: where the form that takes it posts; empty when this person may not.
    """

    digest: str
    made_at: datetime
    starts_at: datetime
    proven: bool
    faults: tuple[str, ...] = ()
    shortfalls: tuple[str, ...] = ()
    unplaced: int = 0
    remarks: tuple[str, ...] = ()
    changes: tuple[str, ...] = ()
    taken_at: datetime | None = None
    taken_by: str = ""
    take_action: str = ""
    idempotency_key: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantView:
    """The plant page and its figures.

    runs cover now..horizon without gap and rest on `plan` when there is one, else on `proposed`, else on nothing
    opened. jobs: open occurrences in any order. tube_kinds: codes of the kinds drawn as tubes, at most three; empty:
    chosen here.
    """

    frame: Frame
    plant: str
    now_at: datetime
    horizon_at: datetime
    pumps: tuple[PumpRow, ...]
    jobs: tuple[JobLine, ...] = ()
    runs: tuple[MarginStretch, ...] = ()
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
    looks_href: str = ""
    looks: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class CloseForm:
    """The close form as typed. Keys of values and faults: done_at, done_by, checked_by, running_hours, test, findings,
    permit_no, reason. done_at is ship time as typed ("2026-11-25T14:00"). key: a fresh one after a refusal."""

    action: str
    version: str
    idempotency_key: str
    values: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)
    says: str = ""
    """What stands in the way as a whole (somebody closed it meanwhile), none when empty."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Closed:
    """How a job was closed, as its record has it. facts: (what, figure, small print) of due point, window, limit and verdict.

    stamp: the record stamp. check: how the check stands; check_action: where this person signs it. flags: what stood against
    it. renewed_by: the job with which it was done, in words; empty when it was done by itself.
    """

    done_at: datetime
    done_by: str
    checked_by: str
    running_hours: float | None
    test: Test
    findings: str = ""
    permit_no: str = ""
    record_no: int | None = None
    stamp: str = ""
    check: str = ""
    check_action: str = ""
    idempotency_key: str = ""
    facts: tuple[tuple[str, str, str], ...] = ()
    flags: tuple[str, ...] = ()
    company: str = ""
    answers_for: str = ""
    renewed_by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkLine:
    """An entry of the work: what, when, by whom, what stood against it, its record, and whether it was struck."""

    at: datetime
    by: str
    words: str
    flags: tuple[str, ...] = ()
    record: int = 0
    struck: bool = False
    number: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkView:
    """The work on a job. action empty: this person may only read. stop: why work on the open pump stops now."""

    words: str
    lines: tuple[WorkLine, ...] = ()
    stop: tuple[str, ...] = ()
    action: str = ""
    version: int = 0
    """Of the work: how many steps are kept."""
    idempotency_key: str = ""
    next_kind: str = ""
    points: tuple[str, ...] = ()
    hanging: tuple[str, ...] = ()
    values: Mapping[str, str] = field(default_factory=dict)
    typed: StepTyped | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class JobView:
    """One occurrence. Either form (open, and this person may close it), or closed, or neither (may only read)."""

    frame: Frame
    now_at: datetime
    job: JobLine
    serial: str = ""
    running_hours: RunningHours | None = None
    projected_hours: float | None = None
    plant_href: str = ""
    form: CloseForm | None = None
    closed: Closed | None = None
    work: WorkView | None = None
    sheet: SheetView | None = None
    photos: tuple[Mapping[str, Any], ...] = ()
    """As the answers tell them."""
    photo_action: str = ""
    postpone: PostponeView = field(default_factory=PostponeView)
    part: PartView = field(default_factory=PartView)
    first_date: FirstDateView = field(default_factory=FirstDateView)


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
class SignInView:
    """Asks for the one-time link, or, when one was opened, asks to confirm it (token and who it is for)."""

    frame: Frame
    action: str = "/sign-in"
    token: str = ""
    person: str = ""
    says: str = ""
    how: tuple[str, ...] = ()
    """How to get a link on this installation, one sentence each; empty: the general words."""
    wanted: bool = False
    """A page was asked for that opens after signing in."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorView:
    """An error in words: what, which one, what was expected, what to do now."""

    frame: Frame
    status: int
    says: str
    faults: tuple[tuple[str, str], ...] = ()
    ways: tuple[Link, ...] = ()
    request_id: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class EmptyView:
    """First run: no vessel yet. commands: (what it does, the command) pairs of this installation."""

    frame: Frame
    commands: tuple[tuple[str, str], ...] = (
        ("Take in a vessel document", "leadline import FILE"),
        ("Look round with an invented fleet first", "leadline demo"),
    )
