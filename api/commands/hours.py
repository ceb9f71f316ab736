"""Hours read by eye, and what was posted and not stored."""

import sys
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from api.commands.common import AsJson, app, hand, instant, me, open_house, out, say

if TYPE_CHECKING:
    from scheduler.actions.byhand import HandCounter

Values = dict[str, tuple[datetime, float]]


@app.command()
def hours(
    vessel: Annotated[str, typer.Argument(help="vessel id")],
    pairs: Annotated[
        list[str] | None, typer.Argument(help="position or counter, =, what it shows: vp1=12345 vp2=9876.5")
    ] = None,
    file: Annotated[
        Path | None, typer.Option(help="CSV file: counter,value or counter,value,instant a line; - for stdin")
    ] = None,
    at: Annotated[str | None, typer.Option(help="when they were read, with offset (default: now)")] = None,
    as_json: AsJson = False,
) -> None:
    """Store what the counters of a ship show, read by eye. Asks for each one at a terminal when nothing is given.

    Example: leadline hours demo-plover vp1=12345 vp2=9876.5 --at 2026-11-25T07:00:00Z
    """
    from api.hours.hand import judged_words
    from scheduler.actions import byhand
    from scheduler.errors import Refused

    when = instant(at)
    with open_house() as house:
        known = byhand.hand_counters(house, vessel)
        refused: dict[str, str] = {}
        if pairs:
            values = _read(((*pair.partition("=")[::2], "") for pair in pairs), known, when, refused)
        elif file is not None or not sys.stdin.isatty():
            values = _read(_rows(file), known, when, refused)
        else:
            values = _asked(known, when)
        judged: dict[str, Any] = {}
        if values:
            with byhand.own_intake(house) as intake:
                told = byhand.store_by_hand(house, intake, hand({"hours": sorted(values)}), vessel, values)
            judged = {
                name: {"counter": name, "status": one.status, "says": judged_words(one), "stored": one.taken}
                for name, one in told.items()
            }
        elif not refused:
            raise Refused("No hours were given. Name them as vp1=12345, give --file, or run it at a terminal.")
        for name, why in refused.items():
            judged[name] = {"counter": name, "status": "refused", "says": f"Refused: {why}", "stored": False}
    out(
        {"vessel": vessel, "readings": list(judged.values())},
        as_json,
        lambda: (f"{n}: {j['says']}" for n, j in judged.items()),
    )
    if not all(one["stored"] for one in judged.values()):
        raise typer.Exit(1)


def _rows(file: Path | None) -> Iterator[tuple[str, str, str]]:
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
    for row in csv.reader(lines):
        cells = [cell.strip() for cell in row]
        if any(cells) and [cell.lower() for cell in cells[:2]] != ["counter", "value"]:
            yield cells[0], cells[1] if len(cells) > 1 else "", cells[2] if len(cells) > 2 else ""


def _read(
    rows: Iterable[tuple[str, str, str]], known: "list[HandCounter]", when: datetime, refused: dict[str, str]
) -> Values:
    """The values that can be read; why another cannot goes into `refused`, by the name it was given."""
    from api.typed import figure
    from scheduler.actions import byhand
    from scheduler.errors import SchedulerError

    values: Values = {}
    for name, text, observed in rows:
        try:
            counter = byhand.named(known, name)
            value = figure(text)
            if value is None:
                raise ValueError("no value stands beside it; write it as vp1=12345, or counter,value in a file.")
            if counter.id in values:
                raise ValueError(f"{counter.id} is given twice; leave one out.")
            values[counter.id] = (instant(observed) if observed else when, value)
        except (SchedulerError, ValueError) as error:
            refused[name] = str(error)
        except typer.BadParameter as error:
            refused[name] = error.message
    return values


def _asked(known: "list[HandCounter]", when: datetime) -> Values:
    """Asks counter by counter; an empty answer leaves one out, one that is no figure is asked again."""
    from api.hours.asking import figure_text
    from api.typed import figure

    say(f"Read at {when:%Y-%m-%d %H:%M} UTC (another instant: --at). Enter alone leaves a counter out.")
    values: Values = {}
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
                values[counter.id] = (when, value)
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

    from api.shapes import intake_json
    from scheduler.actions import fleet, questions

    with open_house() as house:
        fleet.get_vessel(house, me(), vessel)
        rows = [intake_json(row) for row in questions.intake_log(house, vessel, limit, counter)]
    if not rows:
        say("Every reading that came was stored.")
    out({"items": rows}, as_json, lambda: (_line(row, json.dumps) for row in rows))


def _line(row: Mapping[str, str], quoted: Any) -> str:
    return f"{row['received_at']}  {row['status']:8} {quoted(row['counter'])}  {row['why']}  {row['item']}"
