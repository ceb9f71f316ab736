"""Closing jobs, striking a close, and the steps of the work."""

from datetime import datetime
from typing import TYPE_CHECKING, Annotated

import typer

from api.commands.shared.command import Output, acting, command, hand, instant_or_now
from api.commands.shared.groups import job_app
from api.commands.shared.options import FIGURE, INSTANT, At, JobKey, one_of

if TYPE_CHECKING:
    from scheduler.actions.base.context import Context


@command(job_app, "done")
def close_job(
    context: "Context",
    key: JobKey,
    by: Annotated[str, typer.Option(help="who did it")],
    test: Annotated[
        str,
        typer.Option(help="passed, failed or none", parser=one_of("passed", "failed", "none")),
    ],
    at: Annotated[
        datetime | None, typer.Option(help="when it was done, ship time or with offset (default: now)", **INSTANT)
    ] = None,
    checked_by: Annotated[str | None, typer.Option(help="who is asked to check it; signs in the own sign-in")] = None,
    company: Annotated[str, typer.Option(help="the contractor's company, where one did it")] = "",
    answers_for: Annotated[str, typer.Option(help="who aboard answers for a contractor's work")] = "",
    from_paper: Annotated[
        bool, typer.Option("--from-paper", help="told from the sheet: what it does not show was not seen there")
    ] = False,
    running_hours: Annotated[
        float | None, typer.Option(help="hours at that time (default: the counter's)", **FIGURE)
    ] = None,
    findings: Annotated[str, typer.Option(help="what was found")] = "",
    permit: Annotated[str | None, typer.Option(help="permit number")] = None,
) -> Output:
    """Close a job.

    Example: leadline job done knife_inspection:plover-pump-a-knives:1 --by "A. Second" --test passed
    """
    from scheduler.actions.work import closing, closing_checks, jobs
    from scheduler.domain.base.enums import Test

    place, job_id = jobs.job_place(context, acting(context), key)
    close = closing_checks.Close(
        done_at=instant_or_now(context, place.vessel_id, at),
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
    body = closing.close_job(
        context, hand(context, {"close": key, "at": close.done_at.isoformat()}), place, job_id, close
    ).body
    says = f"closed, {body['verdict']}" if body["closed"] else "test failed: it stays open"
    pump = f"; pump {body['pump']} {body['pump_state']}" if body["pump_state"] else ""
    return Output(
        body, [f"{key}: {says}{pump}; record {body['record']}", *(f"flagged: {one}" for one in body["flags"])]
    )


@command(job_app, "strike")
def strike_close(
    context: "Context",
    key: JobKey,
    reason: Annotated[str, typer.Option(help="why the close was a mistake")] = "",
) -> Output:
    """Strike a close entered by mistake, within ten minutes; the job is open again.

    Example: leadline job strike knife_inspection:plover-pump-a-knives:1 --reason "wrong pump"
    """
    from scheduler.actions.work import checking, jobs

    place, job_id = jobs.job_place(context, acting(context), key)
    body = checking.strike_close(context, hand(context, {"strike": key}), place, job_id, reason).body
    return Output(body, [f"{key}: {body['says']} Record {body['record']}"])


@command(job_app, "step")
def take_step(
    context: "Context",
    key: JobKey,
    kind: Annotated[
        str | None, typer.Argument(help="what was done: 'tag placed', opened, tested ... (default: list them)")
    ] = None,
    particulars: Annotated[
        list[str] | None, typer.Argument(help="name=value, such as point='supply breaker' tag_no=T-12")
    ] = None,
    by: Annotated[str, typer.Option(help="who did it")] = "",
    at: At = None,
    fact: Annotated[
        bool, typer.Option("--fact", help="it has happened: keep it, flagged, whatever stands against it")
    ] = False,
) -> Output:
    """Record a step of the work on a job; without a kind, show how far the work is and which steps there are.

    Example: leadline job step knife_inspection:plover-pump-a-knives:1 "tag placed" point="supply breaker" --by "A. Second"
    """
    from api.pages.work.forms import FORMS, read_step
    from api.routes.shared.fields import Fields
    from scheduler.actions.plant_state.work import STEP
    from scheduler.actions.vessel.fleet import offset_now
    from scheduler.actions.work import jobs, steps
    from scheduler.shiptime import moment_text
    from scheduler.wording.steps import step_words

    place, job_id = jobs.job_place(context, acting(context), key)
    offset = offset_now(context, place.vessel_id)
    if kind is None:
        work = steps.work_on(context, place, job_id)
        lines = [
            f"{moment_text(one.step.at, offset)}  {step_words(one.step)}  ({one.step.by}, record {one.record})"
            for one in steps.stored_steps(context, place, job_id)
        ]
        lines += [f"The pump counts {work['pump_counts']}.", "Steps and their particulars:"]
        lines += [f"  {form.kind}: {', '.join(ask.name for ask in form.asks) or 'none'}" for form in FORMS]
        return Output(work, lines)
    members = {"by": by, "at": instant_or_now(context, place.vessel_id, at).isoformat()}
    for one in particulars or []:
        name, equals, value = one.partition("=")
        if not equals:
            raise typer.BadParameter(f"{one!r}: name=value is expected, such as tag_no=T-12")
        members[name] = value
    step = read_step(kind, Fields(members, offset), fact=fact).step
    asked = hand(context, {"step": key, "what": STEP.dump_python(step, mode="json")})
    body = steps.take_step(context, asked, place, job_id, step, fact=fact).body
    flags = [f"flagged: {words}" for words in body["flags"]] + [f"warning: {words}" for words in body["warnings"]]
    says = f"{key}: {step_words(step)}; the pump counts {body['pump_counts']}; record {body['record']}"
    return Output(body, [says, *flags])
