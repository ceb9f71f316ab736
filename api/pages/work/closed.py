"""What the record of a close holds, as facts for the page of a closed job."""

from collections.abc import Iterator, Mapping
from datetime import datetime

from scheduler.shiptime import run_text
from scheduler.wording.figures import (
    M3H,
    day_count,
    margin_number,
    moment,
    short_date,
)


def closed_facts(record: Mapping[str, object]) -> tuple[tuple[str, str, str], ...]:
    """(what, figure, small print) from the members of the record of a close; what it has not is left out."""
    return tuple(_facts(record))


def _facts(record: Mapping[str, object]) -> Iterator[tuple[str, str, str]]:
    offset = int(str(record.get("utc_offset_minutes") or 0))
    if record.get("verdict"):
        yield "Verdict", str(record["verdict"]), _from_due(record)
    for what, hours_member, date_member in (
        ("Due", "due_running_seconds", "due_at"),
        ("Window opened", "window_opens_running_seconds", "window_opens_at"),
        ("Limit", "limit_running_seconds", "limit_at"),
        ("Postponed to", "postponed_to_running_seconds", "postponed_to_at"),
    ):
        hours, at = record.get(hours_member), record.get(date_member)
        said = [run_text(int(str(hours)))] if hours is not None else []
        said += [short_date(_instant(at), offset)] if at is not None else []
        if said:
            small = str(record.get("limit_from") or "") if what == "Limit" else ""
            yield what, " or ".join(said), f"first reached by {record.get('trigger')}" if what == "Due" else small
    opened = record.get("opened_at")
    if opened is not None:
        yield "Taken out", moment(_instant(opened), offset), ""
    margin = record.get("least_margin_swept_m3_per_h")
    if margin is not None:
        yield "Least margin while open", f"{margin_number(float(str(margin)))} {M3H}", "calculated, as planned"
    for what, member in (("Measures", "measures"), ("Tests", "tests"), ("Parts used", "parts_used")):
        if record.get(member):
            yield what, str(record[member]), ""


def _from_due(record: Mapping[str, object]) -> str:
    seconds, days = record.get("seconds_from_due"), record.get("days_from_due")
    if seconds is not None:
        over, how_far = int(str(seconds)), run_text(int(str(seconds)))
    elif days is not None:
        over, how_far = int(str(days)), day_count(int(str(days)))
    else:
        return ""
    return f"{how_far} {'after' if over > 0 else 'before'} the due point"


def _instant(value: object) -> datetime:
    return datetime.fromisoformat(str(value))
