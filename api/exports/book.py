"""The history as a workbook (XLSX) for the office: what it is, the records, what stands beside them, the definitions.

Written row by row in constant memory. No text becomes a formula, a link or a number by itself. Same arguments, same bytes.
"""

import tempfile
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

from api.exports.frame import ExportFrame, export_summary
from api.exports.judged import HEADINGS, judged
from api.exports.report import DEFINITIONS, extra_tables, frame_rows
from api.exports.table import COLUMNS, cells_of
from scheduler.actions.record.history import ExportExtras
from scheduler.domain.record.chain import Record
from scheduler.wording.invisible import visible_text

_NUMBERS = frozenset(
    {
        "number",
        "due_running_seconds",
        "window_opens_running_seconds",
        "limit_running_seconds",
        "postponed_to_running_seconds",
        "utc_offset_minutes",
        "running_seconds",
        "seconds_from_due",
        "days_from_due",
        "least_margin_swept_m3_per_h",
        "lowest_vacuum_kpa",
        "corrects",
    }
)
_MOST_LETTERS = 32_000
"""A cell holds 32 767; what is longer is cut and says so. The JSON Lines export has it whole."""


def xlsx(records: Iterable[Record], frame: ExportFrame, extras: ExportExtras) -> Iterator[bytes]:
    """The workbook in pieces.

    Args:
        records: by number, gone through twice.
    """
    import xlsxwriter

    found = export_summary(records)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "history.xlsx"
        book = xlsxwriter.Workbook(
            str(path),
            {
                "constant_memory": True,
                "tmpdir": folder,
                "strings_to_formulas": False,
                "strings_to_urls": False,
                "strings_to_numbers": False,
            },
        )
        book.set_properties(
            {"title": visible_text(f"{frame.vessel}: compliance history"), "created": frame.as_of.replace(tzinfo=None)}
        )
        bold = book.add_format({"bold": True, "bottom": 1})
        first = book.add_worksheet("Summary")
        first.set_column(0, 0, 28)
        first.set_column(1, 1, 100)
        for row, (what, figure) in enumerate(frame_rows(frame, found, extras)):
            first.write_string(row, 0, what, bold)
            first.write_string(row, 1, visible_text(figure))
        rows_judged = (one.row() for one in judged(found, extras.not_done))
        _table(book, bold, "In window", HEADINGS, rows_judged)
        _table(book, bold, "History", [heading for heading, _ in COLUMNS], map(_row, records))
        for name, headings, rows in extra_tables(extras):
            _table(book, bold, name, headings, rows)
        _table(book, bold, "Definitions", ("word", "means"), DEFINITIONS)
        book.close()
        with path.open("rb") as file:
            while piece := file.read(65_536):
                yield piece


def _table(book: Any, bold: Any, name: str, headings: Sequence[str], rows: Iterable[Sequence[str | float]]) -> None:
    sheet = book.add_worksheet(name)
    sheet.freeze_panes(1, 0)
    sheet.set_landscape()
    sheet.set_paper(9)
    sheet.fit_to_pages(1, 0)
    for column, heading in enumerate(headings):
        sheet.set_column(column, column, max(12, min(40, len(heading))))
        sheet.write_string(0, column, heading, bold)
    for place, row in enumerate(rows, 1):
        for column, value in enumerate(row):
            if isinstance(value, float):
                sheet.write_number(place, column, value)
            elif value:
                sheet.write_string(place, column, _held(visible_text(value)))


def _row(record: Record) -> list[str | float]:
    return [_value(member, cell) for (_, member), cell in zip(COLUMNS, cells_of(record), strict=True)]


def _value(member: str, cell: str) -> str | float:
    if member in _NUMBERS and cell:
        try:
            return float(cell)
        except ValueError:
            return cell
    return cell


def _held(text: str) -> str:
    return text if len(text) <= _MOST_LETTERS else f"{text[:_MOST_LETTERS]} [cut here; whole in the JSON Lines export]"
