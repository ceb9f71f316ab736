"""The history on paper (PDF), for an auditor: typeset by typst from data, never from markup. Same arguments, same bytes."""

import json
from collections.abc import Iterable
from pathlib import Path

from api.exports.frame import ExportFrame, export_summary
from api.exports.judged import HEADINGS, judged
from api.exports.report import DEFINITIONS, extra_tables, frame_rows
from api.exports.table import COLUMNS, cells_of
from scheduler.actions.record.history import ExportExtras
from scheduler.domain.record.chain import Record
from scheduler.domain.record.closed_job import ClosedJob
from scheduler.errors import Refused, TooLarge
from scheduler.wording.invisible import visible_text

TEMPLATE = Path(__file__).with_name("history.typ")
MOST_ROWS = 10_000
_SHOWN = (
    "number", "job_no", "position", "pump_serial", "job_kind", "due_at", "due_running_seconds", "done_ship",
    "running_seconds", "verdict", "test", "done_by", "checked_by", "findings", "hash",
)  # fmt: skip


def pdf(records: Iterable[Record], frame: ExportFrame, extras: ExportExtras) -> bytes:
    """The document: first page, closed jobs, what stands beside them, definitions. Other records are counted only.

    Raises:
        Refused: typst is not installed. TooLarge: more closed jobs than a paper is for.
    """
    try:
        import typst
    except ImportError as error:
        raise Refused(
            "A PDF needs the package typst: install leadline[pdf], or take CSV, XLSX or JSON Lines."
        ) from error
    headings = {member: heading for heading, member in COLUMNS}
    order = [member for _, member in COLUMNS]
    rows: list[list[str]] = []
    for record in records:
        if record.kind != ClosedJob.KIND:
            continue
        if len(rows) == MOST_ROWS:
            raise TooLarge(f"More than {MOST_ROWS} closed jobs do not go on paper. Choose a period, or take XLSX.")
        cells = dict(zip(order, cells_of(record), strict=True))
        rows.append([_spoken(cells[member]) for member in _SHOWN])
    found = export_summary(records)
    data = {
        "title": f"{frame.vessel}: compliance history",
        "frame": frame_rows(frame, found, extras),
        "judged_headings": HEADINGS,
        "judged": [[_shown(value) for value in one.row()] for one in judged(found, extras.not_done)],
        "headings": [headings[member] for member in _SHOWN],
        "rows": rows,
        "tables": [
            {"name": name, "headings": list(heads), "rows": lines} for name, heads, lines in extra_tables(extras)
        ],
        "definitions": DEFINITIONS,
    }
    made: bytes = typst.compile(
        TEMPLATE.read_bytes(), sys_inputs={"data": visible_text(json.dumps(data, ensure_ascii=False))}
    )
    return made


def _spoken(cell: str) -> str:
    """Paper runs no formula: the apostrophe that guards a spreadsheet is taken off again."""
    return cell[1:] if cell.startswith("'") and cell[1:2] in ("=", "+", "-", "@", "\t", "\r") else cell


def _shown(value: str | float) -> str:
    return value if isinstance(value, str) else f"{value:g}"
