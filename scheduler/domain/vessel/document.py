"""The vessel document: how a ship's vacuum plant is set up. What happens later is an event, never an edit of this.

The same frozen dataclasses serve the HTTP door, the command line and the domain: pydantic checks the shape from them,
`faults_of` checks the sense and answers in words. Instants are aware UTC and end in `_at`; ship dates end in `_on`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import ClassVar

from scheduler.domain.vessel.crew import STRICT, Branch, Crew, EngineerVisit, MinimumBlock, PortStay, QuietHours
from scheduler.domain.vessel.isolation import POINTS, IsolationPoint, points_of
from scheduler.domain.vessel.job_kinds import BREAKDOWN, JobKind, LastDone
from scheduler.domain.vessel.sheets import FINDINGS, FindingKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Position:
    """A place for a pump (VP1..VP8); owns the starter and usually the counter."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = STRICT
    id: str
    name: str
    was: str = ""
    """The id it had before, where it was renamed: what was kept under that goes on under this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pump:
    """A pump with its serial number; moves between positions.

    Capacities are swept m3/h at the stop setpoint. `measured` is the latest passed pull-down test; without one the
    capacity is rated x derate.
    """

    __pydantic_config__: ClassVar[Mapping[str, str]] = STRICT
    id: str
    serial: str
    rated_swept_m3_per_h: float
    derate: float = 1.0
    measured_swept_m3_per_h: float | None = None
    measured_on: date | None = None
    was: str = ""
    """The id it had before, where it was renamed: what was kept under that goes on under this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A part with a life of its own (knife set, mechanical seal); sits in a pump."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = STRICT
    id: str
    kind: str
    name: str
    was: str = ""
    """The id it had before, where it was renamed: what was kept under that goes on under this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """Which pump stood in which position, from an instant to an instant (none: still)."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = STRICT
    pump: str
    position: str
    from_at: datetime
    to_at: datetime | None = None
    opening_running_hours: float = 0.0
    """Hours the pump had run before this stay that no other stay accounts for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitting:
    """Which part sat in which pump, and the hours it had run before that no other fitting accounts for."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = STRICT
    part: str
    pump: str
    from_at: datetime
    to_at: datetime | None = None
    opening_running_hours: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Counter:
    """A running-hour counter that posts cumulative counts, as first set up.

    seconds_per_count: 3600 for an hour register, 360 for tenths of an hour, 60 for minutes.
    modulus: counts at which it rolls over to 0, none if it does not. resolution: smallest step, in counts.
    primary: it counts for its position. Of several counters of a position one counts and the others check it.
    What changes later is an event of the counter, and never an edit here once it has readings: another scale or modulus
    (rescale), another counter of the position that counts from an instant on (primary), a new one in its place
    (replacement; it keeps its id). When each of these was in force follows from the events.
    """

    __pydantic_config__: ClassVar[Mapping[str, str]] = STRICT
    id: str
    position: str
    seconds_per_count: int = 3600
    modulus: int | None = None
    resolution: float = 1.0
    quiet_after_hours: int = 36
    """No reading for this long: the counter is called silent."""
    primary: bool = True
    was: str = ""
    """The id it had before, where it was renamed: what was kept under that goes on under this."""


BY_STARTS = "starts"
CONTROL_TURNS = ("not known", BY_STARTS, "hours", "time", "lead order")
"""How a control may let pumps take turns: by counted starts, by their hours, by the clock, or in an order set by hand."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plant:
    """One receiver and the pumps that hold it under vacuum. Pressures in kPa below atmosphere (positive figures)."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = STRICT
    id: str
    name: str
    receiver_m3: float
    start_vacuum_kpa: float
    stop_vacuum_kpa: float
    minimum_swept_m3_per_h: float
    positions: tuple[Position, ...]
    pumps: tuple[Pump, ...]
    stays: tuple[Stay, ...]
    counters: tuple[Counter, ...]
    job_kinds: tuple[JobKind, ...]
    minimum_label: str = "minimum"
    minimum_pumps: int = 0
    """So many pumps must be there as well (n of m), whatever they give; 0: no such rule."""
    minimum_blocks: tuple[MinimumBlock, ...] = ()
    parts: tuple[Part, ...] = ()
    fittings: tuple[Fitting, ...] = ()
    last_done: tuple[LastDone, ...] = ()
    crew: Crew = Crew()  # noqa: RUF009 - frozen
    quiet_hours: tuple[QuietHours, ...] = ()
    engineer_visits: tuple[EngineerVisit, ...] = ()
    port_stays: tuple[PortStay, ...] = ()
    branches: tuple[Branch, ...] = ()
    provisional_derate: float = 0.8
    """Share of its capacity that a pump counts for when returned and not yet proved."""
    isolation_points: tuple[str | IsolationPoint, ...] = POINTS
    permit_needed: bool = True
    own_tag_only: bool = True
    """A tag comes off by the hand that placed it (or the documented exception); the ship's own procedure may say other."""
    h2s_limit_ppm: float | None = None
    """The ship's own limit of hydrogen sulphide before opening, where it is lower than the published ones."""
    gas_minutes: int = 30
    """How old a reading of the gas meter may be when the pump is opened, and while it is open. Judgement, no source."""
    second_signer: str = "hotel"
    """Who signs a lower minimum beside the chief engineer: hotel, chief officer or master."""
    findings: tuple[FindingKind, ...] = FINDINGS
    even_margin: bool = False
    """Of plans that are as good in all else, the one with the evenest margin is made; it may take longer, and not be proved best."""
    control_turns: str = CONTROL_TURNS[0]
    """How control lets pumps take turns. By starts, a worn pump shows in its hours; by anything else they say nothing of it."""
    was: str = ""
    """The id it had before, where it was renamed: what was kept under that goes on under this."""

    @property
    def points(self) -> tuple[IsolationPoint, ...]:
        """Where its pumps are isolated, in the order of the sheet."""
        return points_of(self.isolation_points)

    def kind(self, code: str) -> JobKind:
        """The job kind with that code, or the reserved one. Raises KeyError when the plant has none."""
        for kind in (*self.job_kinds, BREAKDOWN):
            if kind.code == code:
                return kind
        raise KeyError(code)

    def pump_in(self, position: str, at: datetime) -> str | None:
        """Id of the pump that stood in `position` at `at`, or none."""
        return next((s.pump for s in self.stays if s.position == position and _during(s, at)), None)

    def position_of(self, pump: str, at: datetime) -> str | None:
        """Id of the position in which `pump` stood at `at`, or none (ashore, on the shelf)."""
        return next((s.position for s in self.stays if s.pump == pump and _during(s, at)), None)

    def pump_of_part(self, part: str, at: datetime) -> str | None:
        """Id of the pump in which `part` sat at `at`, or none."""
        return next((f.pump for f in self.fittings if f.part == part and _during(f, at)), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Vessel:
    """A ship with its vacuum plants. `imo` is the seven-digit number with its check digit."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = STRICT
    id: str
    name: str
    imo: str
    plants: tuple[Plant, ...]
    utc_offset_minutes: int = 0
    """Ship time when first set up; every later clock change is a record."""


def _during(span: Stay | Fitting, at: datetime) -> bool:
    return span.from_at <= at and (span.to_at is None or at < span.to_at)


def imo_number_holds(imo: str) -> bool:
    """True when the seven digits agree with their check digit.

    Source: IMO ship identification number scheme; published worked examples (9074729 -> 139 -> 9).

    >>> imo_number_holds("9074729"), imo_number_holds("9074728")
    (True, False)
    """
    if len(imo) != 7 or not (imo.isascii() and imo.isdigit()):
        return False
    return sum(int(d) * w for d, w in zip(imo, range(7, 1, -1), strict=False)) % 10 == int(imo[6])
