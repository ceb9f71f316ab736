"""Hours read by eye, and what was posted and not stored."""

import sys
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NamedTuple

import typer

from api.commands.shared.common import AsJson, app, command_context, hand, instant_given, me, out, say

if TYPE_CHECKING:
    from scheduler.actions.hours.by_hand import HandCounter, Read

ALL_SAID = 20
"""So many values are said one by one; of a longer file what was not simply stored, and how many were."""


class Line(NamedTuple):
    """A value as it was given. number: its line in a file, 0 on the command line. name: as typed."""

    number: int
    name: str
    text: str
    observed: str


@app.command()
def hours(
    vessel: Annotated[str, typer.Argument(help="vessel id")],
    pairs: Annotated[
        list[str] | None, typer.Argument(help="position or counter, =, what it shows: vp1=12345 vp2=9876.5")
    ] = None,
    file: Annotated[
        Path | None,
        typer.Option(
            help="CSV, a value a line: counter,value or counter,value,instant_given (with its offset); - for stdin"
        ),
    ] = None,
    at: Annotated[str | None, typer.Option(help="when they were read, with offset (default: now)")] = None,
    as_json: AsJson = False,
) -> None:
    """Store what the counters of a ship show, read by eye. Asks for each one at a terminal when nothing is given.

    Example: leadline hours demo-plover vp1=12345 vp2=9876.5 --at 2026-11-25T07:00:00Z
    """
    from api.pages.hours.hand import judged_words
    from scheduler.actions.hours import by_hand
    from scheduler.errors import Refused

    when = instant_given(at)
    with command_context() as context:
        known = by_hand.hand_counters(context, vessel)
        told: list[tuple[Line, dict[str, Any]]] = []
        if pairs:
            values = _read([Line(0, *pair.partition("=")[::2], "") for pair in pairs], known, when, told)
        elif file is not None or not sys.stdin.isatty():
            values = _read(_rows(file), known, when, told)
        else:
            values = _asked(known, when)
        if values:
            reads = [read for _, read in values]
            asked = {"hours": [[one.counter, one.at.isoformat(), one.value] for one in reads]}
            with by_hand.own_intake(context) as intake:
                judged = by_hand.store_by_hand(context, intake, hand(asked), vessel, reads)
            told += [
                (line, {"counter": one.counter, "status": one.status, "says": judged_words(one), "stored": one.taken})
                for (line, _), one in zip(values, judged, strict=True)
            ]
        elif not told:
            raise Refused("No hours were given. Name them as vp1=12345, give --file, or run it at a terminal.")
    told.sort(key=lambda one: one[0].number)
    out(
        {"vessel": vessel, "readings": [{**said, "line": line.number or None} for line, said in told]},
        as_json,
        lambda: _said(told),
    )
    if not all(said["stored"] for _, said in told):
        raise typer.Exit(1)


def _said(told: "list[tuple[Line, dict[str, Any]]]") -> Iterator[str]:
    short = len(told) <= ALL_SAID
    for line, said in told:
        if short or not said["stored"]:
            where = f"line {line.number}, " if line.number else ""
            yield f"{where}{said['counter']}: {said['says']}"
    if not short:
        kept = sum(said["stored"] for _, said in told)
        yield f"{kept} of {len(told)} values stored or known already."


def _rows(file: Path | None) -> Iterator[Line]:
    """Rows of a CSV file or of standard input; a heading and empty lines are passed over."""
    import csv

    from scheduler.errors import NotFound

    if file is None or str(file) == "-":
        lines: Iterable[str] = sys.stdin
    else:
        try:
            lines = file.read_text(encoding="utf-8-sig").splitlines()
        except (OSError, UnicodeDecodeError) as error:
            raise NotFound(f"{file} cannot be read as text: {error}. Give a CSV file in UTF-8.") from error
    rows = csv.reader(lines)
    for row in rows:
        cells = [cell.strip() for cell in row]
        if any(cells) and [cell.lower() for cell in cells[:2]] != ["counter", "value"]:
            yield Line(rows.line_num, *[*cells, "", ""][:3])


def _read(
    lines: Iterable[Line], known: "list[HandCounter]", when: datetime, told: list[tuple[Line, dict[str, Any]]]
) -> "list[tuple[Line, Read]]":
    """The values that can be read; why another cannot goes into `told`, by the name it was given."""
    from scheduler.actions.hours import by_hand
    from scheduler.errors import SchedulerError
    from scheduler.parsing import figure

    values = []
    for line in lines:
        why = ""
        try:
            counter = by_hand.named(known, line.name)
            value = figure(line.text)
            if value is None:
                raise ValueError("no value stands beside it; write it as vp1=12345, or counter,value in a file.")
            values.append(
                (line, by_hand.Read(counter.id, instant_given(line.observed) if line.observed else when, value))
            )
        except (SchedulerError, ValueError) as error:
            why = str(error)
        except typer.BadParameter as error:
            why = error.message
        if why:
            told.append((line, {"counter": line.name, "status": "refused", "says": f"Refused: {why}", "stored": False}))
    return values


def _asked(known: "list[HandCounter]", when: datetime) -> "list[tuple[Line, Read]]":
    """Asks counter by counter; an empty answer leaves one out, one that is no figure is asked again."""
    from api.pages.hours.asking import figure_text
    from scheduler.actions.hours.by_hand import Read
    from scheduler.parsing import figure

    say(f"Read at {when:%Y-%m-%d %H:%M} UTC (another instant: --at). Enter alone leaves a counter out.")
    values: list[tuple[Line, Read]] = []
    for counter in known:
        last = "never read" if counter.newest is None else _last(counter.newest, figure_text)
        while True:
            print(f"{counter.position} {counter.id}, {last}: ", end="", file=sys.stderr, flush=True)
            text = sys.stdin.readline()
            try:
                value = figure(text)
            except ValueError as error:
                say(str(error))
                continue
            if value is not None:
                values.append((Line(0, counter.id, str(value), ""), Read(counter.id, when, value)))
            break
    return values


def _last(newest: tuple[datetime, int], text: Any) -> str:
    return f"{text(newest[1])} on {newest[0]:%d %b %H:%M} UTC"


@app.command("intake")
def intake(
    vessel: Annotated[str, typer.Argument(help="vessel id")],
    counter: Annotated[str | None, typer.Option(help="only of this counter, as it was named")] = None,
    limit: Annotated[int, typer.Option(min=1, max=10_000, help="at most this many, newest first")] = 50,
    as_json: AsJson = False,
) -> None:
    """Show what was posted and not stored: refused and conflicting readings as they came, and why.

    Example: leadline intake demo-plover --limit 20
    """
    import json

    from api.routes.answers.hours import IntakeItem
    from scheduler.actions.hours import questions as hours_questions
    from scheduler.actions.vessel import fleet

    with command_context() as context:
        fleet.get_vessel(context, me(), vessel)
        rows = [IntakeItem.of(row).plain() for row in hours_questions.intake_log(context, vessel, limit, counter)]
    if not rows:
        say("Every reading that came was stored.")
    out({"items": rows}, as_json, lambda: (_line(row, json.dumps) for row in rows))


def _line(row: Mapping[str, str], quoted: Any) -> str:
    return f"{row['received_at']}  {row['status']:8} {quoted(row['counter'])}  {row['why']}  {row['item']}"
