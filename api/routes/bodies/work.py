"""What is posted about work beside steps and closes."""

from typing import Annotated, Literal

from pydantic import Field

from api.routes.shared.bodies import (
    MORE_THAN_BLANKS,
    Body,
    Instant,
    Name,
    NeededName,
    NeededReason,
    NobodyElse,
    Reason,
    Words,
    said,
)
from scheduler.actions.work.parts import MOST_ABOARD


class StrikeBody(Body):
    """An entry made by mistake is struck; why."""

    reason: Reason = ""


class NotFittedBody(Body):
    """An isolation point that the pump has not."""

    point: NeededName
    reason: NeededReason


class NotFittedSignatureBody(Body):
    """The second signature under it, by who sends it: as office or as master."""

    as_: Annotated[Literal["office", "master"], Field(alias="as")]
    name: NobodyElse = ""


class CauseBody(Body):
    """Why a non-conformity came about, and what is done so that it does not again."""

    cause: NeededReason
    corrective_action: NeededReason


class HandoverBody(Body):
    """What the one who takes over has to know."""

    text: Annotated[str, Field(max_length=5000), said(minLength=1, pattern=MORE_THAN_BLANKS)]


class PointLookedAt(Body):
    """A tag that hangs, looked at by both. Members as a handover carries them."""

    job: Annotated[str, Field(max_length=300)]
    point: Annotated[str, Field(max_length=200)]
    tag_no: Annotated[str, Field(max_length=200)] = ""


class HandoverSignatureBody(Body):
    """looked_at: every point that is locked and tagged, each looked at by both together."""

    looked_at: Annotated[list[PointLookedAt], Field(default_factory=list, max_length=200)]


class ReviewBody(Body):
    """The chief's review of a month. month: as 2026-10."""

    month: Annotated[str, Field(pattern=r"^\d{4}-\d{2}$"), said(pattern="^20[0-9]{2}-(0[1-9]|1[0-2])$")]
    text: Words = ""


class ClogBody(Body):
    """A clog that was cleared: what it was, where, and when."""

    at: Instant
    object: NeededName
    riser: Reason = ""
    deck: Reason = ""
    text: Reason = ""


class PartBody(Body):
    """How many of a part are aboard, as counted."""

    name: Name
    aboard: Annotated[int, said(minimum=0, maximum=MOST_ABOARD)]
