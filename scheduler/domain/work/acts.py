"""Acts of the work on a pump, as they are told: what was done, when, by whom. Facts, only ever added.

Acts told before kinds were added here keep their form: every kind that was ever stored can still be read.

Order of work: common practice, no source. The maker's manual and the ship's procedures come first.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import ClassVar, Literal

from scheduler.domain.base.enums import Test

_STRICT: dict[str, str] = {"extra": "forbid"}


class Note(StrEnum):
    """What a note in the course of the work is about."""

    STEP = "step"
    MEASURE = "measure"
    FINDING = "finding"
    OBJECT = "foreign object"
    PART = "part used"
    OTHER = "other"


class GasPlace(StrEnum):
    """Where the gas meter was read."""

    NOT_SAID = ""
    ROOM = "room"
    COVER = "slackened cover"


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """What all acts say: when it happened, and who did it."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
    at: datetime
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PermitIssued(Step):
    """A permit of the ship's own system; only its particulars are recorded here. permit_kind: cold work, ...

    company: the contractor it is issued to, empty for none. passing: points that pass, as named on it.
    """

    kind: Literal["permit issued"] = "permit issued"
    number: str
    permit_kind: str = ""
    issued_by: str = ""
    valid_to: datetime | None = None
    company: str = ""
    passing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PermitClosed(Step):
    """A permit was handed back and closed."""

    kind: Literal["permit closed"] = "permit closed"
    number: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeReady(Step):
    """Before anything is touched: the stand-by pump was seen running; names of those who were told."""

    kind: Literal["made ready"] = "made ready"
    standby_seen: bool = False
    told: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rinsed(Step):
    """Sewage inlet closed, fresh water run through, drained. drained_to: sewage tank or a closed container, never the bilge."""

    kind: Literal["rinsed"] = "rinsed"
    drained_to: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TagPlaced(Step):
    """An isolation point was locked and tagged. box_no: the lock box in which its key lies.

    override: the chief engineer's reason where the minimum does not hold.
    """

    kind: Literal["tag placed"] = "tag placed"
    point: str
    lock_no: str = ""
    tag_no: str = ""
    box_no: str = ""
    override: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TagTakenOver(Step):
    """Who relieves looked at a point and hung an own lock and tag there, beside the leaver's, which comes off after it."""

    kind: Literal["tag taken over"] = "tag taken over"
    point: str
    lock_no: str = ""
    tag_no: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PointPasses(Step):
    """A locked valve lets through. instead: the blank, or the next valve upstream, that isolates in its place."""

    kind: Literal["point passes"] = "point passes"
    point: str
    instead: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TestedDead(Step):
    """Tested dead, in one word: how it was told before its three proofs were asked for one by one. It proves none of them."""

    __test__: ClassVar[bool] = False
    kind: Literal["tested dead"] = "tested dead"
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StartTried(Step):
    """A start was tried at the locked breaker. control_alive: the control supply was on, without which a try proves nothing."""

    kind: Literal["start tried"] = "start tried"
    control_alive: bool = False
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoVoltage(Step):
    """No voltage at the motor's terminals. meter: its number; proved on a known source before and after."""

    kind: Literal["no voltage"] = "no voltage"
    all_phases: bool = False
    meter: str = ""
    meter_proved_before: bool = False
    meter_proved_after: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class VacuumLetOut(Step):
    """Stored vacuum let out: the gauge stays at zero with suction and discharge shut, and the pump is drained."""

    kind: Literal["vacuum let out"] = "vacuum let out"
    gauge_stays_at_zero: bool = False
    drained: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class GasChecked(Step):
    """A reading of the gas meter; a figure is none where not read. meter: its number; bump_tested: with test gas, today."""

    kind: Literal["gas checked"] = "gas checked"
    place: GasPlace = GasPlace.NOT_SAID
    oxygen_percent: float | None = None
    lel_percent: float | None = None
    h2s_ppm: float | None = None
    meter: str = ""
    bump_tested: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonalLockOn(Step):
    """Who works on it hung a personal lock on the box. company: of a contractor; empty for the ship's own."""

    kind: Literal["personal lock on"] = "personal lock on"
    lock_no: str = ""
    company: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonalLockOff(Step):
    """A personal lock came off the box, by the hand that hung it."""

    kind: Literal["personal lock off"] = "personal lock off"


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened(Step):
    """The pump was opened. rinsed, drained_to: as told before rinsing was an act of its own."""

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
class MeasureAccepted(Step):
    """The chief engineer accepts a measure outside its limits, with a reason."""

    kind: Literal["measure accepted"] = "measure accepted"
    name: str
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PeopleClear(Step):
    """People and tools clear, covers on."""

    kind: Literal["people clear"] = "people clear"


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherHand:
    """Why a lock came off by another hand than the one that placed it: the documented exception.

    Source: 29 CFR 1910.147(e)(3), which takes maritime employment out of its scope: a model, not law aboard.
    """

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
    reason: str
    approved_by: str = ""
    """Name of who recorded it, where that person may approve it; nobody types it."""
    absence_checked: bool = False
    contact_tried: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class TagRemoved(Step):
    """A lock and tag came off. other_hand: when it was not the person who placed it."""

    kind: Literal["tag removed"] = "tag removed"
    point: str
    other_hand: OtherHand | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PeopleWarned(Step):
    """Those concerned were told that locks and tags are off, before the start; names."""

    kind: Literal["people told"] = "people told"
    names: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StartedLocally(Step):
    """Started at its own panel, watched: leaks looked for, current of each phase in ampere, turning the right way."""

    kind: Literal["started locally"] = "started locally"
    no_leak: bool = False
    turns_right: bool = False
    phase_ampere: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Returned(Step):
    """Back to AUTO: in use, not proved."""

    kind: Literal["returned"] = "returned"
    current_ampere: float | None = None
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tested(Step):
    """The test after the work. What a pull-down showed, none where not told: its seconds and the limit they have, the band
    in kPa below atmosphere, whether it was a quiet hour and the other pumps were stopped."""

    __test__: ClassVar[bool] = False
    kind: Literal["tested"] = "tested"
    result: Literal[Test.PASSED, Test.FAILED]
    text: str = ""
    pull_down_seconds: float | None = None
    limit_seconds: float | None = None
    from_vacuum_kpa: float | None = None
    to_vacuum_kpa: float | None = None
    quiet_hour: bool | None = None
    others_stopped: bool | None = None

    @property
    def slower_than_limit(self) -> bool:
        """True when the pull-down took longer than its limit: then it did not pass, whatever was told."""
        return (
            self.pull_down_seconds is not None
            and self.limit_seconds is not None
            and self.pull_down_seconds > self.limit_seconds
        )

    @property
    def passes(self) -> bool:
        """Told as passed, and not slower than its limit."""
        return self.result is Test.PASSED and not self.slower_than_limit


@dataclass(frozen=True, slots=True, kw_only=True)
class Reported(Step):
    """The work was reported. lowest_vacuum_kpa: the lowest the plant was seen at during the job."""

    kind: Literal["work reported"] = "work reported"
    text: str = ""
    lowest_vacuum_kpa: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Struck(Step):
    """The newest entry, by its number, was struck as entered by mistake. It stays on record; it says nothing of the plant."""

    kind: Literal["entry struck"] = "entry struck"
    number: int
    reason: str = ""


AnyStep = (
    PermitIssued
    | PermitClosed
    | MadeReady
    | Rinsed
    | TagPlaced
    | TagTakenOver
    | PointPasses
    | TestedDead
    | StartTried
    | NoVoltage
    | VacuumLetOut
    | GasChecked
    | PersonalLockOn
    | PersonalLockOff
    | Opened
    | Noted
    | MeasureAccepted
    | PeopleClear
    | TagRemoved
    | PeopleWarned
    | StartedLocally
    | Returned
    | Tested
    | Reported
    | Struck
)
"""Every kind of act; `kind` tells them apart."""
