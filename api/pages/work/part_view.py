"""The form on a job's page that says when its parts come, and what was said before."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from scheduler.errors import Refused
from scheduler.parsing import read_date


@dataclass(frozen=True, slots=True, kw_only=True)
class PartView:
    """action empty: this person may only read. from_on none: no date was given; day: that date in words."""

    action: str = ""
    idempotency_key: str = ""
    from_on: date | None = None
    day: str = ""
    note: str = ""
    by: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)
    says: str = ""


def typed_date(typed: Mapping[str, str]) -> date | None:
    """The ship's date as typed; none when the form takes it back.

    Raises:
        Refused: it is no date; the fault is at the field `from_on`.
    """
    if typed.get("do") == "clear":
        return None
    return day_typed("from_on", typed.get("from_on", ""), "give the day they are aboard.")


def day_typed(field: str, text: str, empty: str) -> date:
    """The date typed in a field. Raises Refused, with the fault at the field: it is no date, or `empty` when nothing stands there."""
    on = read_date(text)
    if on is None:
        says = f"{text!r:.40}: a date as 2026-12-04 is expected." if text else empty
        raise Refused(f"{field}: {says}", faults=[(f"/{field}", says)])
    return on
