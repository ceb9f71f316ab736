"""A spreadsheet as rows of text: CSV (comma, semicolon or tab) by its text, XLSX by its first sheet."""

import csv
import io
import zipfile
import zlib
from pathlib import Path

from api.commands.shared.streams import read_bytes
from scheduler.errors import Refused

MOST_BYTES, MOST_ROWS, MOST_COLUMNS = 2_000_000, 1000, 60
MOST_SHEET_BYTES, MOST_REST_BYTES, MOST_PARTS = 8_000_000, 300_000, 500
"""Unpacked: all of it; styles and other XML than sheets and texts, which becomes hundreds of times that in memory; files."""
_SHEETS = ("xl/worksheets/", "xl/sharedstrings")


def rows_of(file: Path) -> list[list[str]]:
    """The cells of a file as text, formulas as their kept values.

    Raises:
        NotFound: it cannot be read. TooLarge: over 2 MB. Refused: it is no UTF-8 text, or no workbook.
    """
    content = read_bytes(file, MOST_BYTES)
    return _workbook(content, file) if content[:4] == b"PK\x03\x04" else _text(content, file)


def _text(content: bytes, file: Path) -> list[list[str]]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise Refused(f"{file} is not UTF-8 text: save it as CSV UTF-8, or as XLSX.") from error
    first = text.split("\n", 1)[0]
    mark = max(",;\t", key=first.count)
    try:
        return [list(row) for row in csv.reader(io.StringIO(text, newline=""), delimiter=mark)]
    except csv.Error as error:
        raise Refused(f"{file} is no CSV: {error}.") from error


def _workbook(content: bytes, file: Path) -> list[list[str]]:
    from openpyxl import load_workbook

    _must_stay_small(content, file)
    try:
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=True)
        try:
            rows = book.worksheets[0].iter_rows(max_row=MOST_ROWS, max_col=MOST_COLUMNS, values_only=True)
            return [_trimmed(["" if cell is None else str(cell) for cell in row]) for row in rows]
        finally:
            book.close()
    except Exception as error:  # whatever a damaged file makes the library raise
        raise _unreadable(file, error) from error


def _must_stay_small(content: bytes, file: Path) -> None:
    """A few kilobytes can unpack to gigabytes, and a document type can name itself again and again: neither is opened.

    The sizes that a zip states are those its parts are cut off at, so they can be relied on.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            parts = packed.infolist()
            names = {one: one.filename.lower() for one in parts}
            whole = sum(one.file_size for one in parts)  # whatever it is called: a sheet may have any name
            rest = sum(
                one.file_size for one, name in names.items() if name.endswith(".xml") and not name.startswith(_SHEETS)
            )
            if whole > MOST_SHEET_BYTES or rest > MOST_REST_BYTES or len(parts) > MOST_PARTS:
                raise Refused(
                    f"{file} unpacks to more than a table of {MOST_ROWS} rows can need. Save its first sheet alone, or as CSV."
                )
            if any(b"<!DOCTYPE" in packed.read(one) for one in parts):
                raise Refused(
                    f"{file} defines a document type of its own, which no workbook needs. Save it anew as XLSX or CSV."
                )
    except (zipfile.BadZipFile, zlib.error, OSError, ValueError, NotImplementedError, RuntimeError, EOFError) as error:
        raise _unreadable(file, error) from error


def _unreadable(file: Path, error: Exception) -> Refused:
    return Refused(f"{file} is no workbook that can be read: {error}. Save it anew as XLSX or CSV.")


def _trimmed(row: list[str]) -> list[str]:
    """The row up to its last filled cell."""
    last = max((place for place, cell in enumerate(row, 1) if cell), default=0)
    return row[:last]
