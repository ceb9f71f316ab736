"""What is posted about work beside steps and closes."""

from typing import Annotated, Literal

from pydantic import (
    Field,
)

from api.routes.shared.bodies import Body, Instant, Name, Reason, Words


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
