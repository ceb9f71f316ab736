"""A spreadsheet as rows of text: CSV (comma, semicolon or tab) by its text, XLSX by its first sheet."""

import csv
import io
import zipfile
from pathlib import Path

from api.commands.shared.streams import read_bytes
from scheduler.errors import Refused

MOST_BYTES, MOST_ROWS, MOST_COLUMNS = 2_000_000, 1000, 60


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
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    except (InvalidFileException, zipfile.BadZipFile, KeyError, ValueError, OSError) as error:
        raise Refused(f"{file} is no workbook that can be read: {error}. Save it anew as XLSX or CSV.") from error
    try:
        sheet = book.worksheets[0]
        rows = sheet.iter_rows(max_row=MOST_ROWS, max_col=MOST_COLUMNS, values_only=True)
        return [_trimmed(["" if cell is None else str(cell) for cell in row]) for row in rows]
    finally:
        book.close()


def _trimmed(row: list[str]) -> list[str]:
    """The row up to its last filled cell."""
    last = max((place for place, cell in enumerate(row, 1) if cell), default=0)
    return row[:last]
