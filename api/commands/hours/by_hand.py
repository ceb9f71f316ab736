"""Hours read by eye, and what was posted and not stored."""

import csv
import json
import sys
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NamedTuple

import typer

from api.commands.shared.command import (
    Output,
    command,
    counter_place,
    hand,
    instant_or_now,
    say,
    ship_stamps,
    vessel_must_be,
)
from api.commands.shared.groups import app
from api.commands.shared.options import INSTANT, CounterId, VesselId, parse_figure, parse_instant
from api.commands.shared.streams import STREAM, named, read_text, shows_terminal

if TYPE_CHECKING:
    from scheduler.actions.base.context import Context
    from scheduler.actions.hours.by_hand import HandCounter, Read

ALL_SAID = 20
"""So many values are said one by one; of a longer file what was not simply stored, and how many were."""


class Line(NamedTuple):
    """A value as it was given. number: its line in a file, 0 on the command line. name: as typed."""

    number: int
    name: str
    text: str
    observed: str


Judged = list[tuple[Line, dict[str, Any]]]
ReadAt = Annotated[datetime | None, typer.Option(help="when read, ship time or with offset (default: now)", **INSTANT)]


@command(app)
def hours(
    context: "Context",
    vessel: VesselId,
    pairs: Annotated[
        list[str] | None, typer.Argument(help="position or counter, =, what it shows: vp1=12345 vp2=9876.5")
    ] = None,
    file: Annotated[
        Path | None,
        typer.Option(help="CSV, a value a line: counter,value or counter,value,instant; - for stdin"),
    ] = None,
    at: ReadAt = None,
) -> Output:
    """Store what the counters of a ship show, read by eye. Asks for each one at a terminal when nothing is given.

    Example: leadline hours demo-plover vp1=12345 vp2=9876.5 --at 2026-11-25T07:00:00Z
    """
    from api.pages.hours.hand import judged_words
    from scheduler.actions.hours import by_hand
    from scheduler.actions.vessel import fleet
    from scheduler.errors import Refused

    known = by_hand.hand_counters(context, vessel)

    def when(given: datetime | None) -> datetime:
        return instant_or_now(context, vessel, given)

    judged: Judged = []
    if pairs:
        values = _read([Line(0, *pair.partition("=")[::2], "") for pair in pairs], known, when(at), when, judged)
    elif file is not None or not shows_terminal(sys.stdin):
        values = _read(_rows(file), known, when(at), when, judged)
    else:
        values = _asked(known, when(at), fleet.offset_now(context, vessel))
    if values:
        reads = [read for _, read in values]
        asked = {"hours": [[one.counter, one.at.isoformat(), one.value] for one in reads]}
        with by_hand.own_intake(context) as intake:
            stored = by_hand.store_by_hand(context, intake, hand(context, asked), vessel, reads)
        judged += [
            (line, {"counter": one.counter, "status": one.status, "says": judged_words(one), "stored": one.taken})
            for (line, _), one in zip(values, stored, strict=True)
        ]
    elif not judged:
        raise Refused("No hours were given. Name them as vp1=12345, give --file, or run it at a terminal.")
    judged.sort(key=lambda one: one[0].number)
    readings = [{**one, "line": line.number or None} for line, one in judged]
    code = 0 if all(one["stored"] for _, one in judged) else 1
    return Output({"vessel": vessel, "readings": readings}, _judged_lines(judged), code=code)


def _judged_lines(judged: Judged) -> Iterator[str]:
    short = len(judged) <= ALL_SAID
    for line, one in judged:
        if short or not one["stored"]:
            where = f"line {line.number}, " if line.number else ""
            yield f"{where}{one['counter']}: {one['says']}"
    if not short:
        stored = sum(one["stored"] for _, one in judged)
        yield f"{stored} of {len(judged)} values stored or known already."


def _rows(file: Path | None) -> Iterator[Line]:
    """Rows of a CSV file or of standard input; a heading and empty lines are passed over."""
    from scheduler.errors import Refused

    source = file or Path(STREAM)
    rows = csv.reader(read_text(source).splitlines())
    try:
        for row in rows:
            cells = [cell.strip() for cell in row]
            if any(cells) and [cell.lower() for cell in cells[:2]] != ["counter", "value"]:
                yield Line(rows.line_num, *[*cells, "", ""][:3])
    except csv.Error as error:
        raise Refused(f"{named(source)} is no CSV: {error}.") from error


def _read(
    lines: Iterable[Line],
    known: "list[HandCounter]",
    at: datetime,
    when: Callable[[datetime | None], datetime],
    judged: Judged,
) -> "list[tuple[Line, Read]]":
    """The values that can be read; why another cannot goes into `judged`, by the name it was given."""
    from scheduler.actions.hours import by_hand
    from scheduler.errors import SchedulerError
    from scheduler.parsing import Unreadable, figure
    from scheduler.wording.faults import unreadable_words

    values = []
    for line in lines:
        try:
            counter = by_hand.named(known, line.name)
            value = figure(line.text)
            if value is None:
                raise typer.BadParameter(
                    "no value stands beside it; write it as vp1=12345, or counter,value in a file."
                )
            read_at = when(parse_instant(line.observed)) if line.observed else at
            values.append((line, by_hand.Read(counter.id, read_at, value)))
        except (SchedulerError, Unreadable, typer.BadParameter) as error:
            told = unreadable_words(error) if isinstance(error, Unreadable) else str(error)
            why = error.message if isinstance(error, typer.BadParameter) else told
            judged.append(
                (line, {"counter": line.name, "status": "refused", "says": f"Refused: {why}", "stored": False})
            )
    return values


def _asked(known: "list[HandCounter]", at: datetime, offset_minutes: int) -> "list[tuple[Line, Read]]":
    """Asks counter by counter; an empty answer leaves one out, one that is no figure is asked again."""
    from scheduler.actions.hours.by_hand import Read
    from scheduler.parsing import Unreadable, figure
    from scheduler.shiptime import moment_text
    from scheduler.wording.faults import unreadable_words
    from scheduler.wording.hours import counts_words

    say(f"Read at {moment_text(at, offset_minutes)}, ship time (another: --at). Enter alone leaves a counter out.")
    values: list[tuple[Line, Read]] = []
    for counter in known:
        last = "never read"
        if counter.newest is not None:
            last = f"{counts_words(counter.newest[1])} on {moment_text(counter.newest[0], offset_minutes)}"
        while True:
            print(f"{counter.position} {counter.id}, {last}: ", end="", file=sys.stderr, flush=True)
            try:
                value = figure(sys.stdin.readline())
            except Unreadable as error:
                say(unreadable_words(error))
                continue
            if value is not None:
                values.append((Line(0, counter.id, str(value), ""), Read(counter.id, at, value)))
            break
    return values


@command(app)
def intake(
    context: "Context",
    vessel: VesselId,
    counter: Annotated[str | None, typer.Option(help="only of this counter, as it was named")] = None,
    limit: Annotated[int, typer.Option(min=1, max=10_000, help="at most this many, newest first")] = 50,
) -> Output:
    """Show what was posted and not stored: refused and conflicting readings as they came, and why.

    Example: leadline intake demo-plover --limit 20
    """
    from api.routes.answers.hours import IntakeItem
    from scheduler.actions.hours import questions

    vessel_must_be(context, vessel)
    ship = ship_stamps(context, vessel)
    rows = [IntakeItem.of(row).plain() for row in questions.intake_log(context, vessel, limit, counter)]
    lines = [
        f"{ship(row['received_at'])}  {row['status']:8} {json.dumps(row['counter'])}  {row['why']}  {row['item']}"
        for row in rows
    ]
    return Output({"items": rows}, lines, [] if rows else ["Every reading that came was stored."])


@command(app)
def reading(
    context: "Context",
    counter: CounterId,
    value: Annotated[float, typer.Argument(help="what the counter shows", parser=parse_figure())],
    at: ReadAt = None,
) -> Output:
    """Post a counter's reading by hand.

    Example: leadline reading plover-vp1-hours 12006 --at 2026-11-25T07:00:00Z
    """
    from api.pages.hours.hand import judged_words
    from scheduler.actions.hours import by_hand
    from scheduler.errors import Refused

    place = counter_place(context, counter)
    read = by_hand.Read(counter, instant_or_now(context, place.vessel_id, at), value)
    with by_hand.own_intake(context) as intake:
        asked = {"reading": counter, "at": read.at.isoformat(), "value": value}
        (one,) = by_hand.store_by_hand(context, intake, hand(context, asked), place.vessel_id, [read])
    if not one.taken:
        raise Refused(one.why)
    entry = one.entry
    verdict = "" if entry is None else f"{entry.verdict}: {entry.reason}" if entry.reason else str(entry.verdict)
    says = judged_words(one)
    return Output(
        {"counter": counter, "status": one.status, "verdict": verdict, "says": says},
        [f"{one.status}; {verdict or 'judged with the next reading'}. {says}"],
    )
