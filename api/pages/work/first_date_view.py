"""The form that sets the first date of a job on its page, and what was set."""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstDateView:
    """asked: nobody knows when the job was last done. action empty: this person may only read. told: what was set, in words."""

    asked: bool = False
    action: str = ""
    idempotency_key: str = ""
    latest: str = ""
    class_item: bool = False
    told: str = ""
    by: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)
    says: str = ""
