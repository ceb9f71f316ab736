"""Request bodies, checked for shape at the door; the actions check the sense. Instants carry their offset."""

from collections.abc import Iterator, Mapping
from datetime import UTC, date, datetime
from math import isfinite
from typing import Annotated, Any

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

from scheduler.actions.hours.counter_events import MOST_HOURS
from scheduler.domain.base.enums import Test
from scheduler.domain.work.acts import AnyStep
from scheduler.parsing import Expected, Unreadable, read_date

_EARLIEST, _LATEST = datetime(1970, 1, 1, tzinfo=UTC), datetime(2200, 1, 1, tzinfo=UTC)


def _sensible(at: datetime) -> datetime:
    """At the ends of the calendar a change of offset leaves it; no ship's record is there."""
    if not _EARLIEST <= at < _LATEST:
        raise Unreadable(Expected.YEARS)
    return at


Instant = Annotated[AwareDatetime, AfterValidator(_sensible)]
"""An instant with its offset, within the years that a record can be of."""


def _ship_date(given: object) -> date:
    found = read_date(given) if isinstance(given, str) else None
    if found is None:
        raise Unreadable(Expected.QUOTED_DATE)
    return found


ShipDate = Annotated[date, BeforeValidator(_ship_date)]
"""A date of the ship's calendar."""
Words = Annotated[str, Field(max_length=5000)]
Name = Annotated[str, Field(min_length=1, max_length=200)]
Reason = Annotated[str, Field(max_length=1000)]


def said(**keywords: Any) -> Any:
    """What the schema says beyond what is checked at the door: the action checks it, and refuses in words that fit."""
    return Field(json_schema_extra=keywords)


MORE_THAN_BLANKS = r"^[^\x00]*[^\s\x00-\x1f\x7f-\x9f][^\x00]*$"
NeededReason = Annotated[str, Field(max_length=1000), said(minLength=1, pattern=MORE_THAN_BLANKS)]
NeededName = Annotated[str, Field(min_length=1, max_length=200), said(pattern=MORE_THAN_BLANKS)]


def _nobody_else(name: str) -> str:
    """A signature is given by who sends it."""
    if name.strip():
        raise Unreadable(Expected.NOBODY)
    return ""


NobodyElse = Annotated[
    str,
    Field(max_length=200, deprecated=True, description="nobody is named: who sends it signs; to be left out, or empty"),
    AfterValidator(_nobody_else),
]
"""Where another's name was typed once."""


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
            raise Unreadable(Expected.NO_NUL, ", ".join(bad))
        return given


class CloseBody(Body):
    """A job is done. running_hours: of its subject at done_at; none: taken from the ledger at that time."""

    done_at: Instant
    done_by: NeededName
    test: Test
    checked_by: Name | None = None
    company: Annotated[str, Field(max_length=200)] = ""
    answers_for: Annotated[str, Field(max_length=200)] = ""
    from_paper: bool = False
    opened_at: Instant | None = None
    running_hours: Annotated[FiniteFloat, said(minimum=0, maximum=MOST_HOURS)] | None = None
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
            raise Unreadable(Expected.WHOLE_CHARACTERS)
        return given

    @model_validator(mode="after")
    def _instants(self) -> "WorkStepBody":
        for at in (self.step.at, getattr(self.step, "valid_to", None)):
            if at is not None:
                if at.tzinfo is None:
                    raise Unreadable(Expected.OFFSET)
                _sensible(at)
        return self
