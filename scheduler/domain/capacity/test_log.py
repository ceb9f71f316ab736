"""A log of a pull-down and hold test, as a logger or a spreadsheet writes it: CSV with a header, read with each bad cell named.

Time column: `seconds`, or `at` (RFC 3339 with offset). Pressure column, the unit in its name: `vacuum_kpa`, `vacuum_mbar`,
`vacuum_bar`, `vacuum_inhg` (below atmosphere, positive) or `pressure_kpa`, `pressure_mbar`, `pressure_bar` (absolute). Other
columns are passed over. Comma or semicolon; a decimal comma is taken where the semicolon parts the cells.
"""

import csv
from collections.abc import Iterable, Sequence
from datetime import datetime
from math import isfinite
from typing import NamedTuple

from scheduler.domain.capacity.minimum import ATMOSPHERE_KPA
from scheduler.domain.capacity.tests import Sample
from scheduler.errors import Refused

INHG_KPA = 3.386389
"""Source: NIST SP 811, conventional inch of mercury (from memory)."""
_UNITS = {"kpa": 1.0, "mbar": 0.1, "bar": 100.0, "inhg": INHG_KPA}
_PRESSURES = {f"{kind}_{unit}": (kind, per) for kind in ("vacuum", "pressure") for unit, per in _UNITS.items()}
MOST_LINES = 100_000
_MOST_FAULTS = 20


class Logged(NamedTuple):
    """A log's two parts; the hold is empty when the log ends with the pull-down."""

    pull: list[Sample]
    hold: list[Sample]


def read_log(lines: Iterable[str]) -> Logged:
    """The pull-down (from the last highest pressure to the lowest) and the hold after it.

    Raises:
        Refused: a column is missing or a cell cannot be read; `faults` names each by line and column.
    """
    samples = _samples(lines)
    lowest = min(range(len(samples)), key=lambda i: samples[i].kpa)
    highest = max(range(lowest + 1), key=lambda i: (samples[i].kpa, i))
    return Logged(samples[highest : lowest + 1], samples[lowest:] if lowest + 1 < len(samples) else [])


def _samples(lines: Iterable[str]) -> list[Sample]:
    rows = [line for line in lines if line.strip()]
    if len(rows) > MOST_LINES:
        raise Refused(f"The log has {len(rows)} lines; {MOST_LINES} at most were expected. Cut it to the test.")
    if len(rows) < 2:
        raise Refused("The log is empty: a header and a line a sample were expected.")
    head = rows[0].lstrip("\ufeff")
    parted = ";" if head.count(";") > head.count(",") else ","
    names = [name.strip().lower() for name in next(csv.reader([head], delimiter=parted))]
    time, pressure = _columns(names)
    kind, per_unit = _PRESSURES[names[pressure]]
    samples: list[Sample] = []
    faults: list[tuple[str, str]] = []
    first: datetime | None = None
    for number, cells in enumerate(csv.reader(rows[1:], delimiter=parted), 2):
        try:
            if names[time] == "at":
                at = _instant(_cell(cells, time))
                first = first or at
                seconds = (at - first).total_seconds()
            else:
                seconds = _figure(_cell(cells, time), parted)
        except ValueError as error:
            faults.append((f"line {number}, {names[time]}", str(error)))
            continue
        try:
            figure = _figure(_cell(cells, pressure), parted) * per_unit
            kpa = ATMOSPHERE_KPA - figure if kind == "vacuum" else figure
            if not 0 < kpa <= 1.2 * ATMOSPHERE_KPA:
                raise ValueError(
                    f"{cells[pressure].strip()} is {kpa:.1f} kPa absolute, which no receiver holds; check unit and sign"
                )
        except ValueError as error:
            faults.append((f"line {number}, {names[pressure]}", str(error)))
            continue
        if samples and seconds <= samples[-1].seconds:
            faults.append((f"line {number}, {names[time]}", "not later than the line before; put the lines in order"))
            continue
        samples.append(Sample(seconds, kpa))
    if faults:
        more = f" and {len(faults) - 1} more" if len(faults) > 1 else ""
        raise Refused(f"The log cannot be read: {faults[0][0]}: {faults[0][1]}{more}.", faults=faults[:_MOST_FAULTS])
    return samples


def _columns(names: Sequence[str]) -> tuple[int, int]:
    time = next((i for i, name in enumerate(names) if name in ("seconds", "at")), None)
    pressures = [i for i, name in enumerate(names) if name in _PRESSURES]
    if time is None:
        raise Refused(f"The log's header is {', '.join(names)}: a column seconds or at was expected. Add it.")
    if len(pressures) != 1:
        raise Refused(
            f"The log's header is {', '.join(names)}: one of {', '.join(_PRESSURES)} was expected, with the unit in the name. "
            "Name the pressure column so."
        )
    return time, pressures[0]


def _cell(cells: Sequence[str], column: int) -> str:
    if column >= len(cells) or not cells[column].strip():
        raise ValueError("empty; a figure was expected")
    return cells[column].strip()


def _figure(text: str, parted: str) -> float:
    try:
        figure = float(text.replace(",", ".") if parted == ";" else text)
    except ValueError:
        raise ValueError(f"{text[:40]!r} is not a number") from None
    if not isfinite(figure):
        raise ValueError(f"{text[:40]!r} is not a figure")
    return figure


def _instant(text: str) -> datetime:
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text[:40]!r} is not an instant such as 2026-11-03T14:00:00Z") from None
    if at.tzinfo is None:
        raise ValueError(f"{text[:40]!r} has no offset; add Z for UTC")
    return at
