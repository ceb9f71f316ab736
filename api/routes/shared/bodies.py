"""Request bodies, checked for shape at the door; the actions check the sense. Instants carry their offset."""

from collections.abc import Iterator, Mapping
from datetime import UTC, date, datetime
from math import isfinite
from typing import Annotated, Literal

from pydantic import (
    AfterValidator,
    AwareDatetime,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    FiniteFloat,
    field_validator,
    model_validator,
)

from scheduler.domain.base.enums import Test
from scheduler.domain.voyage.stretches import MOST_SPELLS, Source
from scheduler.domain.work.acts import AnyStep
from scheduler.parsing import read_date

_EARLIEST, _LATEST = datetime(1970, 1, 1, tzinfo=UTC), datetime(2200, 1, 1, tzinfo=UTC)


def _sensible(at: datetime) -> datetime:
    """At the ends of the calendar a change of offset leaves it; no ship's record is there."""
    if not _EARLIEST <= at < _LATEST:
        raise ValueError("an instant from 1970 to 2199 is expected; check the year")
    return at


Instant = Annotated[AwareDatetime, AfterValidator(_sensible)]
"""An instant with its offset, within the years that a record can be of."""


def _ship_date(given: object) -> date:
    found = read_date(given) if isinstance(given, str) else None
    if found is None:
        raise ValueError("a ship's date in quotes is expected, such as 2026-11-25")
    return found


ShipDate = Annotated[date, BeforeValidator(_ship_date)]
"""A date of the ship's calendar."""
Words = Annotated[str, Field(max_length=5000)]
Name = Annotated[str, Field(min_length=1, max_length=200)]
Reason = Annotated[str, Field(max_length=1000)]


def _leaves(told: object) -> Iterator[object]:
    """Each text, figure and name anywhere in a JSON value."""
    if isinstance(told, Mapping):
        for pair in told.items():
            yield from (leaf for one in pair for leaf in _leaves(one))
    elif isinstance(told, list):
        yield from (leaf for one in told for leaf in _leaves(one))
    else:
        yield told


def _holds_nul(leaf: object) -> bool:
    """A NUL, which no database column and no file of ours takes."""
    return isinstance(leaf, str) and "\x00" in leaf


def _unwritable(leaf: object) -> bool:
    """Half a character, or a figure without end: no JSON of ours says it."""
    if isinstance(leaf, str):
        return any("\ud800" <= one <= "\udfff" for one in leaf)
    return isinstance(leaf, float) and not isfinite(leaf)


class Body(BaseModel):
    """Unknown members are refused, so that a typing error is not silently ignored."""

    model_config = ConfigDict(extra="forbid")

    @model_validator(mode="before")
    @classmethod
    def _plain(cls, given: object) -> object:
        bad = (
            [name for name, told in given.items() if any(map(_holds_nul, _leaves(told)))]
            if isinstance(given, Mapping)
            else []
        )
        if bad:
            raise ValueError(f"{', '.join(bad)}: text without a NUL character is expected; take it out")
        return given


class ReplacementBody(Body):
    """A counter was exchanged. old_final: what the old one showed at the end, if it could be read."""

    kind: Literal["replacement"]
    at: Instant
    old_final: FiniteFloat | None = None
    new_first: FiniteFloat
    reason: Reason


class RescaleBody(Body):
    """The counter counts otherwise from `at` on: scale, modulus, smallest step.

    old_final: what it showed at the end on the old scale, if it could be read. new_first: what it starts at on the new.
    """

    kind: Literal["rescale"]
    at: Instant
    seconds_per_count: Annotated[int, Field(ge=1)]
    modulus: Annotated[int, Field(ge=1)] | None = None
    resolution: Annotated[FiniteFloat, Field(gt=0)] = 1.0
    old_final: FiniteFloat | None = None
    new_first: FiniteFloat
    reason: Reason


class PrimaryBody(Body):
    """This counter is the one that counts for its position from `at` on; the others check it."""

    kind: Literal["primary"]
    at: Instant
    reason: Reason


class AdjustmentBody(Body):
    """Running hours that a person adds or takes away. Taken away, they wait until another person confirms."""

    kind: Literal["adjustment"]
    at: Instant
    hours: FiniteFloat
    reason: Reason


class OpeningBody(Body):
    """Running hours before the first reading."""

    kind: Literal["opening balance"]
    at: Instant
    hours: FiniteFloat
    reason: Reason


class StepBody(Body):
    """The counter was set at exactly this reading: what the jump is worth; the count goes on from it."""

    kind: Literal["step decision"]
    at: Instant
    hours: FiniteFloat
    reason: Reason


class BadReadingBody(Body):
    """The reading at exactly this instant is not to be used."""

    kind: Literal["bad reading"]
    at: Instant
    reason: Reason


class NothingMissingBody(Body):
    """The counter started again or was exchanged at exactly this instant, and no hours are missing."""

    kind: Literal["nothing missing"]
    at: Instant
    reason: Reason


EventBody = Annotated[
    ReplacementBody
    | RescaleBody
    | AdjustmentBody
    | OpeningBody
    | StepBody
    | BadReadingBody
    | PrimaryBody
    | NothingMissingBody,
    Field(discriminator="kind"),
]


class UndoBody(Body):
    """Why an event of a counter is undone."""

    reason: Reason


class ConfirmBody(Body):
    """What another person asked for is confirmed; the reason adds to theirs."""

    reason: Reason = ""


class DownBody(Body):
    """A pump is out of order since `at`. expected_at: when it is expected back, where that is known."""

    at: Instant
    reason: Reason
    expected_at: Instant | None = None


class ExpectedBody(Body):
    """When a pump that is out is expected back; null: not known any more."""

    expected_at: Instant | None


class RunsBody(Body):
    """A pump that was put out runs after all, untouched, since `at`."""

    at: Instant
    reason: Reason = ""


class BackBody(Body):
    """A pump is back. measured_swept_m3_per_h: what a passed pull-down test gave, at the stop setpoint."""

    at: Instant
    test: Test
    measured_swept_m3_per_h: Annotated[FiniteFloat, Field(gt=0, le=5000)] | None = None
    reason: Reason


class FiguresBody(Body):
    """A pull-down read off gauge and watch, one pump running; the hold with all pumps stopped. kPa below atmosphere."""

    from_vacuum_kpa: Annotated[FiniteFloat, Field(ge=0, lt=101)]
    to_vacuum_kpa: Annotated[FiniteFloat, Field(gt=0, lt=101)]
    seconds: Annotated[FiniteFloat, Field(gt=0, le=86400)]
    hold_rise_kpa: Annotated[FiniteFloat, Field(ge=-101, le=101)] | None = None
    hold_seconds: Annotated[FiniteFloat, Field(gt=0, le=604800)] | None = None


class PumpTestBody(Body):
    """A pump's pull-down test: figures, or a log as CSV text. result: as the tester judges by manual and procedures."""

    at: Instant
    result: Literal[Test.PASSED, Test.FAILED]
    done_by: Name
    figures: FiguresBody | None = None
    log: Annotated[str, Field(max_length=900_000)] | None = None
    ultimate_kpa: Annotated[FiniteFloat, Field(ge=0, lt=101)] = 0.0
    reason: Reason = ""


class CloseBody(Body):
    """A job is done. running_hours: of its subject at done_at; none: taken from the ledger at that time."""

    done_at: Instant
    done_by: Name
    test: Test
    checked_by: Name | None = None
    company: Annotated[str, Field(max_length=200)] = ""
    answers_for: Annotated[str, Field(max_length=200)] = ""
    from_paper: bool = False
    opened_at: Instant | None = None
    running_hours: FiniteFloat | None = None
    findings: Words = ""
    permit_no: Annotated[str, Field(max_length=100)] | None = None
    reason: Reason = ""


class WorkStepBody(Body):
    """A step of the work on a job. fact: it has happened, and is kept whatever stands against it."""

    step: Annotated[AnyStep, Field(discriminator="kind")]
    fact: bool = False

    @field_validator("step", mode="before")
    @classmethod
    def _kept(cls, given: object) -> object:
        if any(map(_unwritable, _leaves(given))):
            raise ValueError("whole characters and finite figures are expected; correct it")
        return given

    @model_validator(mode="after")
    def _instants(self) -> "WorkStepBody":
        for at in (self.step.at, getattr(self.step, "valid_to", None)):
            if at is not None:
                if at.tzinfo is None:
                    raise ValueError("instants of a step carry their offset, such as 2026-11-25T14:00:00Z")
                _sensible(at)
        return self


class StrikeBody(Body):
    """An entry made by mistake is struck; why."""

    reason: Reason = ""


class NotFittedBody(Body):
    """An isolation point that the pump has not."""

    point: Name
    reason: Reason


class NotFittedSignatureBody(Body):
    """The second signature under it: as office, or the master's with the name."""

    as_: Annotated[Literal["office", "master"], Field(alias="as")]
    name: Annotated[str, Field(max_length=200)] = ""


class DockBody(Body):
    """Jobs chosen for a stay in dock: their keys."""

    from_at: Instant
    to_at: Instant
    jobs: Annotated[list[Name], Field(min_length=1, max_length=200)]


class LeadOrderBody(Body):
    """In which order pumps start since then: names of positions, the one that leads first."""

    order: Annotated[list[Name], Field(min_length=1, max_length=16)]
    at: Instant


class PostponementBody(Body):
    """A later limit for a job. risk: what may happen meanwhile; mitigation: what is done about it."""

    to_at: Instant
    reason: Reason
    risk: Reason
    mitigation: Reason = ""


class ConcessionBody(Body):
    """A lower minimum for a stretch of time, swept m3/h."""

    from_at: Instant
    to_at: Instant
    minimum_swept_m3_per_h: FiniteFloat
    reason: Reason


class ConcessionSignatureBody(Body):
    """A signature under a concession; name: who signs second (the chief signs with the own name); master: name of the master,
    who signs in the chief's place while the link to the office is down."""

    as_: Annotated[Literal["chief", "hotel", "chief officer", "master"], Field(alias="as")]
    name: Annotated[str, Field(max_length=200)] = ""
    master: Annotated[str, Field(max_length=200)] = ""


class PartDateBody(Body):
    """From which ship's date the parts of a job are aboard; null takes the date back."""

    from_on: ShipDate | None
    note: Reason = ""


class FirstDateBody(Body):
    """On which ship's date a job first falls due that nobody knows when it was last done, and why that is soon enough.
    class_agreed: the class's agreement, needed for a class item."""

    on: ShipDate
    reason: Reason
    class_agreed: Reason = ""


class DecisionBody(Body):
    """A postponement granted or refused. class_agreed: the class's agreement, needed for a class item; master: name of the
    master, who decides while the link to the office is down."""

    granted: bool
    note: Reason = ""
    class_agreed: Reason = ""
    master: Annotated[str, Field(max_length=200)] = ""


class CauseBody(Body):
    """Why a non-conformity came about, and what is done so that it does not again."""

    cause: Reason
    corrective_action: Reason


class HandoverBody(Body):
    """What the one who takes over has to know."""

    text: Annotated[str, Field(max_length=5000)]


class ReviewBody(Body):
    """The chief's review of a month. month: as 2026-10."""

    month: Annotated[str, Field(pattern=r"^\d{4}-\d{2}$")]
    text: Words = ""


class ClogBody(Body):
    """A clog that was cleared: what it was, where, and when."""

    at: Instant
    object: Name
    riser: Reason = ""
    deck: Reason = ""
    text: Reason = ""


class PartBody(Body):
    """How many of a part are aboard, as counted."""

    name: Name
    aboard: int


class TakeBody(Body):
    """Which plan is taken: the digest as shown."""

    digest: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class MoveBody(Body):
    """Which job's slot is moved, and where it is to start: a whole hour. Why, in a few words; may be empty."""

    job: Name
    start_at: Instant
    reason: Reason = ""


class ClockBody(Body):
    """The ship's clock changes at an instant; minutes ahead of UTC from then on."""

    from_at: Instant
    utc_offset_minutes: int
    reason: Reason


class AddressBody(Body):
    """What the new address shows. vessel none: the whole fleet. kinds: job kind codes, none for all. days: how long it is good.
    alarm_hour: ship's hour of its reminders, on the evening before. days_ahead: open jobs of so many days only."""

    vessel: Name | None = None
    label: Annotated[str, Field(max_length=100)] = ""
    alarms: bool = False
    alarm_hour: Annotated[int, Field(ge=6, le=21)] = 18
    days_ahead: Annotated[int, Field(ge=1, le=180)] | None = None
    kinds: Annotated[list[Name], Field(max_length=100)] | None = None
    days: Annotated[int, Field(ge=1, le=3650)] | None = None


class StretchBody(Body):
    """A stretch of ship's days of one kind, both ends included. source: the log of days gone by, or the plan."""

    from_on: ShipDate
    to_on: ShipDate
    kind: Annotated[str, Field(max_length=100)]
    source: Source = Source.PLAN
    note: Words = ""


class KindOfDayBody(Body):
    """A kind of day. weight: running hours on such a day as a share of a day at sea."""

    code: Annotated[str, Field(max_length=100)]
    weight: FiniteFloat


class DaysBody(Body):
    """Ship's days, both ends included."""

    from_on: ShipDate
    to_on: ShipDate


Stretches = Annotated[list[StretchBody], Field(max_length=MOST_SPELLS)]


class CalendarBody(Body):
    """A whole operating calendar. kinds left out: they stay."""

    stretches: Stretches
    kinds: list[KindOfDayBody] | None = None
    reason: Reason = ""


class CalendarChangeBody(Body):
    """What is to be changed: days to clear first, then stretches to lay over what is there."""

    stretches: Stretches = []
    clear: Annotated[list[DaysBody], Field(max_length=MOST_SPELLS)] = []
    kinds: list[KindOfDayBody] | None = None
    reason: Reason = ""


class CalendarFileBody(Body):
    """A CSV file's text."""

    csv: Annotated[str, Field(max_length=1_000_000)]
    reason: Reason = ""


class ReasonBody(Body):
    """Why, in a few words; may be empty."""

    reason: Reason = ""
