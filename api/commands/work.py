"""Closing jobs, and the history."""

import json
import sys
from pathlib import Path
from typing import Annotated

import typer

from api.commands.common import (
    AsJson,
    app,
    hand,
    instant,
    job_app,
    me,
    open_house,
    out,
    say,
)


@job_app.command("done")
def job_done(
    key: Annotated[str, typer.Argument(help="job key, as `leadline due` shows it")],
    by: Annotated[str, typer.Option(help="who did it")],
    test: Annotated[str, typer.Option(help="passed, failed or none")],
    at: Annotated[str | None, typer.Option(help="when it was done, with offset (default: now)")] = None,
    checked_by: Annotated[str | None, typer.Option(help="who checked it (someone else)")] = None,
    running_hours: Annotated[float | None, typer.Option(help="hours at that time (default: the counter's)")] = None,
    findings: Annotated[str, typer.Option(help="what was found")] = "",
    permit: Annotated[str | None, typer.Option(help="permit number")] = None,
    as_json: AsJson = False,
) -> None:
    """Close a job.

    Example: leadline job done knife_inspection:plover-pump-a-knives:1 --by "A. Second" --test passed
    """
    from api.pen import PEN
    from scheduler.actions import feed, jobs
    from scheduler.domain.words import Test

    if test not in [t.value for t in Test]:
        raise typer.BadParameter(f"{test!r}: passed, failed or none is expected", param_hint="--test")
    told = jobs.Close(
        done_at=instant(at),
        done_by=by,
        test=Test(test),
        checked_by=checked_by,
        running_hours=running_hours,
        findings=findings,
        permit_no=permit,
    )
    with open_house() as house:
        place, occurrence = jobs.job_place(house, me(), key)
        answer = jobs.close_job(house, hand({"close": key, "at": told.done_at.isoformat()}), place, occurrence, told)
        feed.renew(house, PEN(house.settings.shown_base_url()), place.vessel_id)
    body = answer.body
    words = f"closed, {body['verdict']}" if body["closed"] else "test failed: it stays open"
    pump = f"; pump {body['pump']} {body['pump_state']}" if body["pump_state"] else ""
    out(dict(body), as_json, lambda: iter([f"{key}: {words}{pump}; record {body['record']}"]))


@app.command()
def history(
    vessel: Annotated[str, typer.Argument(help="vessel id")],
    out: Annotated[Path | None, typer.Option(help="file to write (default: stdout)")] = None,
    csv: Annotated[bool, typer.Option("--csv", help="CSV instead of JSON Lines")] = False,
    from_at: Annotated[str | None, typer.Option("--from", help="recorded at or after, with offset")] = None,
    to_at: Annotated[str | None, typer.Option("--to", help="recorded before, with offset")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="JSON Lines (the default)")] = False,  # noqa: ARG001
) -> None:
    """Export a vessel's compliance history.

    Example: leadline history demo-avocet --out history.jsonl
    """
    from api.routes.work import export
    from scheduler.errors import Refused

    first = None if from_at is None else instant(from_at)
    last = None if to_at is None else instant(to_at)
    with open_house() as house:
        lines = export(house, vessel, me().name, "csv" if csv else "jsonl", from_at=first, to_at=last)
        if out is None:
            sys.stdout.writelines(lines)
            return
        try:
            with out.open("w", encoding="utf-8", newline="") as file:
                file.writelines(lines)
        except OSError as error:
            raise Refused(f"{out} cannot be written: {error.strerror}. Give another --out.") from error
    say(f"Written: {out}. Check it: leadline verify {out}" if not csv else f"Written: {out}")


@app.command()
def verify(
    file: Annotated[Path, typer.Argument(help="JSON Lines export")],
    stamp: Annotated[str | None, typer.Option(help="record stamp kept elsewhere (on paper)")] = None,
    number: Annotated[int | None, typer.Option(help="number of the record that carries it (default: the last)")] = None,
    as_json: AsJson = False,
) -> None:
    """Check an exported history, offline: nothing changed, missing or re-ordered.

    Example: leadline verify history.jsonl --stamp 5f2c...
    """
    from dataclasses import asdict

    from scheduler.domain.verify import Broken, verify_lines
    from scheduler.errors import NotFound

    try:
        with file.open("rb") as lines:
            found = verify_lines(lines, expected_head=stamp, expected_number=number)
    except OSError as error:
        raise NotFound(
            f"{file} cannot be read: {error.strerror}. Give the file that `leadline history` wrote."
        ) from error
    if isinstance(found, Broken):
        if as_json:
            print(json.dumps({"verified": False, **asdict(found)}))
        say(f"leadline: NOT VERIFIED{'' if found.number is None else f' at record {found.number}'}: {found.says}")
        raise typer.Exit(7)
    says = (
        f"Verified: {found.vessel}, {found.records} records, {found.first_number} to {found.last_number}, "
        f"record stamp {found.head}"
    )
    out({"verified": True, **asdict(found)}, as_json, lambda: iter([says]))
