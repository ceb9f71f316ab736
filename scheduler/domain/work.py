"""Work on a pump, step by step: what was done, by whom, and what the pump counts for in between.

Steps are facts and are only ever added; the state is a replay of them in the order in which they happened, so a step
entered late from paper takes its place. `work_rules` says what stands against a step; this module only says what it
means. A pump counts in full again only when no tag hangs on it, it was returned, and a test after that was passed.

Order of work: common practice, no source. The maker's manual and the ship's procedures come first.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from typing import ClassVar, Literal

from scheduler.domain.words import Test

_STRICT: dict[str, str] = {"extra": "forbid"}


class Counts(StrEnum):
    """What a pump under work counts for: all, its provisional derate, nothing."""

    FULL = "in full"
    PROVISIONAL = "provisionally"
    NOTHING = "for nothing"


class Note(StrEnum):
    """What a note in the course of the work is about."""

    STEP = "step"
    MEASURE = "measure"
    FINDING = "finding"
    OBJECT = "foreign object"
    PART = "part used"
    OTHER = "other"


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """What all steps say: when it happened, and who did it."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
    at: datetime
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PermitIssued(Step):
    """A permit of the ship's own system; only its particulars are recorded here. permit_kind: cold work, ..."""

    kind: Literal["permit issued"] = "permit issued"
    number: str
    permit_kind: str = ""
    issued_by: str = ""
    valid_to: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PermitClosed(Step):
    """A permit was handed back and closed."""

    kind: Literal["permit closed"] = "permit closed"
    number: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TagPlaced(Step):
    """An isolation point was locked and tagged. override: the chief engineer's reason where the minimum does not hold."""

    kind: Literal["tag placed"] = "tag placed"
    point: str
    lock_no: str = ""
    tag_no: str = ""
    override: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TestedDead(Step):
    """Tested dead, start tried, stored vacuum broken."""

    __test__: ClassVar[bool] = False
    kind: Literal["tested dead"] = "tested dead"
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class GasChecked(Step):
    """Readings of the gas meter before opening; none where not taken. meter: its number and calibration date."""

    kind: Literal["gas checked"] = "gas checked"
    oxygen_percent: float | None = None
    lel_percent: float | None = None
    h2s_ppm: float | None = None
    meter: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened(Step):
    """The pump was opened. drained_to: sewage tank or a closed container, never the bilge."""

    kind: Literal["opened"] = "opened"
    rinsed: bool = False
    drained_to: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted(Step):
    """A step ticked, a measure with its limits, a finding, a foreign object, a part used (value: how many).

    mode, mechanism, cause: what stands behind a finding that was picked from the plant's list; filled in, not asked.
    """

    kind: Literal["noted"] = "noted"
    about: Note
    name: str
    text: str = ""
    value: float | None = None
    unit: str = ""
    low: float | None = None
    high: float | None = None
    mode: str = ""
    mechanism: str = ""
    cause: str = ""

    @property
    def out_of_limit(self) -> bool:
        """True when a measure lies outside the limits it was given."""
        return self.value is not None and (
            (self.low is not None and self.value < self.low) or (self.high is not None and self.value > self.high)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class PeopleClear(Step):
    """People and tools clear, covers on."""

    kind: Literal["people clear"] = "people clear"


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherHand:
    """Why a tag came off by another hand than the one that placed it: the documented exception.

    Source: 29 CFR 1910.147(e)(3), which takes maritime employment out of its scope: a model, not law aboard.
    """

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
    reason: str
    approved_by: str
    absence_checked: bool
    contact_tried: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TagRemoved(Step):
    """A lock and tag came off. other_hand: when it was not the person who placed it."""

    kind: Literal["tag removed"] = "tag removed"
    point: str
    other_hand: OtherHand | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PeopleTold(Step):
    """Those concerned were told that locks and tags are off, before the start; names."""

    kind: Literal["people told"] = "people told"
    names: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Returned(Step):
    """Primed, supply on, restarted at the start setpoint, no leak seen, current good: back in use, not proved."""

    kind: Literal["returned"] = "returned"
    current_ampere: float | None = None
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tested(Step):
    """The test after the work."""

    __test__: ClassVar[bool] = False
    kind: Literal["tested"] = "tested"
    result: Literal[Test.PASSED, Test.FAILED]
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reported(Step):
    """The work was reported. lowest_vacuum_kpa: the lowest the plant was seen at during the job."""

    kind: Literal["work reported"] = "work reported"
    text: str = ""
    lowest_vacuum_kpa: float | None = None


AnyStep = (
    PermitIssued
    | PermitClosed
    | TagPlaced
    | TestedDead
    | GasChecked
    | Opened
    | Noted
    | PeopleClear
    | TagRemoved
    | PeopleTold
    | Returned
    | Tested
    | Reported
)


@dataclass(frozen=True, slots=True)
class Tag:
    """A lock and tag at a point; removed_at none: it hangs."""

    point: str
    lock_no: str
    tag_no: str
    placed_by: str
    placed_at: datetime
    removed_by: str = ""
    removed_at: datetime | None = None
    other_hand: OtherHand | None = None


@dataclass(frozen=True, slots=True)
class Permit:
    """A permit; closed_at none: open."""

    number: str
    permit_kind: str
    issued_by: str
    from_at: datetime
    valid_to: datetime | None
    closed_at: datetime | None = None

    def holds(self, at: datetime) -> bool:
        """True while it is open and valid."""
        return self.closed_at is None and (self.valid_to is None or at <= self.valid_to)


@dataclass(frozen=True, slots=True)
class Work:
    """How far the work on a job is. Instants are of this round of isolation; a failed test begins another."""

    permits: tuple[Permit, ...] = ()
    tags: tuple[Tag, ...] = ()
    dead_at: datetime | None = None
    gas: GasChecked | None = None
    opened_at: datetime | None = None
    clear_at: datetime | None = None
    told_at: datetime | None = None
    returned_at: datetime | None = None
    reported_at: datetime | None = None
    test: Test = Test.NONE
    counts: Counts = Counts.FULL
    out_at: datetime | None = None
    """Since when the pump counts for less; none: it was not touched, or is proved again."""

    @property
    def hanging(self) -> tuple[Tag, ...]:
        """Tags that hang."""
        return tuple(tag for tag in self.tags if tag.removed_at is None)

    def permit_at(self, at: datetime) -> Permit | None:
        """A permit that holds at an instant, or none."""
        return next((permit for permit in reversed(self.permits) if permit.holds(at)), None)


NOT_BEGUN = Work()


def replay(steps: Iterable[AnyStep]) -> Work:
    """The state after all steps, in the order in which they happened (given order where instants are equal)."""
    work = NOT_BEGUN
    for step in sorted(steps, key=lambda one: one.at):
        work = after(work, step)
    return work


def after(work: Work, step: AnyStep) -> Work:
    """The state after one more step."""
    match step:
        case PermitIssued():
            permit = Permit(step.number, step.permit_kind, step.issued_by, step.at, step.valid_to)
            return replace(work, permits=(*work.permits, permit))
        case PermitClosed():
            permits = tuple(
                replace(one, closed_at=step.at) if one.number == step.number and one.closed_at is None else one
                for one in work.permits
            )
            return replace(work, permits=permits)
        case TagPlaced():
            tag = Tag(step.point, step.lock_no, step.tag_no, step.by, step.at)
            again = not work.hanging and (bool(work.tags) or work.test is not Test.NONE)
            begun = _new_round(work) if again else work
            return _out(replace(begun, tags=(*work.tags, tag)), step.at)
        case TestedDead():
            return replace(work, dead_at=step.at)
        case GasChecked():
            return replace(work, gas=step)
        case Opened():
            return _out(replace(work, opened_at=step.at, clear_at=None), step.at)
        case PeopleClear():
            return replace(work, clear_at=step.at)
        case TagRemoved():
            return replace(work, tags=_without(work.tags, step))
        case PeopleTold():
            return replace(work, told_at=step.at)
        case Returned():
            if work.hanging:
                return work  # it cannot be in use with a tag on it, whatever was said
            counts = Counts.PROVISIONAL if work.counts is Counts.NOTHING else work.counts
            return replace(work, returned_at=step.at, counts=counts)
        case Tested():
            return _tested(work, step)
        case Reported():
            return replace(work, reported_at=step.at)
        case Noted():
            return work


def _new_round(work: Work) -> Work:
    return replace(
        work, dead_at=None, gas=None, opened_at=None, clear_at=None, told_at=None, returned_at=None, test=Test.NONE
    )


def _out(work: Work, at: datetime) -> Work:
    return replace(work, counts=Counts.NOTHING, out_at=work.out_at or at, test=Test.NONE, returned_at=None)


def _without(tags: tuple[Tag, ...], step: TagRemoved) -> tuple[Tag, ...]:
    for place, tag in enumerate(tags):
        if tag.point == step.point and tag.removed_at is None:
            off = replace(tag, removed_by=step.by, removed_at=step.at, other_hand=step.other_hand)
            return (*tags[:place], off, *tags[place + 1 :])
    return tags


def _tested(work: Work, step: Tested) -> Work:
    if step.result is Test.FAILED:
        return replace(work, test=Test.FAILED, counts=Counts.NOTHING, out_at=work.out_at or step.at, returned_at=None)
    if work.hanging or (work.counts is Counts.NOTHING and work.returned_at is None):
        return work  # a test of a pump that is not in use proves nothing
    return replace(work, test=Test.PASSED, counts=Counts.FULL, out_at=None)
