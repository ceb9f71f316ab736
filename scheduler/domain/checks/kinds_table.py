"""Job kinds from a spreadsheet: a row a kind, a column a member; every bad cell is named, none stops the others.

A code that the plant has is changed in the columns that the sheet has and keeps the rest; a new code is added; a kind that
is not in the sheet stays as it is. Several steps, tools or renewed codes in a cell stand on lines of their own or between |.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from scheduler.domain.base.enums import Subject
from scheduler.domain.checks.job_kinds import kind_faults
from scheduler.domain.vessel.document import Plant
from scheduler.domain.vessel.job_kinds import JobKind
from scheduler.domain.voyage.from_csv import CellFault

MOST_ROWS = 200
TEXTS = ("code", "name", "part_kind", "note")
WHOLES = (
    "takes_hours",
    "hands",
    "setup_hours",
    "stop_minutes",
    "window_running_hours",
    "window_days",
    "tolerance_running_hours",
    "tolerance_days",
)
INTERVALS = ("interval_running_hours", "interval_months", "interval_days")
TICKS = ("takes_pump_out", "critical", "class_item")
LISTS = ("renews", "needs", "steps", "tools")
COLUMNS = (*TEXTS, "subject", *WHOLES, *INTERVALS, *TICKS, *LISTS)
NEEDED_NEW = ("name", "subject", "takes_hours")
_YES, _NO = ("yes", "y", "true", "1", "x"), ("no", "n", "false", "0", "")


@dataclass(frozen=True, slots=True, kw_only=True)
class KindsPreview:
    """What the sheet would do. plant: with the kinds taken in; it is as before while there are faults."""

    added: tuple[str, ...]
    changed: tuple[str, ...]
    same: tuple[str, ...]
    faults: tuple[CellFault, ...]
    plant: Plant


def read_kinds(rows: Sequence[Sequence[str]], plant: Plant) -> KindsPreview:
    """The kinds of a sheet whose first row names the columns.

    Args:
        rows: cells as text; rows without a single filled cell are passed over.
    """
    names = [cell.strip().casefold().replace(" ", "_") for cell in (rows[0] if rows else ())]
    faults = _head_faults(names, len(rows))
    if faults:
        return KindsPreview(added=(), changed=(), same=(), faults=tuple(faults), plant=plant)
    before = {kind.code: kind for kind in plant.job_kinds}
    read: dict[str, tuple[int, JobKind]] = {}
    for number, cells in enumerate(rows[1:], 2):
        if not any(cell.strip() for cell in cells):
            continue
        given = {name: (cells[i].strip() if i < len(cells) else "") for i, name in enumerate(names)}
        values: dict[str, Any] = {}
        bad = len(faults)
        for name, text in given.items():
            try:
                _put(values, name, text)
            except ValueError as error:
                faults.append(CellFault(row=number, column=name, found=text, says=str(error)))
        code = values.get("code", "")
        if code in read:
            faults.append(CellFault(row=number, column="code", found=code, says="this code stands in another row too."))
        elif code not in before:
            faults += [
                CellFault(row=number, column=name, found="", says="a new kind needs it; fill it in.")
                for name in NEEDED_NEW
                if name not in values and given.get(name, "") == ""
            ]
        if len(faults) == bad:
            old = before.get(code)
            if old is not None and "steps" in values:
                known = {step.text: given for step, given in zip(old.sheet, old.steps, strict=True)}
                values["steps"] = tuple(known.get(text, text) for text in values["steps"])  # a step keeps its place
            read[code] = number, (JobKind(**values) if old is None else replace(old, **values))
    kinds = [read[kind.code][1] if kind.code in read else kind for kind in plant.job_kinds]
    kinds += [kind for code, (_, kind) in read.items() if code not in before]
    after = replace(plant, job_kinds=tuple(kinds))
    for number, kind in read.values():
        for pointer, says in kind_faults("", kind, after):
            column = pointer.strip("/").split("/")[0] or "code"
            faults.append(CellFault(row=number, column=column, found=str(getattr(kind, column, "")), says=says))
    return KindsPreview(
        added=tuple(code for code in read if code not in before),
        changed=tuple(code for code, (_, kind) in read.items() if code in before and kind != before[code]),
        same=tuple(code for code, (_, kind) in read.items() if code in before and kind == before[code]),
        faults=tuple(sorted(faults, key=lambda one: one.row)),
        plant=plant if faults else after,
    )


def _head_faults(names: Sequence[str], rows: int) -> list[CellFault]:
    faults = [
        CellFault(row=1, column=name, found=name, says=f"no such column; known: {', '.join(COLUMNS)}.")
        for name in names
        if name and name not in COLUMNS
    ]
    faults += [
        CellFault(row=1, column=name, found=name, says="this column stands twice.")
        for name in {one for one in names if one and names.count(one) > 1}
    ]
    if "code" not in names:
        faults.append(
            CellFault(row=1, column="code", found="", says="the first row names the columns; code is needed.")
        )
    if rows > MOST_ROWS:
        faults.append(CellFault(row=0, column="", found=str(rows), says=f"at most {MOST_ROWS} rows are taken."))
    return faults


def _put(values: dict[str, Any], name: str, text: str) -> None:
    """Put what the cell says into `values`; an empty one says nothing, but of an interval: none."""
    if not name:
        return
    if name in INTERVALS:
        values[name] = None if text == "" else _whole(text)
    elif name in TICKS:
        if text.casefold() not in (*_YES, *_NO):
            raise ValueError("yes or no was expected.")
        if text:
            values[name] = text.casefold() in _YES
    elif text == "" and name != "code":
        return
    elif name in WHOLES:
        values[name] = _whole(text)
    elif name == "subject":
        if text not in [subject.value for subject in Subject]:
            raise ValueError(f"one of {', '.join(subject.value for subject in Subject)} was expected.")
        values[name] = Subject(text)
    elif name in LISTS:
        values[name] = tuple(filter(None, (part.strip() for part in text.replace("\n", "|").split("|"))))
    else:
        values[name] = text


def _whole(text: str) -> int:
    held = text.removesuffix(".0")
    if not (held.isascii() and held.isdigit() and len(held) < 10):
        raise ValueError("a whole number was expected, such as 1500.")
    return int(held)
