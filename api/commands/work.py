"""Closing jobs, and the history."""

import json
import sys
from pathlib import Path
from typing import Annotated

import typer

from api.commands.shared.common import (
    AsJson,
    app,
    command_context,
    hand,
    instant_given,
    job_app,
    maybe_instant,
    me,
    out,
    say,
)


@job_app.command("done")
def job_done(
    key: Annotated[str, typer.Argument(help="job key, as `leadline due` shows it")],
    by: Annotated[str, typer.Option(help="who did it")],
    test: Annotated[str, typer.Option(help="passed, failed or none")],
    at: Annotated[str | None, typer.Option(help="when it was done, with offset (default: now)")] = None,
    checked_by: Annotated[str | None, typer.Option(help="who is asked to check it; signs in the own sign-in")] = None,
    company: Annotated[str, typer.Option(help="the contractor's company, where one did it")] = "",
    answers_for: Annotated[str, typer.Option(help="who aboard answers for a contractor's work")] = "",
    from_paper: Annotated[
        bool, typer.Option("--from-paper", help="told from the sheet: what it does not show was not seen there")
    ] = False,
    running_hours: Annotated[float | None, typer.Option(help="hours at that time (default: the counter's)")] = None,
    findings: Annotated[str, typer.Option(help="what was found")] = "",
    permit: Annotated[str | None, typer.Option(help="permit number")] = None,
    as_json: AsJson = False,
) -> None:
    """Close a job.

    Example: leadline job done knife_inspection:plover-pump-a-knives:1 --by "A. Second" --test passed
    """
    from api.ics.writer import calendar_writer
    from scheduler.actions.feed import refresh
    from scheduler.actions.work import jobs
    from scheduler.domain.base.enums import Test

    if test not in [t.value for t in Test]:
        raise typer.BadParameter(f"{test!r}: passed, failed or none is expected", param_hint="--test")
    told = jobs.Close(
        done_at=instant_given(at),
        done_by=by,
        test=Test(test),
        checked_by=checked_by,
        running_hours=running_hours,
        findings=findings,
        permit_no=permit,
        company=company,
        answers_for=answers_for,
        from_paper=from_paper,
    )
    with command_context() as context:
        place, job_id = jobs.job_place(context, me(), key)
        answer = jobs.close_job(context, hand({"close": key, "at": told.done_at.isoformat()}), place, job_id, told)
        refresh.renew(context, calendar_writer(context.settings.shown_base_url()), place.vessel_id)
    body = answer.body
    words = f"closed, {body['verdict']}" if body["closed"] else "test failed: it stays open"
    pump = f"; pump {body['pump']} {body['pump_state']}" if body["pump_state"] else ""
    flags = [f"flagged: {one}" for one in body["flags"]]
    out(dict(body), as_json, lambda: iter([f"{key}: {words}{pump}; record {body['record']}", *flags]))


@job_app.command("strike")
def job_strike(
    key: Annotated[str, typer.Argument(help="job key, as `leadline due` shows it")],
    reason: Annotated[str, typer.Option(help="why the close was a mistake")] = "",
    as_json: AsJson = False,
) -> None:
    """Strike a close entered by mistake, within ten minutes; the job is open again.

    Example: leadline job strike knife_inspection:plover-pump-a-knives:1 --reason "wrong pump"
    """
    from api.ics.writer import calendar_writer
    from scheduler.actions.feed import refresh
    from scheduler.actions.work import checking, jobs

    with command_context() as context:
        place, job_id = jobs.job_place(context, me(), key)
        body = dict(checking.strike_close(context, hand({"strike": key}), place, job_id, reason).body)
        refresh.renew(context, calendar_writer(context.settings.shown_base_url()), place.vessel_id)
    out(body, as_json, lambda: iter([f"{key}: {body['says']} Record {body['record']}"]))


@job_app.command("step")
def job_step(
    key: Annotated[str, typer.Argument(help="job key, as `leadline due` shows it")],
    kind: Annotated[
        str | None, typer.Argument(help="what was done: 'tag placed', opened, tested ... (default: list them)")
    ] = None,
    particulars: Annotated[
        list[str] | None, typer.Argument(help="name=value, such as point='supply breaker' tag_no=T-12")
    ] = None,
    by: Annotated[str, typer.Option(help="who did it")] = "",
    at: Annotated[str | None, typer.Option(help="when, with offset (default: now)")] = None,
    fact: Annotated[
        bool, typer.Option("--fact", help="it has happened: keep it, flagged, whatever stands against it")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Record a step of the work on a job; without a kind, show how far the work is and which steps there are.

    Example: leadline job step knife_inspection:plover-pump-a-knives:1 "tag placed" point="supply breaker" --by "A. Second"
    """
    from api.pages.work.forms import FORMS, read_step
    from scheduler.actions.plant_state.work import STEP
    from scheduler.actions.work import jobs, steps
    from scheduler.parsing import Fields
    from scheduler.wording.steps import step_words

    with command_context() as context:
        place, job_id = jobs.job_place(context, me(), key)
        if kind is None:
            told = steps.work_on(context, place, job_id)
            kept = steps.stored_steps(context, place, job_id)
            lines = [
                f"{one.step.at:%Y-%m-%d %H:%MZ}  {step_words(one.step)}  ({one.step.by}, record {one.record})"
                for one in kept
            ]
            lines += [f"The pump counts {told['pump_counts']}.", "Steps and their particulars:"]
            lines += [f"  {form.kind}: {', '.join(ask.name for ask in form.asks) or 'none'}" for form in FORMS]
            out(told, as_json, lambda: iter(lines))
            return
        typed = {"by": by, "at": instant_given(at).isoformat()}
        for one in particulars or []:
            name, equals, value = one.partition("=")
            if not equals:
                raise typer.BadParameter(f"{one!r}: name=value is expected, such as tag_no=T-12")
            typed[name] = value
        told_step = read_step(kind, Fields(typed, 0), fact=fact)
        asked = {"step": key, "what": STEP.dump_python(told_step.step, mode="json")}
        answer = steps.take_step(context, hand(asked), place, job_id, told_step.step, fact=fact)
    body = dict(answer.body)
    flags = [f"flagged: {words}" for words in body["flags"]] + [f"warning: {words}" for words in body["warnings"]]
    says = f"{key}: {step_words(told_step.step)}; the pump counts {body['pump_counts']}; record {body['record']}"
    out(body, as_json, lambda: iter([says, *flags]))


@app.command()
def history(
    vessel: Annotated[str, typer.Argument(help="vessel id")],
    out: Annotated[Path | None, typer.Option(help="file to write (default: stdout)")] = None,
    form: Annotated[
        str | None,
        typer.Option("--format", help="jsonl, csv, xlsx, pdf or summary (default: by the file's ending, else jsonl)"),
    ] = None,
    from_at: Annotated[str | None, typer.Option("--from", help="recorded at or after, with offset")] = None,
    to_at: Annotated[str | None, typer.Option("--to", help="recorded before, with offset")] = None,
    due_from: Annotated[str | None, typer.Option(help="closed jobs due at or after")] = None,
    due_to: Annotated[str | None, typer.Option(help="closed jobs due before")] = None,
    done_from: Annotated[str | None, typer.Option(help="closed jobs done at or after")] = None,
    done_to: Annotated[str | None, typer.Option(help="closed jobs done before")] = None,
    pump: Annotated[str, typer.Option(help="closed jobs of the pump with this serial number")] = "",
    kind: Annotated[str, typer.Option(help="closed jobs of this kind, by name or code")] = "",
    as_of: Annotated[str | None, typer.Option(help="instant_given the export says it is of (default: now)")] = None,
    schema: Annotated[bool, typer.Option("--schema", help="show the JSON Schema of a line instead")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="JSON Lines (the default)")] = False,  # noqa: ARG001
) -> None:
    """Export a vessel's compliance history.

    Example: leadline history demo-avocet --out history.jsonl
    """
    from api.exports import SCHEMA
    from api.routes.work import export
    from scheduler.domain.record.choice import Choice
    from scheduler.errors import Refused

    if schema:
        sys.stdout.write(SCHEMA.read_text())
        return
    form = form or (out.suffix.lstrip(".").lower() if out is not None else "") or "jsonl"
    if form not in ("jsonl", "csv", "xlsx", "pdf", "summary"):
        raise typer.BadParameter(f"{form!r}: jsonl, csv, xlsx, pdf or summary is expected", param_hint="--format")
    if out is None and form in ("xlsx", "pdf"):
        raise typer.BadParameter(f"a {form} is a file: give --out FILE", param_hint="--out")
    choice = Choice(
        from_at=maybe_instant(from_at),
        to_at=maybe_instant(to_at),
        due_from_at=maybe_instant(due_from),
        due_to_at=maybe_instant(due_to),
        done_from_at=maybe_instant(done_from),
        done_to_at=maybe_instant(done_to),
        pump=pump,
        kind=kind,
    )
    with command_context() as context:
        pieces = export(context, vessel, me().name, form, choice, as_of=maybe_instant(as_of))
        if out is None:
            sys.stdout.writelines(piece for piece in pieces if isinstance(piece, str))
            return
        try:
            with out.open("wb") as file:
                file.writelines(piece.encode() if isinstance(piece, str) else piece for piece in pieces)
        except OSError as error:
            raise Refused(f"{out} cannot be written: {error.strerror}. Give another --out.") from error
    say(f"Written: {out}. Check it: leadline verify {out}" if form == "jsonl" else f"Written: {out}")


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

    from scheduler.domain.record.verify import Broken, verify_lines
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
