"""What stands against signing a handover, as facts."""

from dataclasses import dataclass
from enum import StrEnum


class AgainstHandover(StrEnum):
    """What stands against a signature."""

    NOT_LOOKED_AT = "point not looked at"
    PERMIT_OLD = "permit not issued anew"
    CHANGED = "changed since signed"


@dataclass(frozen=True, slots=True)
class HandoverReason:
    """One of them. what: the tag, the permit, or the list of the handover that changed; position: where, by its name."""

    code: AgainstHandover
    what: str
    position: str = ""
