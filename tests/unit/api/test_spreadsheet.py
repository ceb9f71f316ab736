"""A spreadsheet as rows of text, whichever program saved it."""

import io
import subprocess
import sys
import zipfile
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


def _rebuilt(book: Path, part: str, place: bytes, by: bytes) -> bytes:
    """The workbook with something else in one place of one of its parts, packed again."""
    out = io.BytesIO()
    with zipfile.ZipFile(book) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for one in old.infolist():
            content = old.read(one)
            assert one.filename != part or place in content
            new.writestr(one.filename, content.replace(place, by, 1) if one.filename == part else content)
    return out.getvalue()


BOMBS: dict[str, tuple[str, bytes, bytes]] = {
    "blanks in the sheet": ("xl/worksheets/sheet1.xml", b"<sheetData>", b"<sheetData>" + b" " * 60_000_000),
    "rows in the sheet": ("xl/worksheets/sheet1.xml", b"<sheetData>", b"<sheetData>" + b"<row/>" * 8_000_000),
    "texts": ("xl/sharedStrings.xml", b"</sst>", b"<si><t>x</t></si>" * 3_000_000 + b"</sst>"),
    "styles": ("xl/styles.xml", b"</cellXfs>", b"<xf/>" * 8_000_000 + b"</cellXfs>"),
    "rows just under": ("xl/worksheets/sheet1.xml", b"<sheetData>", b"<sheetData>" + b"<row/>" * 1_300_000),
    "texts just under": ("xl/sharedStrings.xml", b"</sst>", b"<si><t>x</t></si>" * 460_000 + b"</sst>"),
    "styles just under": ("xl/styles.xml", b"</cellXfs>", b"<xf/>" * 55_000 + b"</cellXfs>"),
    "styles just over": ("xl/styles.xml", b"</cellXfs>", b"<xf/>" * 60_000 + b"</cellXfs>"),
    "a text of texts": (
        "xl/sharedStrings.xml",
        b"<sst",
        b'<!DOCTYPE s [<!ENTITY a "aaaaaaaaaa">' + b"".join(
            b'<!ENTITY %c "%b">' % (98 + n, b"&%c;" % (97 + n) * 10) for n in range(9)
        ) + b"]><sst",
    ),
}  # fmt: skip


@pytest.mark.long
@pytest.mark.parametrize("bomb", BOMBS)
def test_a_workbook_that_would_fill_the_memory_is_refused_within_100_mb(tmp_path: Path, bomb: str) -> None:
    """In a process that may take 100 MB more than it has once everything is imported; two megabytes may unpack to gigabytes."""
    file = tmp_path / "bomb.xlsx"
    with xlsxwriter.Workbook(str(file)) as book:
        book.add_worksheet().write(0, 0, "code")
    part, place, by = BOMBS[bomb]
    file.write_bytes(_rebuilt(file, part, place, by))
    child = (
        "import resource, sys, openpyxl\n"
        "from pathlib import Path\n"
        "from api.commands.shared.spreadsheet import rows_of\n"
        "from scheduler.errors import Refused\n"
        "now = int(Path('/proc/self/statm').read_text().split()[0]) * resource.getpagesize()\n"
        "resource.setrlimit(resource.RLIMIT_AS, (now + 100_000_000,) * 2)\n"
        "try: print(len(rows_of(Path(sys.argv[1]))) <= 1000 and 'taken')\n"
        "except Refused as refused: print(refused.says)\n"
    )
    told = subprocess.run([sys.executable, "-c", child, str(file)], capture_output=True, text=True, check=False)
    assert told.returncode == 0, told.stderr
    says = "taken" if "under" in bomb else "document type" if bomb == "a text of texts" else "unpacks to more"
    assert says in told.stdout


@pytest.mark.long
def test_a_full_table_is_within_the_limits(tmp_path: Path) -> None:
    """A thousand rows of sixty filled columns, as a spreadsheet program saves them."""
    file = tmp_path / "full.xlsx"
    with xlsxwriter.Workbook(str(file)) as book:
        sheet = book.add_worksheet()
        for row in range(1000):
            sheet.write_row(row, 0, [f"cell {row} {column}" for column in range(60)])
    found = rows_of(file)
    assert (len(found), len(found[0]), found[-1][-1]) == (1000, 60, "cell 999 59")


def test_a_damaged_sheet_is_refused_in_words(tmp_path: Path) -> None:
    """What the library raises only while it reads the rows comes out as words too."""
    file = tmp_path / "broken.xlsx"
    with xlsxwriter.Workbook(str(file)) as book:
        book.add_worksheet().write(0, 0, "code")
    for part, place, by in (
        ("xl/worksheets/sheet1.xml", b"</sheetData>", b"</wrong>"),
        ("xl/worksheets/sheet1.xml", b'r="A1"', b'r="??"'),
        ("xl/workbook.xml", b"<sheets>", b"<sheet>"),
    ):
        other = tmp_path / "other.xlsx"
        other.write_bytes(_rebuilt(file, part, place, by))
        with pytest.raises(Refused, match="Save it anew"):
            rows_of(other)
