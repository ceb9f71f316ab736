"""The history as a table: headings, cells, and CSV that a spreadsheet opens. Same records, same bytes."""

import csv
import io
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from api.exports.payload import payload_of
from scheduler.domain.base.canonical import instant_text
from scheduler.domain.record.chain import Record
from scheduler.wording.invisible import visible_text

BOM = "\ufeff"
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")

COLUMNS: tuple[tuple[str, str], ...] = (
    ("record no.", "number"),
    ("record kind", "kind"),
    ("vessel", "vessel"),
    ("position", "position"),
    ("pump serial", "pump_serial"),
    ("job kind", "job_kind"),
    ("job no.", "job_no"),
    ("trigger", "trigger"),
    ("due (running h)", "due_running_seconds"),
    ("due (calendar, UTC)", "due_at"),
    ("window opens (running h)", "window_opens_running_seconds"),
    ("window opens (calendar, UTC)", "window_opens_at"),
    ("limit (running h)", "limit_running_seconds"),
    ("limit (calendar, UTC)", "limit_at"),
    ("limit came from", "limit_from"),
    ("postponed to (running h)", "postponed_to_running_seconds"),
    ("postponed to (UTC)", "postponed_to_at"),
    ("opened (UTC)", "opened_at"),
    ("done (UTC)", "done_at"),
    ("done (ship time)", "done_ship"),
    ("ship offset (minutes)", "utc_offset_minutes"),
    ("running hours", "running_seconds"),
    ("running hours from", "hours_source"),
    ("hours from due", "seconds_from_due"),
    ("days from due", "days_from_due"),
    ("verdict", "verdict"),
    ("findings", "findings"),
    ("test", "test"),
    ("least margin while open (swept m3/h, calculated)", "least_margin_swept_m3_per_h"),
    ("done by", "done_by"),
    ("checked by", "checked_by"),
    ("recorded by", "recorded_by"),
    ("recorded (UTC)", "recorded_at"),
    ("permit no.", "permit_no"),
    ("tags (placed and removed, by)", "tags"),
    ("parts used", "parts_used"),
    ("measures", "measures"),
    ("lowest vacuum seen (kPa below atmosphere)", "lowest_vacuum_kpa"),
    ("corrects record no.", "corrects"),
    ("other particulars", "other"),
    ("previous hash", "previous_hash"),
    ("hash", "hash"),
)
"""Heading and payload member of each column."""


def csv_rows(records: Iterable[Record], *, bom: bool = False) -> Iterator[str]:
    """The history as RFC 4180 text, row by row with CR LF: headings first, then one row a record.

    Text a spreadsheet would take for a formula gets a leading apostrophe; numbers keep their minus.

    Args:
        bom: a byte order mark first, as desktop spreadsheets want for letters outside ASCII.
    """
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")

    def written(row: Sequence[str]) -> str:
        buffer.seek(0)
        buffer.truncate()
        writer.writerow(row)
        return buffer.getvalue()

    yield (BOM if bom else "") + written([heading for heading, _ in COLUMNS])
    for record in records:
        yield written(cells_of(record))


def cells_of(record: Record) -> list[str]:
    members = payload_of(record)
    members |= {
        "number": str(record.number),
        "kind": record.kind,
        "recorded_at": instant_text(record.recorded_at),
        "previous_hash": record.previous_hash,
        "hash": record.hash,
        "done_ship": _ship_text(members),
    }
    known = {member for _, member in COLUMNS}
    rest = {name: value for name, value in members.items() if name not in known}
    members["other"] = "; ".join(f"{name}: {_plain(value)}" for name, value in sorted(rest.items()))
    return [_cell(member, members.get(member)) for _, member in COLUMNS]


def _cell(member: str, value: Any) -> str:
    if value is None:
        return ""
    if member.endswith("_seconds") or member == "seconds_from_due":
        return f"{int(value) / 3600:.2f}"
    text = visible_text(_plain(value))
    if text.startswith(_FORMULA_STARTS) and not _is_number(text):
        return f"'{text}"
    return text


def _plain(value: Any) -> str:
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False, sort_keys=True)


def _is_number(text: str) -> bool:
    """An ordinary decimal, which no spreadsheet runs as a formula."""
    digits = text.removeprefix("-").replace(".", "", 1)
    return digits.isascii() and digits.isdigit()


def _ship_text(members: Mapping[str, Any]) -> str | None:
    """RFC 3339 at the ship's offset, or none."""
    done_at, minutes = members.get("done_at"), members.get("utc_offset_minutes")
    if done_at is None or minutes is None:
        return None
    offset = int(minutes)
    there = datetime.fromisoformat(done_at).astimezone(UTC).replace(tzinfo=None) + timedelta(minutes=offset)
    sign = "-" if offset < 0 else "+"
    return f"{there.isoformat()}{sign}{abs(offset) // 60:02d}:{abs(offset) % 60:02d}"
