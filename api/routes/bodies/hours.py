"""What is posted about running hours: events of a counter, answers to what the hours say."""

from typing import Annotated, Literal

from pydantic import Field, FiniteFloat

from api.routes.shared.bodies import Body, Instant, NeededReason, Reason, ShipDate, said
from scheduler.actions.hours.counter_events import MOST_HOURS
from scheduler.actions.hours.sign_answers import LONGEST_TEXT
from scheduler.domain.hours.accepting import MOST_COUNTS

Count = Annotated[FiniteFloat, said(minimum=0, maximum=MOST_COUNTS)]
HoursGiven = Annotated[FiniteFloat, said(minimum=0, maximum=MOST_HOURS)]


class ReplacementBody(Body):
    """A counter was exchanged. old_final: what the old one showed at the end, if it could be read."""

    kind: Literal["replacement"]
    at: Instant
    old_final: Count | None = None
    new_first: Count
    reason: NeededReason


class RescaleBody(Body):
    """The counter counts otherwise from `at` on: scale, modulus, smallest step.

    old_final: what it showed at the end on the old scale, if it could be read. new_first: what it starts at on the new.
    """

    kind: Literal["rescale"]
    at: Instant
    seconds_per_count: Annotated[int, Field(ge=1), said(maximum=MOST_COUNTS)]
    modulus: Annotated[int, Field(ge=1), said(maximum=MOST_COUNTS)] | None = None
    resolution: Annotated[FiniteFloat, Field(gt=0), said(maximum=MOST_COUNTS)] = 1.0
    old_final: Count | None = None
    new_first: Count
    reason: NeededReason


class PrimaryBody(Body):
    """This counter is the one that counts for its position from `at` on; the others check it."""

    kind: Literal["primary"]
    at: Instant
    reason: NeededReason


class AdjustmentBody(Body):
    """Running hours that a person adds or takes away. Taken away, they wait until another person confirms."""

    kind: Literal["adjustment"]
    at: Instant
    hours: Annotated[FiniteFloat, said(minimum=-MOST_HOURS, maximum=MOST_HOURS, **{"not": {"const": 0}})]
    reason: NeededReason


class OpeningBody(Body):
    """Running hours before the first reading."""

    kind: Literal["opening balance"]
    at: Instant
    hours: Annotated[FiniteFloat, said(exclusiveMinimum=0, maximum=MOST_HOURS)]
    reason: NeededReason


class StepBody(Body):
    """The counter was set at exactly this reading: what the jump is worth; the count goes on from it."""

    kind: Literal["step decision"]
    at: Instant
    hours: HoursGiven
    reason: NeededReason


class BadReadingBody(Body):
    """The reading at exactly this instant is not to be used."""

    kind: Literal["bad reading"]
    at: Instant
    reason: NeededReason


class NothingMissingBody(Body):
    """The counter started again or was exchanged at exactly this instant, and no hours are missing."""

    kind: Literal["nothing missing"]
    at: Instant
    reason: NeededReason


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

    reason: NeededReason


class ConfirmBody(Body):
    """What another person asked for is confirmed; the reason adds to theirs."""

    reason: Reason = ""


class SignAnswerBody(Body):
    """What a sign came from: found and mended (leak, valve, pump, control), known (guests, route, other), or nothing found."""

    cause: Literal["leak", "valve", "pump", "control", "guests", "route", "other", "nothing"]
    text: Annotated[str, Field(max_length=LONGEST_TEXT)] = ""
    until_on: ShipDate | None = None
    """Last day of a known cause; left out: for good."""
