"""The form that asks for a postponement on a job's page, and those asked for before."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class PostponeView:
    """action empty: this person may only read, or one waits for a decision. listed: as the answers tell them."""

    action: str = ""
    idempotency_key: str = ""
    listed: Sequence[Mapping[str, Any]] = ()
    notes_href: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)
    says: str = ""
