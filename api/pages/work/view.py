"""What the page of a job is given: its forms as typed, its work, how it was closed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from api.pages.shared.forms import FormState
from api.pages.shared.frame import Frame
from api.pages.shared.job_line import JobLine
from api.pages.work.box_view import BoxField
from api.pages.work.closed import AfterView
from api.pages.work.course import CourseView
from api.pages.work.forms import RefusedStep, StepForm
from api.pages.work.sheet_view import SheetView, StepLine
from scheduler.domain.base.enums import Test
from scheduler.domain.hours.running import RunningHours
from scheduler.wording.hours import HoursField


@dataclass(frozen=True, slots=True, kw_only=True)
class CloseForm(FormState):
    """The close form as typed. Keys of values and faults: done_at, done_by, checked_by, running_hours, test, findings,
    permit_no, reason. done_at is ship time as typed ("2026-11-25 14:00"). idempotency_key: a fresh one after a refusal."""

    action: str
    version: str
    idempotency_key: str
    hours: HoursField | None = None


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
    after: AfterView = field(default_factory=AfterView)
    undo_action: str = ""
    """Where who closed it takes the close back; empty: not any more."""
    undo_until: datetime | None = None


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
    points: tuple[str, ...] = ()
    hanging: tuple[str, ...] = ()
    values: Mapping[str, str] = field(default_factory=dict)
    refused: RefusedStep | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstDateView(FormState):
    """asked: nobody knows when the job was last done. action empty: this person may only read. set_words: what was set.

    waits: it counts once another has agreed; agree_action: where this person may.
    """

    asked: bool = False
    action: str = ""
    idempotency_key: str = ""
    version: int = 0
    latest: str = ""
    class_item: bool = False
    set_words: str = ""
    by: str = ""
    waits: bool = False
    agree_action: str = ""
    agreed_by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PartView(FormState):
    """action empty: this person may only read. from_on none: no date was given; day: that date in words."""

    action: str = ""
    idempotency_key: str = ""
    version: int = 0
    from_on: date | None = None
    day: str = ""
    note: str = ""
    by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PostponeView(FormState):
    """action empty: this person may only read, or one waits for a decision. listed: as the answers tell them."""

    action: str = ""
    idempotency_key: str = ""
    listed: Sequence[Mapping[str, Any]] = ()
    decisions_href: str = ""


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
    says: str = ""
    """Why a form was refused that is not on the page any more."""
    form: CloseForm | None = None
    closed: Closed | None = None
    work: WorkView | None = None
    sheet: SheetView | None = None
    course: CourseView | None = None
    """The column of an open job that takes a pump out."""
    also_form: StepForm | None = None
    """Another act that stands in the box, instead of the next."""
    close_steps: tuple[StepLine, ...] = ()
    close_measures: tuple[BoxField, ...] = ()
    """What a job that takes no pump out is closed with."""
    photos: tuple[Mapping[str, Any], ...] = ()
    """As the answers tell them."""
    photo_action: str = ""
    photo: FormState = field(default_factory=FormState)
    count: FormState = field(default_factory=FormState)
    """The form that counts a part."""
    check: FormState = field(default_factory=FormState)
    postpone: PostponeView = field(default_factory=PostponeView)
    part: PartView = field(default_factory=PartView)
    first_date: FirstDateView = field(default_factory=FirstDateView)
