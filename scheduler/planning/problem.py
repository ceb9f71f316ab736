"""The stagger problem and its answer as frozen values on a grid of whole UTC hours (steps from `starts_at`).

Capacities are whole litres of swept volume an hour: pumps rounded down, minimum rounded up.
"""

from dataclasses import dataclass, field
from datetime import datetime


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Derated:
    """Steps [from_step, to_step) in which a pump counts for `litres_per_h` only (0: down). A fact, not a slot."""

    from_step: int
    to_step: int
    litres_per_h: int


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class PumpCapacity:
    """A pump, its capacity, and the stretches in which it is down or not proved."""

    pump: str
    litres_per_h: int
    derated: tuple[Derated, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class MinimumStretch:
    """Steps [from_step, to_step) and the minimum in them. Stretches cover the grid without gap or overlap."""

    from_step: int
    to_step: int
    litres_per_h: int
    label: str = "minimum"


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class CrewStretch:
    """Steps [from_step, to_step) and the hands at work in them; steps outside every stretch have 0 hands."""

    from_step: int
    to_step: int
    hands: int


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class PlanJob:
    """One occurrence to place.

    key: the occurrence key. pump: the pump it takes out, none when it takes none. work_steps: hours of work; a job that
    is not finished when the hands stop goes on when they are back, the pump being out throughout. Steps may be negative
    or beyond the grid for `ideal`, `due` and `limit`. after / interval_steps: key of the previous occurrence and the
    steps from its end to this one's due point (a chain). fixed_start: pinned (frozen zone). published_start: date shown
    before, worth keeping.
    """

    key: str
    pump: str | None
    work_steps: int
    hands: int
    earliest: int
    ideal: int
    due: int
    limit: int
    after: str | None = None
    interval_steps: int | None = None
    fixed_start: int | None = None
    published_start: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """Everything the planner may know. Two equal problems have equal digests, whatever order their parts came in."""

    starts_at: datetime
    steps: int
    pumps: tuple[PumpCapacity, ...]
    minimum: tuple[MinimumStretch, ...]
    crew: tuple[CrewStretch, ...]
    start_steps: tuple[int, ...]
    jobs: tuple[PlanJob, ...]


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Slot:
    """A planned outage: steps [start, end). least_margin_litres_per_h: smallest available minus minimum inside it."""

    key: str
    pump: str | None
    start: int
    end: int
    least_margin_litres_per_h: int


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Shortfall:
    """What the plan could not give, as a fact: a job without a place, or a deficit that no slot causes.

    key: the job, none for a deficit of the plant itself. steps: (from, to) stretches concerned. lacking_litres_per_h:
    the most that is missing in them (0 when the bar was not capacity). says: one plain sentence.
    """

    key: str | None
    pump: str | None
    steps: tuple[tuple[int, int], ...]
    lacking_litres_per_h: int
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TierResult:
    """One tier of the search: its value, the proven bound, and whether the value is proven best."""

    tier: int
    name: str
    value: int
    bound: float
    proven: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Slots and shortfalls, with how they were found. by: "solver" or "greedy"; proven: every tier was proved."""

    problem_digest: str
    slots: tuple[Slot, ...]
    shortfalls: tuple[Shortfall, ...]
    tiers: tuple[TierResult, ...] = ()
    by: str = "solver"
    proven: bool = False
    solver: str = ""
    remarks: tuple[str, ...] = field(default=())
