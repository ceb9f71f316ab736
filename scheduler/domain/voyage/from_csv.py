"""The operating calendar as a CSV file: every cell that cannot be read is named, none stops the others from being read.

Columns, by name in the first row: from, to, kind, and if wished source (log or plan; empty: plan) and note. Dates are
written 2026-11-25. Commas, semicolons and tabs are all understood.

Source: RFC 4180 (quoting); ISO 8601 calendar dates.
"""

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from scheduler.domain.voyage.stretches import MOST_SPELLS, Source, Spell, SpellFault, VoyageDays, spell_faults
from scheduler.language import gettext as _
from scheduler.parsing import read_date

COLUMNS = ("from", "to", "kind", "source", "note")


NEEDED = ("from", "to", "kind")


@dataclass(frozen=True, slots=True, kw_only=True)
class CsvRow:
    """A row as it stands in the file; number as a spreadsheet shows it, the names' row being 1."""

    number: int
    cells: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class CellFault:
    """A cell that cannot be taken: where, what was there, what was expected. row 1 and 0 are the file as a whole."""

    row: int
    column: str
    found: str
    says: str

    def sentence(self) -> str:
        """The fault in one line.

        >>> CellFault(row=3, column="to", found="30.2.26", says="a date was expected.").sentence()
        "row 3, column to: '30.2.26'; a date was expected."
        """
        found = f"{self.found!r:.60}"
        return _(
            "row {row}, column {column}: {found}; {says}", row=self.row, column=self.column, found=found, says=self.says
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A file as read: its rows, what is wrong, and the stretches when nothing is."""

    rows: tuple[CsvRow, ...]
    faults: tuple[CellFault, ...]
    spells: tuple[Spell, ...]


def read_sheet(text: str, book: VoyageDays, today: date) -> Sheet:
    """The stretches of a CSV text.

    Args:
        book: whose kinds of day are known. today: the ship's date.
    """
    try:
        table = list(csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline=""), delimiter=_delimiter(text)))
    except csv.Error as error:
        return _whole(
            _("the file cannot be read as CSV ({error}): plain text with one row a line was expected.", error=error),
            text,
        )
    names = [name.strip().lower() for name in table[0]] if table else []
    wrong = _name_faults(names)
    if wrong:
        return Sheet(rows=(), faults=tuple(wrong), spells=())
    rows = tuple(
        CsvRow(number=number, cells={name: cell.strip() for name, cell in zip(names, cells, strict=False)})
        for number, cells in enumerate(table[1:], 2)
        if any(cell.strip() for cell in cells)
    )
    if not rows:
        return _whole(_("the file has no row below the names: one row a stretch was expected."), text)
    if len(rows) > MOST_SPELLS:
        return _whole(
            _(
                "the file has {count} rows: at most {most_spells} were expected. Send it in parts.",
                count=len(rows),
                most_spells=MOST_SPELLS,
            ),
            "",
        )
    faults = [
        CellFault(
            row=number, column="after the last", found=cell, says=_("nothing was expected here; was a comma meant?")
        )
        for number, cells in enumerate(table[1:], 2)
        for cell in cells[len(names) :]
        if cell.strip()
    ]
    spells: list[Spell] = []
    numbers: list[CsvRow] = []
    kinds = [kind.code for kind in book.kinds]
    for row in rows:
        wrong_before = len(faults)
        spell = _spell(row, faults)
        if spell is None:
            if row.cells.get("kind", "").lower() not in kinds:
                says = _("a kind of day was expected: {kinds}.", kinds=", ".join(kinds))
                faults.append(CellFault(row=row.number, column="kind", found=row.cells.get("kind", ""), says=says))
        elif len(faults) > wrong_before:  # its origin is not known, so it contradicts no other
            faults += _cells(spell_faults([spell], kinds, today, str), [row])
        else:
            spells.append(spell)
            numbers.append(row)
    faults += _cells(spell_faults(spells, kinds, today, lambda place: f"row {numbers[place].number}"), numbers)
    faults.sort(key=lambda fault: (fault.row, COLUMNS.index(fault.column) if fault.column in COLUMNS else len(COLUMNS)))
    return Sheet(rows=rows, faults=tuple(faults), spells=() if faults else tuple(spells))


def _cells(found: Sequence[SpellFault], rows: Sequence[CsvRow]) -> list[CellFault]:
    return [
        CellFault(
            row=rows[fault.place].number,
            column=fault.column,
            found=rows[fault.place].cells.get(fault.column, ""),
            says=fault.says,
        )
        for fault in found
    ]


def write_sheet(spells: Sequence[Spell]) -> str:
    """The stretches as CSV; `read_sheet` gives them back."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for spell in spells:
        writer.writerow(
            [spell.from_on.isoformat(), spell.to_on.isoformat(), spell.kind, spell.source.value, spell.note]
        )
    return out.getvalue()


def _delimiter(text: str) -> str:
    first = text.split("\n", 1)[0]
    return max(",;\t", key=lambda sign: (first.count(sign), -",;\t".index(sign)))


def _whole(says: str, text: str) -> Sheet:
    first = text.strip().split("\n", 1)[0][:60]
    return Sheet(rows=(), faults=(CellFault(row=1, column="all", found=first, says=says),), spells=())


def _name_faults(names: Sequence[str]) -> list[CellFault]:
    expected = _("the names expected are from, to, kind, source, note (the last two may be left out).")
    faults = [
        CellFault(
            row=1,
            column=name or str(place),
            found=name,
            says=_("this is no column here; {expected}", expected=expected),
        )
        for place, name in enumerate(names, 1)
        if name not in COLUMNS
    ]
    faults += [
        CellFault(row=1, column=name, found=name, says=_("this column stands there twice; leave one out."))
        for name in COLUMNS
        if names.count(name) > 1
    ]
    faults += [
        CellFault(
            row=1,
            column=name,
            found=", ".join(names)[:60],
            says=_("this column is missing; {expected}", expected=expected),
        )
        for name in NEEDED
        if name not in names
    ]
    return faults


def _spell(row: CsvRow, faults: list[CellFault]) -> Spell | None:
    """The stretch of a row, none when a date cannot be read; what cannot be read is added to the faults."""
    dates = {name: read_date(row.cells.get(name, "")) for name in ("from", "to")}
    for name, day in dates.items():
        if day is None:
            says = _("a date written year-month-day was expected, such as 2026-11-25.")
            faults.append(CellFault(row=row.number, column=name, found=row.cells.get(name, ""), says=says))
    said = row.cells.get("source", "").lower()
    source = Source.PLAN if not said else next((one for one in Source if one.value == said), None)
    if source is None:
        says = _("log (it was so), plan (it will be so) or nothing was expected.")
        faults.append(CellFault(row=row.number, column="source", found=said, says=says))
    from_on, to_on = dates["from"], dates["to"]
    if from_on is None or to_on is None:
        return None
    return Spell(
        from_on=from_on,
        to_on=to_on,
        kind=row.cells.get("kind", "").lower(),
        source=source or Source.PLAN,
        note=row.cells.get("note", ""),
    )
