"""What the plan page is given: frozen values, already worked out, instants in UTC."""

from dataclasses import dataclass
from datetime import datetime

from api.pages.drawing.field import Plumb
from api.pages.drawing.windows import WindowLine
from api.pages.plan.plan_line import PlanLine
from api.pages.shared.forms import FormState
from api.pages.shared.frame import Frame
from api.pages.shared.job_line import JobLine
from api.pages.shared.margin import MarginStretch
from scheduler.planning.judge.cover import Cover

PERIODS = (7, 28, 90)
"""Days that the page shows, to choose from."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SlotLine:
    """A slot of the plan. with_name: the job whose isolation it goes on with, or that goes on with its; empty: none.

    plus_minus_days: by which its date may still move; late_days: past its limit when planned. fixed: planning again does
    not move it. move_href: empty when this person may not move it.
    """

    key: str
    job: JobLine
    with_name: str = ""
    plus_minus_days: int = 0
    late_days: int = 0
    fixed: bool = False
    by_hand: bool = False
    move_href: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockerLine:
    """Starts, how many and from the first to the last, that one thing forbids; the most that lacks, m3/h (0: not capacity)."""

    from_at: datetime
    to_at: datetime
    starts: int
    reason: str
    lacking_m3_per_h: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LateLine:
    """A job that has no place (days none) or ends past its limit: why, and what forbids its other starts."""

    key: str
    job: JobLine
    name: str
    days: int | None
    reasons: tuple[str, ...]
    bars: tuple[BlockerLine, ...] = ()
    move_href: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StartChoice:
    """A start that holds: margin none for a job that takes no pump out. asked: the one typed; planned: where it stands."""

    start_at: datetime
    end_at: datetime
    margin_m3_per_h: float | None
    planned: bool = False
    asked: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """A start that was tried. runs, jobs: the days around it with the slot there; against: why it does not hold."""

    start_at: datetime
    end_at: datetime
    holds: bool
    margin_m3_per_h: float | None
    against: tuple[str, ...]
    cautions: tuple[str, ...]
    margins: tuple[MarginStretch, ...]
    plumbs: tuple[Plumb, ...]
    from_at: datetime
    to_at: datetime
    choices: tuple[StartChoice, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MoveForm(FormState):
    """What was typed into the form of a move: day, at, start (an instant in UTC), reason; and what stood against it."""

    changed: tuple[str, ...] = ()
    """What has changed since the page was looked at, in sentences."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MoveView:
    """A slot being moved. planned: (from, to) where it stands, none without a slot; by: who set it there, or empty.
    hours: the starts of a day to choose from, as typed.

    along: names of what moves with it. action: where the form posts. version: of the plan aboard that is looked at.
    """

    key: str
    name: str
    along: tuple[str, ...]
    planned: tuple[datetime, datetime] | None
    by: str
    form: MoveForm
    hours: tuple[str, ...]
    tried: Tried | None
    action: str
    version: int
    idempotency_key: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MoveLine:
    """A move by hand as recorded. undo_action: empty when it cannot be undone, or not by this person."""

    number: int
    name: str
    href: str
    from_at: datetime | None
    to_at: datetime
    by: str
    at: datetime
    reason: str = ""
    record: int = 0
    undone_by: str = ""
    undone_at: datetime | None = None
    undo_action: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReasonsLine:
    """The reasons of jobs that have the same."""

    names: str
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Help:
    """What would help one job: (what, its price), each tried by planning again. in_time: by the newest plan it is in time."""

    key: str
    name: str
    reliefs: tuple[tuple[str, str], ...] = ()
    in_time: bool = False
    says: str = ""
    """What stands in the way of an answer, in words; empty: nothing."""
    seconds: int = 0
    """For so long it is being worked out; 0: it is there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanView:
    """The plan page.

    plan: the plan that is drawn, taken or else proposed, none when there is none; newer: a proposed one that would change
    it (the same as `plan` when none is taken). margins, slots and lines cover now_at..ends_at. later: slots after that.
    without: names of jobs that should be in the plan and are not yet. jobs: open jobs, whether planned or not.
    """

    frame: Frame
    plant: str
    plant_href: str
    here: str
    now_at: datetime
    ends_at: datetime
    days: int
    plan: PlanLine | None = None
    newer: PlanLine | None = None
    by_hand: bool = False
    """The plan shown is the one before it with a slot moved by hand."""
    read_at: datetime | None = None
    silent: tuple[str, ...] = ()
    """Positions whose counter is silent."""
    margins: tuple[MarginStretch, ...] = ()
    slots: tuple[SlotLine, ...] = ()
    later: int = 0
    lines: tuple[WindowLine, ...] = ()
    troubles: tuple[LateLine, ...] = ()
    facts: tuple[str, ...] = ()
    """Deficits that no slot causes, in words."""
    alone: tuple[str, ...] = ()
    """That of two pumps one is enough, where it is."""
    without: tuple[str, ...] = ()
    jobs: int = 0
    whys: tuple[ReasonsLine, ...] = ()
    cover: Cover | None = None
    cover_words: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    help: Help | None = None
    move: MoveView | None = None
    moves: tuple[MoveLine, ...] = ()
    once: str = ""
    """Start of the Idempotency-Key of the forms that undo a move."""
    again_action: str = ""
    planning_seconds: int = 0
    """For so long a plan that is asked for is being made; 0: none is, or for no longer than a moment."""
    notice: str = ""
    says: str = ""
    """What went wrong with what was just asked for, in words; empty for nothing."""
    frozen_days: int = 0
    """Days ahead in which a taken plan is not moved."""
