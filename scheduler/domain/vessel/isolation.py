"""Where a pump is isolated: the points of the sheet, what each is, and the order in which locks come off. Data of the ship."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import ClassVar

_STRICT: dict[str, str] = {"extra": "forbid"}


class PointRole(StrEnum):
    """What a point isolates; what the order of proofs hangs on."""

    SUPPLY = "supply"
    CONTROL = "control"
    SELECTOR = "selector"
    SUCTION = "suction"
    DISCHARGE = "discharge"
    FLUSHING = "flushing"
    OTHER = "other"


@dataclass(frozen=True, slots=True, kw_only=True)
class IsolationPoint:
    """A point that is locked and tagged. off: its place when locks come off, lowest first; the suction is always last."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
    name: str
    role: PointRole = PointRole.OTHER
    off: int = 0


POINTS = (
    IsolationPoint(name="supply breaker", role=PointRole.SUPPLY, off=3),
    IsolationPoint(name="control and heater supply", role=PointRole.CONTROL, off=4),
    IsolationPoint(name="selector to OFF", role=PointRole.SELECTOR, off=5),
    IsolationPoint(name="suction valve", role=PointRole.SUCTION, off=6),
    IsolationPoint(name="discharge valve", role=PointRole.DISCHARGE, off=2),
    IsolationPoint(name="flushing or seal water", role=PointRole.FLUSHING, off=1),
)
"""Where a macerating vacuum pump is isolated, an example. A non-return valve is no isolation. Common practice, no source."""

_KNOWN = {point.name: point for point in POINTS}


def points_of(given: Iterable[str | IsolationPoint]) -> tuple[IsolationPoint, ...]:
    """The points of a plant; one that is given by its name alone is one of the example's, or of no known role."""
    return tuple(_KNOWN.get(one, IsolationPoint(name=one)) if isinstance(one, str) else one for one in given)


def off_order(points: Iterable[IsolationPoint]) -> tuple[str, ...]:
    """The names in the order in which locks come off: as the sheet says, the suction last of all."""
    numbered = list(enumerate(points))
    ranked = sorted(numbered, key=lambda one: (one[1].role is PointRole.SUCTION, one[1].off, one[0]))
    return tuple(point.name for _, point in ranked)
