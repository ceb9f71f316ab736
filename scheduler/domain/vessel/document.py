"""The vessel document: how a ship's vacuum plant is set up. What happens later is an event, never an edit of this.

The same frozen dataclasses serve the HTTP door, the command line and the domain: pydantic checks the shape from them,
`faults_of` checks the sense and answers in words. Instants are aware UTC and end in `_at`; ship dates end in `_on`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import ClassVar

from scheduler.domain.base.enums import Subject
from scheduler.domain.vessel.isolation import POINTS, IsolationPoint, points_of
from scheduler.domain.vessel.sheets import (
    FINDINGS,
    FindingKind,
    MeasureAsked,
    PartNeeded,
    Phase,
    SheetStep,
    sheet_steps,
)

_STRICT: dict[str, str] = {"extra": "forbid"}


@dataclass(frozen=True, slots=True, kw_only=True)
class MinimumBlock:
    """A stretch with its own minimum capacity: full ship, busy hours, port, lay-up (0).

    Matches the ship's calendar dates `from_on`..`to_on` (both included; none: every date) and, within them, the ship's
    hours `from_hour`..`to_hour` (0 to 24, end excluded; from > to runs over midnight). The last block that matches counts.
    """

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
    minimum_swept_m3_per_h: float
    label: str
    from_on: date | None = None
    to_on: date | None = None
    from_hour: int = 0
    to_hour: int = 24
    minimum_pumps: int = 0
    """So many pumps must be there as well (n of m), whatever they give; 0: no such rule."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoWork:
    """A stretch in which nobody opens a pump: port arrival, quiet period, pilotage."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
    from_at: datetime
    to_at: datetime
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CrewBlock:
    """Hands that differ from the rule: one more on some dates, night work, nobody on a holiday (0).

    Matches dates and hours as a MinimumBlock does; the last block that matches counts.
    """

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
    hands: int
    label: str
    from_on: date | None = None
    to_on: date | None = None
    from_hour: int = 0
    to_hour: int = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Crew:
    """One maintenance crew: hands, the ship's working hours (end excluded), the hours at which a job may start.

    hours_a_person: what one person works in a day at most. rest_periods, rest_week_hours: in how many periods the 10 hours of
    rest of any 24 lie at most, and the least hours in 7 days; other than 2 and 77 only by an exception of the flag.
    """

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
    hands: int = 2
    work_from_hour: int = 8
    work_to_hour: int = 17
    start_hours: tuple[int, ...] = (8, 13)
    no_work: tuple[NoWork, ...] = ()
    blocks: tuple[CrewBlock, ...] = ()
    hours_a_person: int = 8
    rest_periods: int = 2
    rest_week_hours: int = 77
    close_overnight: bool = True
    """A pump is better not left open overnight, where a date as good otherwise closes it the same day; the ship says."""

    @property
    def most_hands(self) -> int:
        """The most hands there ever are, 0 or more."""
        return max(self.hands, *(block.hands for block in self.blocks), 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class QuietHours:
    """Ship's hours in which pumps may be stopped for a short test, `most_stop_minutes` at a time.

    consent: who agreed, and when; without it no test is planned. Matches dates and hours as a MinimumBlock does.
    """

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
    most_stop_minutes: int
    consent: str
    from_on: date | None = None
    to_on: date | None = None
    from_hour: int = 0
    to_hour: int = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class EngineerVisit:
    """A stretch in which a service engineer is aboard."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
    from_at: datetime
    to_at: datetime
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PortStay:
    """A stay in port by the hour, as a ferry has several a day; where a plant has any, "port" is these and not whole days."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
    from_at: datetime
    to_at: datetime
    port: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Branch:
    """Positions that share a valve or a starter panel: no more than `most_open` of their pumps are open at once."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
    positions: tuple[str, ...]
    most_open: int
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Position:
    """A place for a pump (VP1..VP8); owns the starter and usually the counter."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
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

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
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

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
    id: str
    kind: str
    name: str
    was: str = ""
    """The id it had before, where it was renamed: what was kept under that goes on under this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """Which pump stood in which position, from an instant to an instant (none: still)."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
    pump: str
    position: str
    from_at: datetime
    to_at: datetime | None = None
    opening_running_hours: float = 0.0
    """Hours the pump had run before this stay that no other stay accounts for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitting:
    """Which part sat in which pump, and the hours it had run before that no other fitting accounts for."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
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

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
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


@dataclass(frozen=True, slots=True, kw_only=True)
class JobKind:
    """A kind of maintenance job. Due at the earlier of its running hours and its calendar interval.

    takes_hours is working time with isolation and the test inside it, whole hours; setup_hours is the part of it that
    opens and shuts the pump, spared when the job goes on with another's isolation. needs: "port", "sea" or another kind
    of day, or "service engineer". stop_minutes: above 0 for a short test that stops pumps for so long. The window opens
    `window_*` before the due point; the limit is `tolerance_*` after it. `renews` lists the codes whose interval a done
    job of this kind starts anew besides its own. steps, measures, parts, tools: what its job sheet asks for.
    """

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
    code: str
    name: str
    subject: Subject
    takes_hours: int
    part_kind: str | None = None
    interval_running_hours: int | None = None
    interval_months: int | None = None
    interval_days: int | None = None
    window_running_hours: int = 0
    window_days: int = 0
    tolerance_running_hours: int = 0
    tolerance_days: int = 0
    hands: int = 1
    takes_pump_out: bool = True
    renews: tuple[str, ...] = ()
    setup_hours: int = 0
    needs: tuple[str, ...] = ()
    stop_minutes: int = 0
    pumps_closed: bool = False
    """No pump may be open meanwhile (a stand-by start, a hold test): all pumps in use are needed."""
    critical: bool = False
    class_item: bool = False
    note: str = ""
    steps: tuple[str | SheetStep, ...] = ()
    measures: tuple[MeasureAsked, ...] = ()
    parts: tuple[PartNeeded, ...] = ()
    tools: tuple[str, ...] = ()

    @property
    def sheet(self) -> tuple[SheetStep, ...]:
        """The steps of its sheet, each with its place in the work."""
        return sheet_steps(self.steps, takes_pump_out=self.takes_pump_out)


def _step(when: Phase, text: str, act: str = "") -> SheetStep:
    return SheetStep(text=text, when=when, act=act)


BREAKDOWN = JobKind(
    code="breakdown",
    name="Breakdown repair",
    subject=Subject.PUMP,
    takes_hours=4,
    steps=(
        _step(Phase.BEFORE, "Stand-by seen running, margin looked at, those concerned told.", "made ready"),
        _step(
            Phase.BEFORE, "Inlet shut, fresh water through, drained to the sewage tank or a closed container.", "rinsed"
        ),
        _step(Phase.ISOLATED, "Start tried at the locked breaker, control supply still on.", "start tried"),
        _step(Phase.ISOLATED, "No voltage at the terminals, all phases; meter proved before and after.", "no voltage"),
        _step(Phase.ISOLATED, "Gauge stays at zero with both valves shut; drained.", "vacuum let out"),
        _step(
            Phase.OPEN,
            "Find the cause before parts are changed; take out what does not belong there, write down what it was.",
        ),
        _step(Phase.OPEN, "Put right, close up, count tools and rags."),
        _step(Phase.CLOSED, "People and tools clear, personal locks off, then point by point.", "people clear"),
        _step(Phase.BACK, "Local start: leaks, current of the phases, turning. Then AUTO.", "started locally"),
        _step(Phase.BACK, "Pull-down over the plant's band at a quiet hour, the other pumps stopped.", "tested"),
    ),
    note="Not planned: it has no due point. The steps are an example (common practice, no source).",
)
"""The kind of job that a pump which failed is repaired by; reserved, no plant's document holds it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LastDone:
    """When a job was last done before this tool kept count: the first interval starts here."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
    kind: str
    subject: str
    done_at: datetime
    running_hours: float | None = None
    """Running hours of the subject at that time; none: taken from the ledger."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plant:
    """One receiver and the pumps that hold it under vacuum. Pressures in kPa below atmosphere (positive figures)."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
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
    crew: Crew = Crew()
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

    __pydantic_config__: ClassVar[Mapping[str, str]] = _STRICT
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


def caution_line(kind: JobKind) -> str:
    """The one caution line that stands wherever a job of this kind is shown. Common practice, no source."""
    if kind.takes_pump_out:
        return (
            "Permit, lock and tag first; vacuum broken, gas checked (O2, LEL, H2S); knives cut even at standstill. "
            "Maker's manual, ship's procedures, class and flag rules come first."
        )
    return (
        "Pumps start by themselves; keep clear, warn those aboard of the test. "
        "Maker's manual, ship's procedures, class and flag rules come first."
    )
