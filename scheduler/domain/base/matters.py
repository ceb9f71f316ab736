"""What waits for a person: a matter with its figures, said elsewhere."""

from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum


class MatterCode(StrEnum):
    """What waits, and in the order in which it is listed."""

    POSTPONEMENT = "postponement to decide"
    LOWER_MINIMUM = "lower minimum to sign"
    FIRST_DATE = "first date to agree to"
    OFFICE_REQUEST = "request of the office to answer"
    HANDOVER = "handover to sign"
    HELD_READING = "held reading to decide"
    NEWER_PLAN = "newer plan to take"
    NON_CONFORMITY = "non-conformity to answer"
    NON_CONFORMITY_ANSWERED = "non-conformity to close"
    VERSION = "change of the document to approve"
    MONTH = "month to sign"


@dataclass(frozen=True, slots=True, kw_only=True)
class Matter:
    """One matter. number: of the thing, 0 where it has none. job_key, position: what it is about. at, to_at: its times.

    figures: by name, in units the name ends in. by: who asked, wrote or set. count: how many there are of it, gathered in one.
    text: what a person wrote.
    """

    code: MatterCode
    vessel_id: str
    plant_id: str
    number: int = 0
    job_key: str = ""
    position: str = ""
    at: datetime | None = None
    to_at: datetime | None = None
    by: str = ""
    text: str = ""
    count: int = 1
    figures: dict[str, float] = field(default_factory=dict)
