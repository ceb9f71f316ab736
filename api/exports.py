"""The history as files: JSON Lines that can be verified, CSV that a spreadsheet opens, and a summary in words.

Same records and same arguments, same bytes.
"""

import csv
import io
import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

from scheduler.domain.history import GENESIS, ClosedJob, Record, Verdict, instant_text
from scheduler.domain.verify import header_line, spelled
from scheduler.errors import Refused

BOM = "\ufeff"
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportFrame:
    """What an export says about itself. from_at and to_at: the period, end excluded, none: open."""

    vessel: str
    made_by: str
    as_of: datetime
    version: str
    from_at: datetime | None = None
    to_at: datetime | None = None
    filter: str | None = None
    """In words, what was left out; none: nothing. A filtered export cannot be verified."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """Counts by verdict (every verdict named), records by kind, and the completeness statement."""

    records: int
    by_verdict: Mapping[str, int]
    by_kind: Mapping[str, int]
    completeness: str


def jsonl(records: Sequence[Record], frame: ExportFrame) -> Iterator[str]:
    """The export line by line, each with its line feed: the header, then each record as it was hashed.

    Args:
        records: by number. Without a filter they must have no gap.

    Raises:
        Refused: a gap or disorder in an export that says it is unfiltered.
    """
    gaps = _gaps(records)
    if frame.filter is None and gaps:
        raise Refused(f"Records {', '.join(gaps)} are missing or out of order, yet the export states no filter.")
    first = records[0].number if records else 1
    yield (
        header_line(
            {
                "vessel": frame.vessel,
                "made_by": frame.made_by,
                "as_of": instant_text(frame.as_of),
                "version": frame.version,
                "from": None if frame.from_at is None else instant_text(frame.from_at),
                "to": None if frame.to_at is None else instant_text(frame.to_at),
                "filter": frame.filter,
                "records": len(records),
                "first_number": first,
                "last_number": records[-1].number if records else 0,
                "previous_hash": records[0].previous_hash if records else GENESIS,
                "head": records[-1].hash if records else GENESIS,
                "completeness": summary(records).completeness,
            }
        )
        + "\n"
    )
    for record in records:
        yield (
            spelled(
                {
                    "number": record.number,
                    "text": record.text,
                    "previous_hash": record.previous_hash,
                    "hash": record.hash,
                }
            )
            + "\n"
        )


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
        yield written(_cells(record))


def summary(records: Sequence[Record], *, also: Sequence[str] = ()) -> Summary:
    """Counts and the completeness statement.

    A corrected record counts by its newest correction, once. Args: also: more sentences for the statement, such as
    which hours are missing.
    """
    payloads = {record.number: _payload(record) for record in records}
    closed = [record for record in records if record.kind == ClosedJob.KIND]
    replaced = {int(said) for said in (payloads[record.number].get("corrects") for record in closed) if said}
    verdicts = Counter(
        str(payloads[record.number].get("verdict")) for record in closed if record.number not in replaced
    )
    corrections = [record.number for record in closed if payloads[record.number].get("corrects")]
    estimated = [record.number for record in closed if payloads[record.number].get("hours_source") == "estimated"]
    gaps = _gaps(records)
    span = f", {records[0].number} to {records[-1].number}" if records else ""
    missing = f"missing: {', '.join(gaps)}" if gaps else "none missing"
    said = [
        f"{_counted(len(records), 'record')}{span}{f', {missing}' if records else ''}",
        f"corrections: {_listed(corrections)}",
        f"running hours estimated: {_listed(estimated)}",
        *also,
    ]
    return Summary(
        records=len(records),
        by_verdict={verdict.value: verdicts.get(verdict.value, 0) for verdict in Verdict},
        by_kind=dict(sorted(Counter(record.kind for record in records).items())),
        completeness="; ".join(said) + ".",
    )


def _cells(record: Record) -> list[str]:
    members = _payload(record)
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
    text = _plain(value)
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


def _payload(record: Record) -> dict[str, Any]:
    payload = json.loads(record.text)
    return payload if isinstance(payload, dict) else {"other": payload}


def _gaps(records: Sequence[Record]) -> list[str]:
    """Numbers missing between the first and the last record, as spans; a record out of order as itself."""
    gaps: list[str] = []
    for before, after in pairwise(records):
        if after.number <= before.number:
            gaps.append(str(after.number))
        elif after.number > before.number + 1:
            first, last = before.number + 1, after.number - 1
            gaps.append(str(first) if first == last else f"{first} to {last}")
    return gaps


def _counted(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _listed(numbers: Sequence[int]) -> str:
    return ", ".join(map(str, numbers)) or "none"
