"""The first run: a ship of one's own from one table that is typed or pasted; and her labels."""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache

from markupsafe import Markup

from api.pages.shared import layout
from api.pages.shared.forms import FormState
from api.pages.shared.frame import Frame
from api.routes.shared.fields import Fields
from scheduler.domain.checks.first_run import (
    JobKindJson,
    PumpEntered,
    ShipEntered,
    asked_kinds,
    counter_of,
    due_at_counter,
    slug,
)
from scheduler.errors import Refused
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.wording.figures import inner
from scheduler.wording.hours import counts_words, unit_name

UNITS = {"3600": "hours", "360": "0.1 h", "36": "0.01 h", "60": "minutes", "1": "seconds"}
FIRST_ROWS, MOST_ROWS = 3, 24
SHIP_FIELDS = (
    ("ship", marked("Name of the ship"), "text", ""),
    ("imo", marked("IMO number"), "text", marked("Seven digits")),
    ("offset", marked("Ship time, hours from UTC"), "text", marked("1, or -3.5")),
    ("plant", marked("Name of the plant"), "text", marked("Vacuum plant")),
    ("receiver", marked("Receiver, m³"), "text", marked("All of the vacuum side that the pumps hold")),
    ("start", marked("Pumps start at, kPa below atmosphere"), "text", marked("As 36")),
    ("stop", marked("Pumps stop at, kPa below atmosphere"), "text", marked("As 50")),
    (
        "minimum",
        marked("Least that must be swept at any hour, m³/h"),
        "text",
        marked("With how many pumps running the ship still does"),
    ),
)
"""Name, label, type and hint of the fields about ship and plant."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CellShown:
    """A cell of the table. unit: it is a choice among units; fault: what is wrong with it."""

    name: str
    label: str
    value: str
    fault: str = ""
    unit: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstRow:
    """A pump's row. then: what follows from it, when each job is due at its counter, in words."""

    cells: tuple[CellShown, ...]
    then: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstView(FormState):
    """The page. heads: of the table's columns; seen: it was looked at."""

    frame: Frame
    heading: str
    heads: tuple[str, ...]
    rows: tuple[FirstRow, ...]
    idempotency_key: str
    units: Mapping[str, str]
    seen: bool = False
    pasted: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelShown:
    """A label: the code of the pump's page, the position, the serial number."""

    code: Markup
    position: str
    serial: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelsView:
    """The sheet of labels. new: the ship was set up just now."""

    frame: Frame
    labels: tuple[LabelShown, ...]
    plant_href: str
    hours_href: str
    new: bool


def first_run_page(view: FirstView, *, light: str, csrf: str) -> str:
    """The first run."""
    return layout.render(
        "first.html",
        view.frame,
        light,
        csrf,
        view=view,
        fields=[(name, _(label), kind, _(hint) if hint else "") for name, label, kind, hint in SHIP_FIELDS],
    )


def labels_page(view: LabelsView, *, light: str, csrf: str) -> str:
    """The sheet of labels."""
    return layout.render("labels.html", view.frame, light, csrf, view=view)


@cache
def example_kinds() -> tuple[JobKindJson, ...]:
    """The job kinds of the example ship: every interval in them is an example."""
    found = json.loads((layout.STATIC / "example-ship.json").read_text(encoding="utf-8"))["plants"][0]["job_kinds"]
    return tuple(found)


def columns() -> list[tuple[str, str]]:
    """(name, heading) of the table's columns, in the order of a pasted spreadsheet."""
    found = [
        ("name", _("Pump")),
        ("serial", _("Serial")),
        ("rated", _("Rated, m³/h")),
        ("shows", _("Counter shows")),
        ("unit", _("It counts")),
    ]
    for kind in asked_kinds(example_kinds()):
        name = inner(str(kind["name"]))
        found += [
            (f"{kind['code']}-at", _("Last {name} at", name=name)),
            (f"{kind['code']}-on", _("Last {name} on", name=name)),
        ]
    return found


def row_count(values: Mapping[str, str]) -> int:
    """How many rows the form has."""
    numbers = [int(found[1]) for name in values if (found := re.fullmatch(r"r(\d{1,2})-name", name))]
    return min(max(numbers, default=FIRST_ROWS - 1) + 1, MOST_ROWS)


def pasted_values(text: str) -> dict[str, str]:
    """The cells of a table copied from a spreadsheet, by the names of the fields; a line of headings is left out.

    Raises:
        Refused: it has no line, or too many.
    """
    lines = [line for line in text.splitlines() if line.strip()]
    if lines and "serial" in lines[0].lower():
        lines = lines[1:]
    if not 1 <= len(lines) <= MOST_ROWS:
        says = _(
            "1 to {most_rows} lines are expected, one a pump, with tabs between the cells as a spreadsheet copies them.",
            most_rows=MOST_ROWS,
        )
        raise Refused(says, faults=[("/pasted", says)])
    names = [name for name, head in columns()]
    units = {words: per for per, words in UNITS.items()} | {"tenths": "360", "min": "60", "h": "3600", "s": "1"}
    found = {}
    for row, line in enumerate(lines):
        cells = [cell.strip() for cell in line.split("\t")]
        for name, cell in zip(names, cells, strict=False):
            found[f"r{row}-{name}"] = units.get(cell.lower(), cell or "3600") if name == "unit" else cell
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstEntered:
    """What was typed, as far as it could be read. pumps: by the number of their row."""

    ship: ShipEntered | None
    pumps: Mapping[int, PumpEntered]
    faults: Mapping[str, str]


def entered(values: Mapping[str, str], at: datetime) -> FirstEntered:
    """What was typed, with one fault a cell."""
    fields = Fields(values)
    ship = _ship(fields)
    pumps = {}
    for row in range(row_count(values)):
        if any(values.get(f"r{row}-{name}", "").strip() for name, head in columns() if name not in ("unit", "name")):
            pump = _pump(fields, row, at)
            if pump is not None:
                pumps[row] = pump
    if not pumps and not fields.faults:
        fields.fault("r0-serial", _("at least one pump is needed"))
    for what in ("serial", "position"):
        seen: dict[str, int] = {}
        for row, one in pumps.items():
            text = getattr(one, what).casefold()
            if text in seen:
                fields.fault(f"r{row}-{'serial' if what == 'serial' else 'name'}", _("another row has the same"))
            seen[text] = row
    faults: dict[str, str] = {}
    for pointer, says in fields.faults:
        faults.setdefault(pointer.lstrip("/"), says)
    return FirstEntered(ship=ship, pumps=pumps, faults=faults)


def _needed(fields: Fields, name: str, *, least: float = 0.0) -> float:
    value = fields.figure(name, empty=_("this is empty; a figure is expected"))
    if value is not None and not least < value < 1e9:
        fields.fault(name, _("more than {least} is expected").format(least=f"{least:g}"))
    return value or 0.0


def _ship(fields: Fields) -> ShipEntered | None:
    before = len(fields.faults)
    name, imo, plant = (fields.text(one, 60) for one in ("ship", "imo", "plant"))
    if not slug(name):
        fields.fault("ship", _("this is empty; the ship's name is expected"))
    offset = fields.figure("offset", empty=_("this is empty; 0 for UTC"))
    if offset is not None and not -12 <= offset <= 14:
        fields.fault("offset", _("-12 to 14 hours are expected"))
    receiver, start, stop, minimum = (_needed(fields, one) for one in ("receiver", "start", "stop", "minimum"))
    if len(fields.faults) > before:
        return None
    return ShipEntered(
        name=name,
        imo=imo,
        utc_offset_minutes=round((offset or 0) * 60),
        plant=plant or _("Vacuum plant"),
        receiver_m3=receiver,
        start_vacuum_kpa=start,
        stop_vacuum_kpa=stop,
        minimum_swept_m3_per_h=minimum,
    )


def _pump(fields: Fields, row: int, at: datetime) -> PumpEntered | None:
    before, own = len(fields.faults), f"r{row}-"
    serial, position = fields.text(f"{own}serial", 60), fields.text(f"{own}name", 30) or f"VP{row + 1}"
    if not serial:
        fields.fault(f"{own}serial", _("this is empty; the number on the pump's plate is expected"))
    rated = _needed(fields, f"{own}rated")
    shows = fields.figure(f"{own}shows", empty=_("this is empty; what the counter shows is expected"))
    if shows is not None and not 0 <= shows <= 1e9:
        fields.fault(f"{own}shows", _("0 or more is expected"))
    unit = fields.text(f"{own}unit") or "3600"
    if unit not in UNITS:
        fields.fault(f"{own}unit", _("one of {several} is expected", several=", ".join(counting_words().values())))
        unit = "3600"
    last = {}
    for kind in asked_kinds(example_kinds()):
        code = str(kind["code"])
        figure, on = fields.figure(f"{own}{code}-at"), fields.day(f"{own}{code}-on")
        typed_at, typed_on = fields.text(f"{own}{code}-at"), fields.text(f"{own}{code}-on")
        if bool(typed_at) != bool(typed_on):
            fields.fault(
                f"{own}{code}-{'on' if typed_at else 'at'}",
                _("give both, or leave both empty: not known is an answer"),
            )
        if figure is not None and shows is not None and not 0 <= figure <= shows:
            more = _("{counts_words} is more than the counter shows", counts_words=counts_words(round(figure * 1000)))
            fields.fault(f"{own}{code}-at", more if figure > 0 else _("0 or more is expected"))
        if on is not None and on > at.date():
            fields.fault(f"{own}{code}-on", _("this is still to come"))
        if figure is not None and on is not None:
            last[code] = (figure, on)
    if len(fields.faults) > before:
        return None
    return PumpEntered(
        position=position,
        serial=serial,
        rated_swept_m3_per_h=rated,
        shows=shows or 0.0,
        seconds_per_count=int(unit),
        last=last,
    )


def first_rows(
    values: Mapping[str, str], read: FirstEntered | None, at: datetime, *, more: int = 0
) -> tuple[FirstRow, ...]:
    """The rows as typed, with what follows from each. more: empty rows to add."""
    found = []
    for row in range(min(row_count(values) + more, MOST_ROWS)):
        cells = tuple(
            CellShown(
                name=f"r{row}-{name}",
                label=_("Row {row}, {head}", row=row + 1, head=head),
                value=values.get(
                    f"r{row}-{name}", f"VP{row + 1}" if name == "name" else "3600" if name == "unit" else ""
                ),
                fault=read.faults.get(f"r{row}-{name}", "") if read else "",
                unit=name == "unit",
            )
            for name, head in columns()
        )
        pump = read.pumps.get(row) if read else None
        found.append(FirstRow(cells=cells, then=() if pump is None else _then(pump, at)))
    return tuple(found)


def _then(pump: PumpEntered, at: datetime) -> tuple[str, ...]:
    kinds = example_kinds()
    said = []
    for kind in asked_kinds(kinds):
        due = due_at_counter(pump, kind, kinds, at)
        name = inner(str(kind["name"]))
        said.append(
            _("{name}: last time not known, planned as due now", name=name)
            if due is None
            else _("{name} due at {counts_words}", name=name, counts_words=counts_words(due))
        )
    return tuple(said)


def reads_of(key: str, pumps: Sequence[PumpEntered]) -> list[tuple[str, float]]:
    """(counter id, what it shows) of each row."""
    return [(counter_of(key, number), one.shows) for number, one in enumerate(pumps)]


def counting_words() -> Mapping[str, str]:
    """What a counter may count, for the choice."""
    return {per: unit_name(int(per)) if per == "3600" else words for per, words in UNITS.items()}
