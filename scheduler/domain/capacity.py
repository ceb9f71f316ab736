"""Vacuum capacity: measured or rated per pump, the minimum over time. Swept and free volumes never mix."""

from dataclasses import dataclass
from datetime import datetime

ATMOSPHERE_KPA = 101.325
"""Standard atmosphere, kPa. Source: definition of the standard atmosphere (from memory)."""


@dataclass(frozen=True, slots=True, order=True)
class Swept:
    """Volume swept at suction pressure, m3/h. What a pull-down test gives; capacities and minimum are stored so."""

    m3_per_h: float


@dataclass(frozen=True, slots=True, order=True)
class Free:
    """Free air at atmospheric pressure, m3/h. What fixtures admit."""

    m3_per_h: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Outage:
    """A stretch in which a pump counts for less than its capacity: a fact, not a plan.

    to_at none: until further notice. counts_for is what it still gives: nothing while down, the provisional derate
    while returned and not proved.
    """

    pump: str
    from_at: datetime
    to_at: datetime | None
    counts_for: Swept
    reason: str
