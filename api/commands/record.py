"""The record: exported and verified; the reliability that it shows."""

import sys
from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from api.commands.shared.command import Output, acting, command, command_context, instant_or_none, vessel_must_be
from api.commands.shared.exit_codes import ExitCode
from api.commands.shared.groups import app
from api.commands.shared.options import INSTANT, VesselId, one_of
from api.commands.shared.streams import STREAM, read_lines, shows_terminal, write_pieces

if TYPE_CHECKING:
    from scheduler.actions.base.context import Context
    from scheduler.domain.record.verify import Broken, Verified


def _instant(says: str, *words: str) -> Any:
    return typer.Option(*words, help=f"{says}, ship time or with offset", **INSTANT)


@command(app)
def history(
    vessel: VesselId,
    out: Annotated[Path | None, typer.Option(help="file to write; - for stdout (the default)")] = None,
    form: Annotated[
        str | None,
        typer.Option(
            "--format",
            help="jsonl, csv, xlsx, pdf or summary (default: by the file's ending, else jsonl)",
            parser=one_of("jsonl", "csv", "xlsx", "pdf", "summary"),
        ),
    ] = None,
    from_at: Annotated[datetime | None, _instant("recorded at or after", "--from")] = None,
    to_at: Annotated[datetime | None, _instant("recorded before", "--to")] = None,
    due_from: Annotated[datetime | None, _instant("closed jobs due at or after")] = None,
    due_to: Annotated[datetime | None, _instant("closed jobs due before")] = None,
    done_from: Annotated[datetime | None, _instant("closed jobs done at or after")] = None,
    done_to: Annotated[datetime | None, _instant("closed jobs done before")] = None,
    pump: Annotated[str, typer.Option(help="closed jobs of the pump with this serial number")] = "",
    kind: Annotated[str, typer.Option(help="closed jobs of this kind, by name or code")] = "",
    as_of: Annotated[datetime | None, _instant("when the export says it is of (default: now)")] = None,
    paper: Annotated[str, typer.Option(help="size of a PDF's pages", parser=one_of("a4", "us-letter"))] = "a4",
    photos: Annotated[bool, typer.Option(help="a PDF with the photos of its jobs, made small")] = False,
    schema: Annotated[bool, typer.Option("--schema", help="show the JSON Schema of a line instead")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="JSON Lines (the default)")] = False,  # noqa: ARG001
) -> Output:
    """Export a vessel's compliance history.

    Example: leadline history demo-avocet --out history.jsonl
    """
    from api.exports import SCHEMA
    from api.routes.record import export
    from scheduler.domain.record.choice import Choice

    if schema:
        return Output(lines=SCHEMA.read_text(encoding="utf-8").splitlines())
    if form is None:
        form = one_of("jsonl", "csv", "xlsx", "pdf", "summary")(_ending(out))
    to_stream = out is None or str(out) == STREAM
    if form in ("xlsx", "pdf") and (out is None or (to_stream and shows_terminal(sys.stdout))):
        raise typer.BadParameter(f"a {form} is a file: give --out FILE, or --out - into a pipe", param_hint="--out")
    with command_context() as context:

        def at(given: datetime | None) -> datetime | None:
            return instant_or_none(context, vessel, given)

        choice = Choice(
            from_at=at(from_at),
            to_at=at(to_at),
            due_from_at=at(due_from),
            due_to_at=at(due_to),
            done_from_at=at(done_from),
            done_to_at=at(done_to),
            pump=pump,
            kind=kind,
        )
        pieces = export(
            context,
            vessel,
            acting(context).name,
            form,
            choice,
            as_of=at(as_of),
            paper="us-letter" if paper == "us-letter" else "a4",
            photos=photos,
        )
        write_pieces(out, pieces)
    if to_stream:
        return Output()
    return Output(talk=[f"Written: {out}. Check it: leadline verify {out}" if form == "jsonl" else f"Written: {out}"])


def _utc(says: str, word: str) -> Any:
    return typer.Option(word, help=f"{says}, UTC or with offset", **INSTANT)


@command(app)
def fleet_history(
    context: "Context",
    vessels: Annotated[list[str] | None, typer.Argument(help="vessel ids (default: all)")] = None,
    out: Annotated[
        Path | None,
        typer.Option(help="file to write, or a folder for a file a vessel; - for stdout (the default)"),
    ] = None,
    form: Annotated[
        str,
        typer.Option(
            "--format",
            help="of the files in a folder: jsonl, csv, xlsx, pdf or summary",
            parser=one_of("jsonl", "csv", "xlsx", "pdf", "summary"),
        ),
    ] = "jsonl",
    from_at: Annotated[datetime | None, _utc("recorded at or after", "--from")] = None,
    to_at: Annotated[datetime | None, _utc("recorded before", "--to")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="JSON Lines (the default)")] = False,  # noqa: ARG001
) -> Output:
    """Export the histories of many vessels: one file that verifies, or a file a vessel in a folder.

    Example: leadline fleet-history --out fleet.jsonl
    """
    from api.routes.record import export, export_fleet
    from scheduler.actions.record.history import named_vessels
    from scheduler.domain.record.choice import Choice
    from scheduler.errors import Refused, TooLarge

    actor = acting(context)
    found = named_vessels(context, actor, vessels or [])
    first_at, last_at = (at if at is None or at.tzinfo else at.replace(tzinfo=UTC) for at in (from_at, to_at))
    choice = Choice(from_at=first_at, to_at=last_at)
    if out is None or not out.is_dir():
        if form != "jsonl":
            raise typer.BadParameter(
                f"many vessels in one file are jsonl; a {form} is of one: name a folder that is there"
            )
        write_pieces(out, export_fleet(context, [one for one, _ in found], actor, choice))
        to_stream = out is None or str(out) == STREAM
        return Output() if to_stream else Output(talk=[f"Written: {out}. Check it: leadline verify {out}"])
    talk, code = [], ExitCode.GOOD
    for vessel_id, name in found:
        file = out / f"{vessel_id}-history.{'json' if form == 'summary' else form}"
        try:
            write_pieces(file, export(context, vessel_id, actor.name, form, choice))
            talk.append(f"Written: {file}")
        except (Refused, TooLarge) as error:
            talk.append(f"Not written: {name}. {error.says}")
            code = ExitCode.COULD_NOT
    return Output(talk=talk, code=code)


def _ending(out: Path | None) -> str:
    return (out.suffix.lstrip(".").lower() if out is not None else "") or "jsonl"


@command(app)
def report(
    context: "Context",
    vessel: VesselId,
    month: Annotated[str | None, typer.Argument(help="as 2026-10; default: the last that is over aboard")] = None,
    out: Annotated[
        Path | None, typer.Option(help="file to write; - for stdout (default: VESSEL-MONTH.pdf here)")
    ] = None,
    paper: Annotated[str, typer.Option(help="size of the page", parser=one_of("a4", "us-letter"))] = "a4",
) -> Output:
    """Write the month's report as a PDF of one page.

    Example: leadline report demo-plover 2026-10 --out october.pdf
    """
    from api.exports.month_report import month_pdf
    from scheduler.actions.record.month import last_month, month_facts
    from scheduler.actions.vessel import fleet

    vessel_must_be(context, vessel)
    month = month or last_month(context.now(), fleet.offset_now(context, vessel))
    found = month_facts(context, vessel, month)
    made = month_pdf(found, acting(context).name, size="us-letter" if paper == "us-letter" else "a4")
    out = out or Path(f"{vessel}-{month}.pdf")
    write_pieces(out, iter([made]))
    signed = f"signed by {found.signed['by']}" if found.signed else "not signed"
    return Output() if str(out) == STREAM else Output(talk=[f"Written: {out}. {month}: {signed}."])


@command(app)
def verify(
    file: Annotated[Path, typer.Argument(help="JSON Lines export, of one vessel or of many; - for stdin")],
    stamp: Annotated[str | None, typer.Option(help="record stamp kept elsewhere (on paper)")] = None,
    number: Annotated[int | None, typer.Option(help="number of the record that carries it (default: the last)")] = None,
) -> Output:
    """Check an exported history, offline: nothing changed, missing or re-ordered.

    Example: leadline verify history.jsonl --stamp 5f2c...
    """
    from itertools import chain

    from scheduler.domain.record.verify import verify_lines
    from scheduler.domain.record.verify_fleet import is_fleet

    lines = read_lines(file)
    first = next(lines, b"")
    whole = chain([first] if first else [], lines)
    if is_fleet(first):
        if stamp is not None or number is not None:
            raise typer.BadParameter(
                "a stamp is of one vessel; check it against an export of hers", param_hint="--stamp"
            )
        return _verified_fleet(whole)
    found = verify_lines(whole, expected_head=stamp, expected_number=number)
    return _verdict(found)


def _verdict(found: "Verified | Broken") -> Output:
    from dataclasses import asdict

    from scheduler.domain.record.verify import Broken

    if isinstance(found, Broken):
        says = f"NOT VERIFIED{'' if found.number is None else f' at record {found.number}'}: {found.says}"
        return Output({"verified": False, **asdict(found)}, talk=[f"leadline: {says}"], code=ExitCode.NOT_VERIFIED)
    says = (
        f"Verified: {found.vessel}, {found.records} records, {found.first_number} to {found.last_number}, "
        f"record stamp {found.head}"
    )
    return Output({"verified": True, **asdict(found)}, [says])


def _verified_fleet(lines: "Iterable[str | bytes]") -> Output:
    """A line a vessel, with until when all is known of her; what is not verified is said on stderr too."""
    from scheduler.domain.record.verify_fleet import verify_fleet

    parts, wrong = verify_fleet(lines)
    told = [(part, _verdict(part.found)) for part in parts]
    value = {
        "verified": wrong is None and all(one.code == ExitCode.GOOD for _, one in told),
        "says": None if wrong is None else wrong.says,
        "vessels": [
            {"vessel": part.vessel, "complete_until": part.complete_until, **(one.value or {})} for part, one in told
        ],
    }
    said = [f"{line}, complete until {part.complete_until}" for part, one in told for line in one.lines or ()]
    talk = [line.replace("leadline: ", f"leadline: {part.vessel}: ") for part, one in told for line in one.talk]
    if wrong is not None:
        talk.append(f"leadline: NOT VERIFIED: {wrong.says}")
    return Output(value, said, talk=talk, code=ExitCode.GOOD if value["verified"] else ExitCode.NOT_VERIFIED)


@command(app)
def reliability(context: "Context", vessel: VesselId) -> Output:
    """Show breakdowns and running hours of each pump, with bounds; what the data do not carry is said.

    Example: leadline reliability demo-plover
    """
    from scheduler.actions.record import reliability as figures

    vessel_must_be(context, vessel)
    report = figures.report(context, vessel)
    return Output(report, _report_lines(report))


def _report_lines(report: Mapping[str, Any]) -> Iterator[str]:
    yield f"{'pump':20} {'breakdowns':>10} {'running h':>10}  mean time between breakdowns, running h (90 % bounds)"
    for row in report["pumps"]:
        best, low, high = (row[f"mtbf_{which}running_hours"] for which in ("", "low_", "high_"))
        bounds = (
            "no hours yet"
            if low is None
            else f"over {low:.0f}"
            if best is None
            else f"{best:.0f} ({low:.0f} to {high:.0f})"
        )
        yield f"{row['pump']:20} {row['breakdowns']:10} {row['observed_running_hours']:10.0f}  {bounds}"
    yield f"Trend of all: {report['trend']}"
    yield f"Life: {report['life']['says']}"
