"""What a job sheet asks for, and the pick list of what a person sees. Data, in the vessel document; pure values."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import ClassVar

_STRICT: dict[str, str] = {"extra": "forbid"}


class Phase(StrEnum):
    """At which place of the work a step of the sheet stands."""

    BEFORE = "before isolating"
    ISOLATED = "isolated"
    OPEN = "open"
    CLOSED = "closed up"
    BACK = "back in use"


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetStep:
    """A step of the sheet. when: its place in the work, none where no pump is opened.

    act: the kind of act that it is; then it is told by that act and never ticked by itself.
    """

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
    text: str
    when: Phase | None = None
    act: str = ""


def sheet_steps(given: Iterable[str | SheetStep], *, takes_pump_out: bool) -> tuple[SheetStep, ...]:
    """The steps of a sheet; one that is given as a text alone is work on the open pump where one is opened."""
    plain = Phase.OPEN if takes_pump_out else None
    return tuple(SheetStep(text=one, when=plain) if isinstance(one, str) else one for one in given)


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureAsked:
    """A measure the sheet asks for, with its limits; none: not limited on that side.

    nameplate: the limit stands on the nameplate (motor current): nobody accepts a figure above it.
    """

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
    name: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    nameplate: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PartNeeded:
    """A part that should be aboard before the job begins, and how many."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
    name: str
    quantity: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingKind:
    """What a person sees, in the words of the pick list, and what stands behind it: failure mode, mechanism, cause.

    Source of the three levels: ISO 14224:2016, 9.6 and annex B (the idea; words and list are our own).
    """

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
    seen: str
    mode: str = ""
    mechanism: str = ""
    cause: str = ""


def _seen(seen: str, mode: str, mechanism: str, cause: str) -> FindingKind:
    return FindingKind(seen=seen, mode=mode, mechanism=mechanism, cause=cause)


FINDINGS = (
    _seen("as it should be", "none", "none", "none"),
    _seen("knife edges dull", "low output", "wear", "running hours"),
    _seen("knife edge chipped or broken", "low output", "breakage", "foreign object"),
    _seen("knife gap too wide", "low output", "wear", "running hours"),
    _seen("jammed by a foreign object", "does not start", "blockage", "misuse of a toilet"),
    _seen("cloth or wipes wound round the rotor", "low output", "blockage", "misuse of a toilet"),
    _seen("scale on the casing or rotor", "low output", "fouling", "urine scale, no descaling"),
    _seen("grease or paper packed in the suction", "low output", "fouling", "use of the system"),
    _seen("seal drips more than allowed", "leaks outward", "wear", "running hours"),
    _seen("seal runs dry", "leaks outward", "overheating", "seal water lost"),
    _seen("seal faces scored", "leaks outward", "wear", "grit in the seal water"),
    _seen("rotor or liner worn", "low output", "wear", "running hours"),
    _seen("bearing rough or hot", "noise or vibration", "wear", "lubrication"),
    _seen("coupling or shaft worn", "noise or vibration", "wear", "alignment"),
    _seen("corroded", "leaks outward", "corrosion", "cleaning agent or age"),
    _seen("non-return valve leaks back", "vacuum not held", "wear", "foreign object"),
    _seen("suction line or joint draws air", "vacuum not held", "leakage", "joint or gasket"),
    _seen("motor current too high", "trips", "overload", "not found"),
    _seen("switch or sensor out of set", "false or no signal", "out of adjustment", "drift"),
    _seen("wiring or contactor burnt", "does not start", "electrical fault", "age or damp"),
    _seen("other, see the remark", "other", "not known", "not known"),
)
"""The list that stands where a ship gives none. Common practice, no source."""


def finding_kind(kinds: tuple[FindingKind, ...], seen: str) -> FindingKind | None:
    """What stands behind the words that were picked, or none when they are not of the list."""
    wanted = seen.strip().casefold()
    return next((kind for kind in kinds if kind.seen.casefold() == wanted), None)
