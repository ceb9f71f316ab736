"""The stagger problem and its answer as frozen values on a grid of whole UTC hours (steps from `starts_at`).

Capacities are whole litres of swept volume an hour: pumps rounded down, minimum rounded up.

Nothing here knows ships: a set of another trade (generating units in weeks, machines in shifts) is a problem too. A unit is a
pump, a week a step, its outage a job of as many `work_steps`; demand and reserve are the minimum, week by week; a window is
`earliest` and `limit` (soft: in its window means no days past the limit, proven); crew by week of the work is `hands_by_step`;
units that exclude each other are `not_together`; precedence is `after` without an interval. Days and weeks that the tiers count
are always of 24 steps. `tests/external/planner/units.py` maps such a set, and says what the planner does not know.
"""

from collections import Counter as Tally
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

from scheduler.planning.problem.facts import Blocker


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Derated:
    """Steps [from_step, to_step) in which a pump counts for `litres_per_h` only (0: down). A fact, not a slot.

    back: what its end rests on: "" known, "expected" as somebody said, "assumed" where nobody did.
    """

    from_step: int
    to_step: int
    litres_per_h: int
    back: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class PumpCapacity:
    """A pump, its capacity, and the stretches in which it is down or not proved."""

    pump: str
    litres_per_h: int
    derated: tuple[Derated, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class MinimumStretch:
    """Steps [from_step, to_step) and the minimum in them. Stretches cover the grid without gap or overlap.

    pumps: how many pumps must be there as well, whatever they give; 0 for no such rule.
    """

    from_step: int
    to_step: int
    litres_per_h: int
    label: str = "minimum"
    pumps: int = 0


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class CrewStretch:
    """Steps [from_step, to_step) and the hands at work in them; steps outside every stretch have 0 hands."""

    from_step: int
    to_step: int
    hands: int


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class ClosedStretch:
    """Steps [from_step, to_step) in which nobody opens a pump though `hands` would be at work: port arrival, quiet period.

    It binds nothing by itself (the crew has no hands in it): it says why, and what there would be if somebody decided so.
    """

    from_step: int
    to_step: int
    hands: int
    label: str


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Occasion:
    """Steps [from_step, to_step) in which something a job may need is there: port, sea, a service engineer."""

    need: str
    from_step: int
    to_step: int


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class QuietStretch:
    """Steps [from_step, to_step) in which pumps may be stopped for a short test of at most `most_minutes`.

    consent: who agreed and when; a stretch without it allows nothing.
    """

    from_step: int
    to_step: int
    most_minutes: int
    consent: str


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class NotTogether:
    """Pumps of which at most `most_out` may be open at once, whatever the capacity: one valve, one starter panel."""

    pumps: tuple[str, ...]
    most_out: int


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class PlanJob:
    """One occurrence to place.

    key: the occurrence key. pump: the pump it takes out, none when it takes none. work_steps: hours of work, at least
    1; work is done in steps that have `hands` at work; a job that is not finished when the hands stop goes on when they
    are back, the pump being out throughout. Steps may be negative or beyond the grid for `ideal`, `due` and `limit`; a
    job is in time when it ends by `limit`. after / interval_steps: key of the previous occurrence and the steps from
    its end to this one's due point (a chain): it may not start before that end, and its limit is never later than that
    end + interval_steps + (limit - due). fixed_start: pinned (frozen zone); negative when it began before the grid, and
    then work_steps is the work left from step 0. A pinned start need be no allowed start. published_start: date shown
    before, worth keeping; it stays a start while it lies no more than EARLY_KEPT steps before `earliest`. kept_start: date
    in the frozen zone, to be kept unless it has become impossible; it need be no allowed start. all_closed: no pump may be
    open meanwhile.
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
    setup_steps: int = 0
    hands_by_step: tuple[int, ...] = ()
    needs: tuple[str, ...] = ()
    parts_from: int | None = None
    stop_minutes: int = 0
    tested: str | None = None
    kept_start: int | None = None
    all_closed: bool = False


EARLY_KEPT = 24
"""Steps by which a date shown before may lie before the window as reckoned now: forecasts breathe from day to day."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """Everything the planner may know. Two equal problems have equal digests, whatever order their parts came in.

    Where stretches overlap against their contract, the stricter one counts: fewest hands, least capacity, highest
    minimum. Steps outside every minimum stretch have minimum 0.

    person_hours: hours a day that one person works at most, 24 for no bound: a job is worked on for no longer in a day,
    and all jobs of a day together take no more than that times its most hands. first_midnight: a step, 0 to 23, at which
    a ship's day begins, and one every 24 after it; where the ship's clock changes meanwhile, day_starts has them all. avoid_nights:
    a pump is better not left open overnight. even_margin: of plans as good in all else the one with the evenest margin.

    Raises ValueError when starts_at is not aware, a pump id or job key comes twice, or a figure is below 0.
    """

    starts_at: datetime
    steps: int
    pumps: tuple[PumpCapacity, ...]
    minimum: tuple[MinimumStretch, ...]
    crew: tuple[CrewStretch, ...]
    start_steps: tuple[int, ...]
    jobs: tuple[PlanJob, ...]
    person_hours: int = 24
    first_midnight: int = 0
    occasions: tuple[Occasion, ...] = ()
    quiet: tuple[QuietStretch, ...] = ()
    not_together: tuple[NotTogether, ...] = ()
    closed: tuple[ClosedStretch, ...] = ()
    day_starts: tuple[int, ...] = ()
    avoid_nights: bool = False
    even_margin: bool = False

    def __post_init__(self) -> None:
        if self.starts_at.tzinfo is None:
            raise ValueError("a problem needs an aware instant for starts_at")
        for what, names in (("pump", [p.pump for p in self.pumps]), ("job", [j.key for j in self.jobs])):
            twice = sorted(name for name, times in Tally(names).items() if times > 1)
            if twice:
                raise ValueError(f"a problem names each {what} once; {', '.join(twice)} came more than once")
        for pump in self.pumps:
            _not_below_0(f"pump {pump.pump}: litres_per_h", pump.litres_per_h)
            for derated in pump.derated:
                _not_below_0(f"pump {pump.pump} while it counts for less: litres_per_h", derated.litres_per_h)
        for minimum in self.minimum:
            _not_below_0(f"minimum ({minimum.label}): litres_per_h", minimum.litres_per_h)
        for crew in self.crew:
            _not_below_0(f"crew from step {crew.from_step}: hands", crew.hands)
        for job in self.jobs:
            _not_below_0(f"job {job.key}: hands", min((job.hands, *job.hands_by_step)))
            if job.hands_by_step and len(job.hands_by_step) != job.work_steps:
                raise ValueError(
                    f"job {job.key}: hands for each of {job.work_steps} steps of work were expected, "
                    f"{len(job.hands_by_step)} came; give one figure a step or none"
                )
        if not 1 <= self.person_hours <= 24:
            raise ValueError(f"person_hours: 1 to 24 was expected, {self.person_hours} came")


def _not_below_0(what: str, figure: int) -> None:
    if figure < 0:
        raise ValueError(f"{what}: 0 or more was expected, {figure} came; correct the figure")


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Slot:
    """A planned outage: steps [start, end). least_margin_litres_per_h: smallest available minus minimum inside it.

    isolation_of: key of the job whose isolation it goes on with, none when it has its own.
    """

    key: str
    pump: str | None
    start: int
    end: int
    least_margin_litres_per_h: int
    isolation_of: str | None = None


class ShortCode(StrEnum):
    """Kinds of shortfalls."""

    BELOW = "below the minimum"
    NO_PLACE = "no place"
    NOT_PLANNED = "not planned yet"
    SLOT_PASSED = "slot has passed"
    AS_STORED = "sentence stored before"


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Shortfall:
    """What the plan could not give, as a fact: a job without a place, or a deficit that no slot causes.

    key: the job, none for a deficit of the plant itself. steps: (from, to) stretches concerned. lacking_litres_per_h:
    the most that is missing in them (0 when the bar was not capacity). Of a deficit: causes, the pumps that count for less;
    the minimum at its worst, and its label. Of a job: its work and hands (most_hands: of the crew, where those are fewer); what
    forbids its starts, the weightiest, and how many more things do; start: the date it cannot keep, or that has passed, with who
    pinned it there and by which move. text: the sentence of a plan stored before there were facts.
    """

    key: str | None
    pump: str | None
    steps: tuple[tuple[int, int], ...]
    lacking_litres_per_h: int
    code: ShortCode = ShortCode.NO_PLACE
    causes: tuple[str, ...] = ()
    minimum_litres_per_h: int = 0
    label: str = ""
    work_steps: int = 0
    hands: int = 0
    most_hands: int | None = None
    blockers: tuple[Blocker, ...] = ()
    more: int = 0
    start: int | None = None
    pinned_by: str = ""
    move: int = 0
    text: str = ""

    def shifted(self, steps: int) -> "Shortfall":
        """The same on a grid that begins so many steps later."""
        return replace(
            self,
            steps=tuple((first - steps, last - steps) for first, last in self.steps),
            blockers=tuple(one.shifted(steps) for one in self.blockers),
            start=None if self.start is None else self.start - steps,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class TierResult:
    """One tier of the search: its value, the proven bound, and whether the value is proven best."""

    tier: int
    name: str
    value: int
    bound: float
    proven: bool


class RemarkCode(StrEnum):
    """What is said of how a plan was made, beside its figures."""

    UNUSABLE = "answer not usable"
    STOPPED = "stopped before proof"
    NOT_STARTED = "planner not started"
    ENDED = "planner ended"
    TOO_LONG = "planner took too long"
    UNREAD = "answer not read"
    OTHER = "another problem answered"
    BY_HAND = "set by hand"
    AS_STORED = "sentence stored before"


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """One thing to say of how a plan was made.

    UNUSABLE, STOPPED: tier (number and name), value and bound; ended: how the solver ended. ENDED: number is the exit code.
    NOT_STARTED: text is the system's reason. TOO_LONG: number in seconds. BY_HAND: key of the job, its start
    step, number of the move, text who set it. AS_STORED: text is the sentence.
    """

    code: RemarkCode
    tier: int = 0
    name: str = ""
    value: int = 0
    bound: float = 0.0
    ended: str = ""
    number: int = 0
    key: str = ""
    step: int = 0
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Slots and shortfalls, with how they were found. by: "solver" or "greedy"; proven: every tier was proved.

    The last three are of a plan that was made again because its own outages move the dates it rests on: moved_by: (job
    key, steps) by which due point and window were moved. unsettled: (job key, days) by which a date may still move. asked:
    digest of the problem as first put, empty when nothing was moved.
    """

    problem_digest: str
    slots: tuple[Slot, ...]
    shortfalls: tuple[Shortfall, ...]
    tiers: tuple[TierResult, ...] = ()
    by: str = "solver"
    proven: bool = False
    solver: str = ""
    remarks: tuple[Remark, ...] = ()
    moved_by: tuple[tuple[str, int], ...] = ()
    unsettled: tuple[tuple[str, int], ...] = ()
    asked: str = ""
