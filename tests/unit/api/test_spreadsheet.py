"""A spreadsheet as rows of text, whichever program saved it."""

from pathlib import Path

import pytest
import xlsxwriter

from api.commands.shared.spreadsheet import rows_of
from scheduler.errors import NotFound, Refused

ROWS = [["code", "name", "takes_hours"], ["lamp", "Lämpchen, Ł", "2"]]


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_csv_is_read_whatever_parts_its_cells(tmp_path: Path, mark: str) -> None:
    """Comma, semicolon, tab; with a byte order mark; letters outside Latin-1 kept."""
    file = tmp_path / "kinds.csv"
    file.write_text("\ufeff" + "\n".join(mark.join(f'"{cell}"' for cell in row) for row in ROWS), encoding="utf-8")
    assert rows_of(file) == ROWS


def test_the_first_sheet_of_a_workbook_is_read(tmp_path: Path) -> None:
    """Figures come as text, whole ones without a tail."""
    file = tmp_path / "kinds.xlsx"
    with xlsxwriter.Workbook(str(file)) as book:
        sheet = book.add_worksheet()
        for number, row in enumerate(ROWS):
            for column, cell in enumerate(row):
                sheet.write(number, column, int(cell) if cell.isdigit() else cell)
    assert rows_of(file) == ROWS


def test_what_is_no_spreadsheet_is_refused_in_words(tmp_path: Path) -> None:
    """Not there, not text, not a workbook."""
    with pytest.raises(NotFound):
        rows_of(tmp_path / "none.csv")
    (tmp_path / "a.csv").write_bytes(b"code\n\xff\xfe")
    with pytest.raises(Refused, match="UTF-8"):
        rows_of(tmp_path / "a.csv")
    (tmp_path / "a.xlsx").write_bytes(b"PK\x03\x04 nothing of the kind")
    with pytest.raises(Refused, match="no workbook"):
        rows_of(tmp_path / "a.xlsx")
