"""A sheet of the workbook as the office works with it: typed cells, filter, frozen head, widths, and a print set-up that fits A4."""

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Literal

from scheduler.wording.invisible import visible_text

Cell = str | float | int | date | datetime | None
Look = Literal["text", "wrap", "whole", "tenth", "hundredth", "signed", "share", "instant", "day", "month", "stamp"]
_NUMBERS = {
    "whole": "#,##0",
    "count": '#,##0;-#,##0;"–"',
    "tenth": "#,##0.0",
    "hundredth": "#,##0.00",
    "signed": '+#,##0;"−"#,##0;0',
    "share": "0 %",
    "instant": "d mmm yyyy hh:mm",
    "day": "d mmm yyyy",
    "month": "mmm yyyy",
}
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
_MOST_LETTERS = 32_000
"""A cell holds 32 767; what is longer is cut and says so. The JSON Lines export has it whole."""
_LINE, _PAD, _TALLEST = 12.8, 2.4, 400.0
_LETTERS = 1.1
"""Of running text that stand in a column as wide as one digit; in wider types that programs put in the place of ours too."""
_FIRST_YEAR = 1900
"""A workbook knows no date before it; such a one stands as text."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its heading with the unit, its width in letters, how it looks."""

    heading: str
    width: float
    look: Look = "text"


@dataclass(frozen=True, slots=True, kw_only=True)
class BookSheet:
    """A sheet. unprinted: so many columns before the proof stand on no page; proof: so many at the right are folded away."""

    name: str
    title: str
    columns: Sequence[Column]
    unprinted: int = 0
    proof: int = 0


class SheetFormats:
    """The workbook's formats, each made once."""

    def __init__(self, book: Any) -> None:
        def made(**more: Any) -> Any:
            return book.add_format({"font_name": "Arial", "font_size": 10, "valign": "top", **more})

        self.text = made(indent=1, align="left")
        self.quoted = made(indent=1, align="left", text_wrap=True, quote_prefix=True)
        self.bold = made(bold=True)
        self.plain = made()
        self.plain_wrap = made(text_wrap=True)
        self.soft = made(font_color="#505050")
        self.title = made(bold=True, font_size=16, valign="vcenter")
        self.answer = made(bold=True, font_size=13, text_wrap=True)
        self.part = made(bold=True, font_size=11)
        self.head = made(bold=True, bottom=1, text_wrap=True, valign="bottom", indent=1, align="left")
        self.head_right = made(bold=True, bottom=1, text_wrap=True, valign="bottom", align="right")
        self.by_look = {
            "text": self.text,
            "wrap": made(indent=1, align="left", text_wrap=True),
            "stamp": made(font_name="Courier New", font_size=8, font_color="#505050"),
            **{
                look: made(
                    num_format=shape, **({"align": "left", "indent": 1} if look in ("instant", "day", "month") else {})
                )
                for look, shape in _NUMBERS.items()
            },
        }


def plain_text(text: str) -> str:
    """Text as a cell takes it: ordinary spaces, nothing that cannot be seen, and not longer than a cell holds."""
    text = visible_text(text).replace("\u00a0", " ").replace("\u202f", " ")
    return text if len(text) <= _MOST_LETTERS else f"{text[:_MOST_LETTERS]} [cut here; whole in the JSON Lines export]"


def write_sheet(
    book: Any,
    formats: SheetFormats,
    sheet: BookSheet,
    rows: Iterable[Sequence[Cell]],
    *,
    left: str,
    period: str,
    footer: str,
) -> None:
    """Write the sheet row by row; an empty one says so.

    Args:
        left: the vessel's name, period and footer: said on each printed page.
    """
    there = book.add_worksheet(sheet.name)
    there.hide_gridlines(2)
    columns, first_proof = sheet.columns, len(sheet.columns) - sheet.proof
    for place, column in enumerate(columns):
        away = {"level": 1, "hidden": True} if place >= first_proof else {}
        there.set_column(place, place, column.width, formats.by_look[column.look], away)
    if sheet.proof:
        there.set_column(len(columns), len(columns), 3, None, {"collapsed": True})
    there.set_row(0, 46)
    for place, column in enumerate(columns):
        right = column.look in ("whole", "tenth", "hundredth", "signed", "share")
        there.write_string(0, place, column.heading, formats.head_right if right else formats.head)
    last = 0
    for last, row in enumerate(rows, 1):
        there.set_row(last, _height(row, columns))
        for place, value in enumerate(row):
            _write(there, formats, last, place, value, columns[place].look)
    if not last:
        last = 1
        there.write_string(1, 0, "Nothing in this period.", formats.soft)
    there.freeze_panes(1, 1)
    there.autofilter(0, 0, last, len(columns) - 1)
    there.set_landscape()
    there.set_paper(9)
    there.fit_to_pages(1, 0)
    there.repeat_rows(0)
    there.set_margins(0.5, 0.4, 0.75, 0.6)
    there.print_area(0, 0, last, first_proof - sheet.unprinted - 1)
    there.set_header(f'&L&9&"Arial,Bold"{_coded(left)}&"Arial,Regular"   {_coded(sheet.title)}&R&9 {_coded(period)}')
    there.set_footer(f"&L&8 {_coded(footer)}&R&8page &P of &N")


def _coded(text: str) -> str:
    """Text for head and foot of a printed page, where & begins a code; what is longer than they hold is cut."""
    return plain_text(text)[:90].replace("&", "&&")


def _write(there: Any, formats: SheetFormats, row: int, place: int, value: Cell, look: Look) -> None:
    shape = formats.by_look[look]
    if value is None or value == "":
        return
    if isinstance(value, date):
        if value.year >= _FIRST_YEAR:
            there.write_datetime(row, place, value, shape)
        else:
            there.write_string(row, place, value.isoformat(), formats.text)
    elif isinstance(value, str):
        text = plain_text(value)
        there.write_string(row, place, text, formats.quoted if text.startswith(_FORMULA_STARTS) else shape)
    else:
        there.write_number(row, place, value, shape)


def _height(row: Sequence[Cell], columns: Sequence[Column]) -> float:
    """Points: by the longest text that wraps; programs that open it do not reckon it themselves."""
    lines = 1
    for value, column in zip(row, columns, strict=True):
        if column.look == "wrap" and isinstance(value, str):
            lines = max(lines, lines_across(value, column.width))
    return min(_TALLEST, _LINE * lines + _PAD)


def lines_across(text: str, width: float) -> int:
    """How many lines a text takes in cells so wide, parted at its words.

    >>> lines_across("as on sheet: Demo chief", 12), lines_across("", 12), lines_across("a\\nb", 12)
    (2, 1, 2)
    """
    across = max(1, int(width * _LETTERS))
    return sum(1 if len(part) <= across else len(textwrap.wrap(part, across)) for part in text.split("\n"))
