"""What the record of a close holds, as facts for the page of a closed job."""

from collections.abc import Iterator, Mapping
from datetime import datetime

from api.pages.shared.codes import code_words
from scheduler.language import gettext as _
from scheduler.shiptime import run_text
from scheduler.wording.figures import (
    M3H,
    day_count,
    listed,
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
        yield _("Verdict"), code_words(str(record["verdict"])), _from_due(record)
    for what, hours_member, date_member in (
        (_("Due"), "due_running_seconds", "due_at"),
        (_("Window opened"), "window_opens_running_seconds", "window_opens_at"),
        (_("Limit"), "limit_running_seconds", "limit_at"),
        (_("Postponed to"), "postponed_to_running_seconds", "postponed_to_at"),
    ):
        hours, at = record.get(hours_member), record.get(date_member)
        said = [run_text(int(str(hours)))] if hours is not None else []
        said += [short_date(_instant(at), offset)] if at is not None else []
        if said:
            small = str(record.get("limit_from") or "") if hours_member == "limit_running_seconds" else ""
            yield (
                what,
                listed(said, "or"),
                _("first reached by {trigger}", trigger=code_words(str(record.get("trigger"))))
                if hours_member == "due_running_seconds"
                else small,
            )
    opened = record.get("opened_at")
    if opened is not None:
        yield _("Taken out"), moment(_instant(opened), offset), ""
    margin = record.get("least_margin_swept_m3_per_h")
    if margin is not None:
        yield _("Least margin while open"), f"{margin_number(float(str(margin)))} {M3H}", _("calculated, as planned")
    for what, member in ((_("Measures"), "measures"), (_("Tests"), "tests"), (_("Parts used"), "parts_used")):
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
    if over > 0:
        return _("{how_far} after the due point", how_far=how_far)
    return _("{how_far} before the due point", how_far=how_far)


def _instant(value: object) -> datetime:
    return datetime.fromisoformat(str(value))
