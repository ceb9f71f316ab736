"""What may stand against an act: every reason as a fact, a code with its figures. Words are made elsewhere, last."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Any

from scheduler.domain.vessel.isolation import IsolationPoint, PointRole
from scheduler.domain.vessel.sheets import SheetStep

Figure = str | float | bool | datetime | tuple[str, ...] | tuple[tuple[datetime, datetime], ...]


class Against(StrEnum):
    """Every reason there is. What each says stands in `wording.work`."""

    NOBODY = "nobody"
    NO_NUMBER = "no number"
    OPEN_ALREADY = "open already"
    NOT_VALID = "not valid"
    NO_PERMIT = "no permit"
    PERMIT_BEFORE_FAILURE = "permit of before the failure"
    PERMIT_BEFORE_RELIEF = "permit of before the relief"
    COMPANY_NOT_ON_PERMIT = "company not on the permit"
    NOT_ON_PERMIT = "point that passes not on the permit"
    STANDBY_NOT_SEEN = "stand-by not seen"
    ROOM_GAS_NOT_READ = "gas in the room not read"
    FLUSHING_LOCKED = "flushing locked already"
    BILGE = "bilge"
    NO_POINT = "no point"
    HANGS_ALREADY = "hangs already"
    NO_NUMBERS = "lock or tag without number"
    LOCK_TWICE = "one lock at two points"
    TWO_BOXES = "two lock boxes"
    BELOW_MINIMUM = "below minimum"
    NO_TAG = "no tag"
    POINT_NOT_LOCKED = "point not locked"
    POINT_NOT_KNOWN = "point not known"
    PASSES = "point passes"
    NOTHING_INSTEAD = "nothing instead of a point that passes"
    CONTROL_OFF = "control supply off"
    BREAKER_NOT_LOCKED = "breaker not locked"
    ONE_BY_ONE = "proofs are told one by one"
    START_NOT_TRIED = "start not tried"
    VOLTAGE_NOT_READ = "no voltage not proved"
    METER_NOT_PROVED = "voltage meter not proved"
    VALVES_NOT_LOCKED = "valves not locked"
    VACUUM_NOT_OUT = "stored vacuum not let out"
    NO_GAS_CHECK = "no gas check"
    NOT_AT_COVER = "gas not read at the cover"
    GAS_OLD = "gas reading too old"
    GAS = "gas"
    NO_METER = "gas meter not named"
    NO_BUMP_TEST = "gas meter not bump tested"
    NOT_RINSED = "not rinsed"
    NO_PERSONAL_LOCK = "no personal lock"
    HAS_PERSONAL_LOCK = "personal lock hangs already"
    NOT_OPEN = "not open"
    STILL_OPEN = "still open"
    BY_ITS_ACT = "told by its own act"
    NOT_ISOLATED = "not isolated yet"
    ISOLATED_ALREADY = "isolated already"
    NOT_CLEAR = "not clear"
    PERSONAL_LOCKS_HANG = "personal locks hang"
    NOT_ITS_TURN = "not its turn"
    OTHER_HAND = "other hand"
    EXCEPTION_LACKS = "exception lacks"
    RELIEVES_NOBODY = "relieves nobody"
    TAG_HANGS = "tag hangs"
    NOBODY_TOLD = "nobody told"
    NOT_STARTED_LOCALLY = "not started locally"
    NOT_RETURNED = "not returned"
    TEST_NOT_PASSED = "test not passed"
    SLOWER = "slower than its limit"
    NO_MEASURE = "no such measure"
    NOT_OUT_OF_LIMIT = "not out of limit"
    NAMEPLATE = "nameplate is not exceeded"
    NO_REASON = "no reason"
    OUT_OF_LIMIT = "out of limit"
    NEVER_RECORDED = "never recorded"
    PERMIT_OPEN = "permit open"
    TEST_FAILED = "test failed"
    NOTHING_TO_STRIKE = "nothing to strike"
    NOT_THE_NEWEST = "not the newest entry"
    TOO_LATE = "too late to strike"
    TAKES_GROUND = "takes away what a later act rests on"
    PAPER_ORDER = "before what it rests on, on paper"
    STAYS = "a signature, a decision or a flag stays"


@dataclass(frozen=True, slots=True)
class Objection:
    """Why an act does not go. facts: its figures. impossible: it cannot have happened, not even as a fact."""

    code: Against
    facts: Mapping[str, Figure] = field(default_factory=dict)
    impossible: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Procedure:
    """How the ship does it, and what the sheet of this job asks for.

    points: those of the sheet that are fitted on this pump. not_fitted: those that are not, with two signatures, each with
    the instant of the second. gas_minutes: how old a reading of the gas meter may be when the pump is opened.
    own_tag_only: a lock comes off by the hand that placed it, else by the documented exception. nameplate: measures that
    nobody accepts above their limit.
    """

    points: tuple[IsolationPoint, ...] = ()
    own_tag_only: bool = True
    permit_needed: bool = True
    h2s_limit_ppm: float | None = None
    gas_minutes: int = 30
    sheet: tuple[SheetStep, ...] = ()
    nameplate: frozenset[str] = frozenset()

    def of_role(self, *roles: PointRole) -> tuple[str, ...]:
        """Names of the points of these roles."""
        return tuple(point.name for point in self.points if point.role in roles)


@dataclass(frozen=True, slots=True, kw_only=True)
class BelowMinimum:
    """Taking the pump out would break the minimum. holds: stretches of starts that would not."""

    hours: int
    lacking_m3_per_h: float
    label: str
    at: datetime
    holds: tuple[tuple[datetime, datetime], ...] = ()

    def objection(self) -> Objection:
        """What stands against taking the pump out."""
        return Objection(
            Against.BELOW_MINIMUM,
            {
                "hours": float(self.hours),
                "lacking_m3_per_h": self.lacking_m3_per_h,
                "label": self.label,
                "at": self.at,
                "holds": self.holds,
            },
        )


def to_plain(one: Objection) -> dict[str, object]:
    """An objection as JSON holds it: the code, and its figures under their names."""
    return {"code": one.code.value, **{name: _plain(value) for name, value in one.facts.items()}}


def from_plain(given: Mapping[str, Any]) -> Objection:
    """The objection that `to_plain` made this of."""
    facts = {name: _figure(value) for name, value in given.items() if name != "code"}
    return Objection(Against(given["code"]), facts)


def _plain(value: object) -> object:
    if isinstance(value, datetime):
        return {"instant": value.isoformat()}
    return [_plain(one) for one in value] if isinstance(value, tuple) else value


def _figure(value: Any) -> Any:
    if isinstance(value, dict):
        return datetime.fromisoformat(value["instant"])
    return tuple(_figure(one) for one in value) if isinstance(value, list) else value
