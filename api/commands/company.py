"""Postponements and non-conformities."""

from collections.abc import Mapping
from typing import Annotated, Any

import typer

from api.commands.shared.common import HELP, AsJson, app, command_context, hand, instant_given, me, out

postpone_app = typer.Typer(
    help='Postponements.\n\nExample: leadline postpone ask KEY --to 2026-12-20T00:00Z --reason "no part" --risk "wear"',
    context_settings=HELP,
    rich_markup_mode=None,
    no_args_is_help=True,
)
nonconformity_app = typer.Typer(
    help="Non-conformities.\n\nExample: leadline nonconformity list demo-plover",
    context_settings=HELP,
    rich_markup_mode=None,
    no_args_is_help=True,
)
app.add_typer(postpone_app, name="postpone")
app.add_typer(nonconformity_app, name="nonconformity")


@postpone_app.command("ask")
def ask(
    key: Annotated[str, typer.Argument(help="job key, as `leadline due` shows it")],
    to: Annotated[str, typer.Option(help="the new limit, with offset")],
    reason: Annotated[str, typer.Option(help="why it cannot be done in time")],
    risk: Annotated[str, typer.Option(help="what may happen meanwhile")],
    mitigation: Annotated[str, typer.Option(help="what is done about it")] = "",
    as_json: AsJson = False,
) -> None:
    """Ask for a later limit of a job. Another person decides.

    Example: leadline postpone ask overhaul:plover-pump-a:1 --to 2026-12-20T00:00Z --reason "no seal aboard" --risk "leak"
    """
    from scheduler.actions.due import postponing
    from scheduler.actions.work import jobs
    from scheduler.domain.due.postponing import Asked

    asked = Asked(to_at=instant_given(to), reason=reason, risk=risk, mitigation=mitigation)
    with command_context() as context:
        place, job_id = jobs.job_place(context, me(), key)
        told = {"postpone": key, "to": asked.to_at.isoformat()}
        body = dict(postponing.ask_postponement(context, hand(told), place, job_id, asked).body)
    out(body, as_json, lambda: iter([f"postponement {body['postponement']} of {key}: {body['says']}"]))


@postpone_app.command("decide")
def decide(
    vessel: Annotated[str, typer.Argument(help="vessel id")],
    number: Annotated[int, typer.Argument(help="number of the postponement")],
    grant: Annotated[bool, typer.Option("--grant/--refuse", help="which it is")],
    by: Annotated[str, typer.Option(help="who decides (not who asked)")],
    note: Annotated[str, typer.Option(help="why, or on which condition")] = "",
    class_agreed: Annotated[str, typer.Option(help="the class's agreement, for a class item")] = "",
    as_json: AsJson = False,
) -> None:
    """Grant or refuse a postponement.

    Example: leadline postpone decide demo-plover 3 --grant --by "B. Super" --note "seal comes on the 12th"
    """
    from dataclasses import replace

    from api.ics.writer import calendar_writer
    from scheduler.actions.due import postponing
    from scheduler.actions.feed import refresh

    with command_context() as context:
        asked = hand({"decide": number, "vessel": vessel, "grant": grant})
        decider = replace(asked, actor=replace(me(), id=f"command line, {by}", name=by))
        answer = postponing.decide_postponement(
            context, decider, vessel, number, granted=grant, note=note, class_agreed=class_agreed
        )
        refresh.renew(context, calendar_writer(context.settings.shown_base_url()), vessel)
    words = "granted" if grant else "refused"
    out(dict(answer.body), as_json, lambda: iter([f"postponement {number} {words}; record {answer.body['record']}"]))


@postpone_app.command("list")
def postponements(vessel: Annotated[str, typer.Argument(help="vessel id")], as_json: AsJson = False) -> None:
    """Show a vessel's postponements, newest first.

    Example: leadline postpone list demo-plover
    """
    from scheduler.actions.due import postponing
    from scheduler.actions.vessel import fleet

    with command_context() as context:
        fleet.get_vessel(context, me(), vessel)
        rows = postponing.postponements_listed(context, vessel)
    out(
        {"postponements": rows},
        as_json,
        lambda: (
            f"{r['postponement']:4} {r['state']:8} {r['job']:44} {r['limit_at'][:10]} to {r['to_at'][:10]}  {r['asked_by']}"
            f"{'' if r['decided_by'] is None else ', decided by ' + r['decided_by']}: {r['reason']}"
            for r in rows
        ),
    )


@nonconformity_app.command("list")
def non_conformities(vessel: Annotated[str, typer.Argument(help="vessel id")], as_json: AsJson = False) -> None:
    """Show a vessel's non-conformities, newest first.

    Example: leadline nonconformity list demo-plover
    """
    from scheduler.actions.vessel import fleet
    from scheduler.actions.work import nonconformities

    with command_context() as context:
        fleet.get_vessel(context, me(), vessel)
        rows = nonconformities.nonconformities_listed(context, vessel)
    out(
        {"non_conformities": rows},
        as_json,
        lambda: (f"{r['non_conformity']:4} {r['state']:8} {r['job']:44} {_about(r)}  {r['cause']}" for r in rows),
    )


def _about(told: Mapping[str, Any]) -> str:
    return f"limit {told['limit_at'][:10]}" if told["limit_at"] else f"{told['about']}, {told['opened_at'][:10]}"


@nonconformity_app.command("answer")
def answer(
    vessel: Annotated[str, typer.Argument(help="vessel id")],
    number: Annotated[int, typer.Argument(help="number of the non-conformity")],
    cause: Annotated[str, typer.Option(help="why it came about")],
    action: Annotated[str, typer.Option(help="what is done so that it does not again")],
    by: Annotated[str, typer.Option(help="who answers")],
    as_json: AsJson = False,
) -> None:
    """Answer a non-conformity with its cause and the corrective action.

    Example: leadline nonconformity answer demo-plover 2 --cause "no seal aboard" --action "two kept" --by "A. Second"
    """
    from dataclasses import replace

    from scheduler.actions.work import nonconformities

    with command_context() as context:
        asked = hand({"answer": number, "vessel": vessel})
        who = replace(asked, actor=replace(me(), id=f"command line, {by}", name=by))
        told = nonconformities.answer_nonconformity(context, who, vessel, number, cause=cause, corrective_action=action)
    out(dict(told.body), as_json, lambda: iter([f"non-conformity {number} answered; record {told.body['record']}"]))


@nonconformity_app.command("close")
def close(
    vessel: Annotated[str, typer.Argument(help="vessel id")],
    number: Annotated[int, typer.Argument(help="number of the non-conformity")],
    by: Annotated[str, typer.Option(help="who closes it (not who answered)")],
    as_json: AsJson = False,
) -> None:
    """Close an answered non-conformity.

    Example: leadline nonconformity close demo-plover 2 --by "A. Chief"
    """
    from dataclasses import replace

    from scheduler.actions.work import nonconformities

    with command_context() as context:
        asked = hand({"close": number, "vessel": vessel})
        who = replace(asked, actor=replace(me(), id=f"command line, {by}", name=by))
        told = nonconformities.close_nonconformity(context, who, vessel, number)
    out(dict(told.body), as_json, lambda: iter([f"non-conformity {number} closed; record {told.body['record']}"]))
