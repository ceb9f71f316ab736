"""What is posted about due dates."""

from typing import Annotated

from pydantic import Field

from api.routes.shared.bodies import Body, Instant, Name, NeededReason, NobodyElse, Reason, ShipDate


class DockBody(Body):
    """Jobs chosen for a stay in dock: their keys."""

    from_at: Instant
    to_at: Instant
    jobs: Annotated[list[Name], Field(min_length=1, max_length=200)]


class PostponementBody(Body):
    """A later limit for a job. risk: what may happen meanwhile; mitigation: what is done about it."""

    to_at: Instant
    reason: NeededReason
    risk: NeededReason
    mitigation: Reason = ""


class PartDateBody(Body):
    """From which ship's date the parts of a job are aboard; null takes the date back."""

    from_on: ShipDate | None
    note: Reason = ""


class FirstDateBody(Body):
    """On which ship's date a job first falls due that nobody knows when it was last done, and why that is soon enough.
    class_agreed: the class's agreement, needed for a class item."""

    on: ShipDate
    reason: NeededReason
    class_agreed: Reason = ""


class DecisionBody(Body):
    """A postponement granted or refused. class_agreed: the class's agreement, needed for a class item."""

    granted: bool
    note: Reason = ""
    class_agreed: Reason = ""
    master: NobodyElse = ""
