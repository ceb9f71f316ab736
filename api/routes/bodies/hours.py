"""What is posted about running hours: events of a counter."""

from typing import Annotated, Literal

from pydantic import (
    Field,
    FiniteFloat,
)

from api.routes.shared.bodies import Body, Instant, Reason


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
