"""What is posted about requests of the office."""

from typing import Annotated, Any, Literal

from pydantic import Field

from api.routes.shared.bodies import Body, Instant, Name, NeededReason, Reason, ShipDate, said
from scheduler.domain.shore.asking import EFFECTS, Effect, RequestKind

Count = Annotated[int, Field(ge=0, le=2**31 - 1)]
RecordVersion = Annotated[int, Field(ge=0, le=2**53)]
Until = Annotated[Instant | None, Field(description="it lapses where it is not done by then; left out: in 30 days")]


class AskBody(Body):
    """What is asked of a ship; `what` says of which kind it is."""

    until: Until = None


class AskDecision(AskBody):
    """A postponement granted or refused. class_agreed: the class's agreement, needed for a class item."""

    what: Literal[RequestKind.DECIDE_POSTPONEMENT]
    postponement: Count
    granted: bool
    note: Reason = ""
    class_agreed: Reason = ""


class AskClosing(AskBody):
    """An answered non-conformity closed."""

    what: Literal[RequestKind.CLOSE_NON_CONFORMITY]
    non_conformity: Count


class AskConfirming(AskBody):
    """An event by which hours are taken away, confirmed. event: its id."""

    what: Literal[RequestKind.CONFIRM_HOURS]
    counter: Name
    event: Name
    reason: Reason = ""


class AskPartDate(AskBody):
    """From which ship's date the parts of a job are aboard; null takes the date back. version: number of the record that said when
    they come, as looked at; 0 for none."""

    what: Literal[RequestKind.SET_PART_DATE]
    job: Name
    from_on: ShipDate | None
    note: Reason = ""
    version: RecordVersion


class AskApproval(AskBody):
    """The changes that a stored version of the document brought, approved ashore."""

    what: Literal[RequestKind.APPROVE_VERSION]
    version: Count


class AskChange(AskBody):
    """A merge patch (RFC 7396) of the version of the document that was looked at: job kinds, the minimum, the crew. The chief engineer
    accepts it aboard."""

    what: Literal[RequestKind.CHANGE_DOCUMENT]
    version: Count
    patch: Annotated[dict[str, Any], said(minProperties=1)]
    reason: NeededReason
    class_agreed: Reason = ""


class AskNever(AskBody):
    """What is done aboard, by who does it: it is refused here."""

    what: Literal[tuple(kind for kind in RequestKind if EFFECTS[kind] is Effect.NEVER)]  # type: ignore[valid-type]


AnyAsked = Annotated[
    AskDecision | AskClosing | AskConfirming | AskPartDate | AskApproval | AskChange | AskNever,
    Field(discriminator="what"),
]


class RequestAnswerBody(Body):
    """What the chief engineer answers to what the office asks. reason: needed where it is declined."""

    accept: bool
    reason: Reason = ""
