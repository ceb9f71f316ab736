"""Lower minima agreed, first dates, and when a job's parts come."""

from typing import Annotated

import typer

from api.commands.shared.common import HELP, AsJson, app, command_context, hand, instant_given, job_app, me, out

concession_app = typer.Typer(
    help="Lower minima for a time, signed by chief and hotel.\n\nExample: leadline concession list plover-plant",
    context_settings=HELP,
    rich_markup_mode=None,
    no_args_is_help=True,
)
app.add_typer(concession_app, name="concession")

Plant = Annotated[str, typer.Argument(help="plant id")]
Number = Annotated[int, typer.Argument(help="number of the concession")]


@concession_app.command("ask")
def ask(
    plant: Plant,
    from_: Annotated[str, typer.Option("--from", help="when it begins, with offset")],
    to: Annotated[str, typer.Option(help="when it ends, with offset")],
    minimum: Annotated[float, typer.Option(help="the lower minimum, swept m3/h")],
    reason: Annotated[str, typer.Option(help="why less is enough")],
    as_json: AsJson = False,
) -> None:
    """Ask for a lower minimum. It counts once chief and hotel have signed.

    Example: leadline concession ask plover-plant --from 2026-12-01T08:00Z --to 2026-12-01T16:00Z --minimum 60 --reason "in port"
    """
    from scheduler.actions.capacity import concessions as capacity_concessions
    from scheduler.actions.vessel import fleet
    from scheduler.domain.capacity.concessions import Lower
    from scheduler.domain.capacity.minimum import Swept
    from scheduler.storage.vessel import AssetKind

    asked = Lower(from_at=instant_given(from_), to_at=instant_given(to), minimum=Swept(minimum), reason=reason)
    with command_context() as context:
        place = fleet.locate(context, me(), plant, AssetKind.PLANT)
        body = dict(
            capacity_concessions.ask_concession(
                context, hand({"concession": plant, "from": from_, "to": to}), place, asked
            ).body
        )
    out(body, as_json, lambda: iter([f"concession {body['concession']} asked: {body['says']}"]))


@concession_app.command("sign")
def sign(
    plant: Plant,
    number: Number,
    as_: Annotated[str, typer.Option("--as", help="chief or hotel")],
    by: Annotated[str, typer.Option(help="who signs")],
    as_json: AsJson = False,
) -> None:
    """Sign a lower minimum, for one side. The two sides are two people.

    Example: leadline concession sign plover-plant 3 --as hotel --by "B. Hotel"
    """
    from dataclasses import replace

    from scheduler.actions.capacity import concessions as capacity_concessions
    from scheduler.actions.vessel import fleet
    from scheduler.storage.vessel import AssetKind

    with command_context() as context:
        place = fleet.locate(context, me(), plant, AssetKind.PLANT)
        asked = hand({"sign": number, "plant": plant, "as": as_})
        signer = replace(asked, actor=replace(me(), id=f"command line, {by}", name=by))
        body = dict(capacity_concessions.sign_concession(context, signer, place, number, as_=as_, name=by).body)
    out(body, as_json, lambda: iter([f"concession {number} signed as {as_}: {body['says']}"]))


@concession_app.command("withdraw")
def withdraw(
    plant: Plant,
    number: Number,
    by: Annotated[str, typer.Option(help="who takes it back")],
    as_json: AsJson = False,
) -> None:
    """Take a lower minimum back; the plant's own holds from then on.

    Example: leadline concession withdraw plover-plant 3 --by "A. Chief"
    """
    from dataclasses import replace

    from scheduler.actions.capacity import concessions as capacity_concessions
    from scheduler.actions.vessel import fleet
    from scheduler.storage.vessel import AssetKind

    with command_context() as context:
        place = fleet.locate(context, me(), plant, AssetKind.PLANT)
        asked = hand({"withdraw": number, "plant": plant})
        who = replace(asked, actor=replace(me(), id=f"command line, {by}", name=by))
        body = dict(capacity_concessions.withdraw_concession(context, who, place, number).body)
    out(body, as_json, lambda: iter([f"concession {number} withdrawn: {body['says']}"]))


@concession_app.command("list")
def concessions(plant: Plant, as_json: AsJson = False) -> None:
    """Show a plant's lower minima, newest first, with who signed.

    Example: leadline concession list plover-plant
    """
    from scheduler.actions.capacity import concessions as capacity_concessions
    from scheduler.actions.vessel import fleet
    from scheduler.storage.vessel import AssetKind

    with command_context() as context:
        rows = capacity_concessions.concessions_listed(context, fleet.locate(context, me(), plant, AssetKind.PLANT))
    out(
        {"concessions": rows},
        as_json,
        lambda: (
            f"{r['concession']:4} {r['state']:9} {r['from_at'][:16]}Z to {r['to_at'][:16]}Z  "
            f"{r['minimum_swept_m3_per_h']:g} m3/h  chief {r['chief'] or '-'}, hotel {r['hotel'] or '-'}: {r['reason']}"
            for r in rows
        ),
    )


@job_app.command("first-date")
def first_date(
    key: Annotated[str, typer.Argument(help="job key, as `leadline due` shows it")],
    on: Annotated[str, typer.Argument(help="ship's date on which it first falls due")],
    reason: Annotated[str, typer.Option(help="why that is soon enough")],
    by: Annotated[str, typer.Option(help="who sets it (the chief engineer or the office)")],
    class_agreed: Annotated[str, typer.Option(help="the class's agreement, for a class item")] = "",
    as_json: AsJson = False,
) -> None:
    """Set the first date of a job that nobody knows when it was last done.

    Example: leadline job first-date overhaul:plover-pump-a:1 2027-01-20 --reason "opened in dock, no paper" --by "A. Chief"
    """
    from dataclasses import replace

    from api.ics.writer import calendar_writer
    from scheduler.actions.due import first_dates
    from scheduler.actions.feed import refresh
    from scheduler.actions.work import jobs
    from scheduler.parsing import read_date

    day = read_date(on)
    if day is None:
        raise typer.BadParameter(f"{on!r}: a date such as 2027-01-20 is expected", param_hint="ON")
    with command_context() as context:
        place, job_id = jobs.job_place(context, me(), key)
        asked = hand({"first date": on, "job": key, "reason": reason})
        who = replace(asked, actor=replace(me(), id=f"command line, {by}", name=by))
        told = first_dates.set_first(context, who, place, job_id, on=day, reason=reason, class_agreed=class_agreed)
        refresh.renew(context, calendar_writer(context.settings.shown_base_url()), place.vessel_id)
    out(dict(told.body), as_json, lambda: iter([f"{key}: first due {day}; record {told.body['record']}"]))


@job_app.command("parts-from")
def parts_from(
    key: Annotated[str, typer.Argument(help="job key, as `leadline due` shows it")],
    on: Annotated[str, typer.Argument(help="ship's date from which the parts are aboard, or none to take it back")],
    note: Annotated[str, typer.Option(help="order, port, who brings them")] = "",
    as_json: AsJson = False,
) -> None:
    """Say when a job's parts come; the plan puts the job no earlier.

    Example: leadline job parts-from overhaul:plover-pump-a:1 2026-12-12 --note "with the agent"
    """
    from scheduler.actions.due import part_dates
    from scheduler.actions.work import jobs
    from scheduler.parsing import read_date

    day = None if on == "none" else read_date(on)
    if day is None and on != "none":
        raise typer.BadParameter(f"{on!r}: a date such as 2026-12-12 is expected, or none", param_hint="DATE")
    with command_context() as context:
        place, job_id = jobs.job_place(context, me(), key)
        asked = hand({"parts from": on, "job": key})
        body = dict(part_dates.set_date(context, asked, place, job_id, from_on=day, note=note).body)
    words = "no date for its parts any more" if day is None else f"parts aboard from {body['parts_from']}"
    out(body, as_json, lambda: iter([f"{key}: {words}; record {body['record']}"]))
