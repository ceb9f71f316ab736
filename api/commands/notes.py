"""A pump that failed, clogs, handover notes, monthly reviews."""

from typing import Annotated

import typer

from api.commands.shared.common import HELP, AsJson, app, command_context, hand, instant_given, maybe_instant, me, out

handover_app = typer.Typer(
    help='Handover notes.\n\nExample: leadline handover write demo-plover --text "VP2 seal drips"',
    context_settings=HELP,
    rich_markup_mode=None,
    no_args_is_help=True,
)
review_app = typer.Typer(
    help="Monthly reviews.\n\nExample: leadline review list demo-plover",
    context_settings=HELP,
    rich_markup_mode=None,
    no_args_is_help=True,
)
app.add_typer(handover_app, name="handover")
app.add_typer(review_app, name="review")
VesselId = Annotated[str, typer.Argument(help="vessel id")]


@app.command()
def breakdown(
    pump: Annotated[str, typer.Argument(help="pump id")],
    reason: Annotated[str, typer.Option(help="what failed, in a few words")],
    at: Annotated[str | None, typer.Option(help="since when, with offset (default: now)")] = None,
    expected_back: Annotated[
        str | None, typer.Option(help="when it is expected back, with offset (default: not known)")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Put a pump out that failed, open its repair and plan anew; says what is left over the minimum.

    Example: leadline breakdown plover-pump-b --reason "tripped, smell of burning"
    """
    from scheduler.actions.vessel import fleet
    from scheduler.actions.work import breakdown as repairs
    from scheduler.storage.vessel import AssetKind

    with command_context() as context:
        place = fleet.locate(context, me(), pump, AssetKind.PUMP)
        told = {"breakdown": pump, "reason": reason, "at": at or "", "expected_back": expected_back or ""}
        body = dict(
            repairs.open_breakdown(
                context,
                hand(told),
                place,
                at=instant_given(at),
                reason=reason,
                expected_at=maybe_instant(expected_back),
            ).body
        )
        body["plan"] = repairs.plan_again(context, place)
    out(body, as_json, lambda: iter([f"{body['job']} opened, record {body['record']}. {body['says']}", body["plan"]]))


@app.command("expected-back")
def expected_back(
    pump: Annotated[str, typer.Argument(help="pump id")],
    at: Annotated[str | None, typer.Option(help="when, with offset (default: not known)")] = None,
    as_json: AsJson = False,
) -> None:
    """Say when a pump that is out is expected back; plans go by it, the present margin never does.

    Example: leadline expected-back plover-pump-b --at 2026-12-14T08:00Z
    """
    from scheduler.actions.capacity import outages
    from scheduler.actions.vessel import fleet
    from scheduler.actions.work import breakdown as repairs
    from scheduler.storage.vessel import AssetKind

    with command_context() as context:
        place = fleet.locate(context, me(), pump, AssetKind.PUMP)
        asked = hand({"expected back": pump, "at": at or ""})
        body = dict(outages.say_expected(context, asked, place, maybe_instant(at)).body)
        body["plan"] = repairs.plan_again(context, place)
    out(body, as_json, lambda: iter([f"kept, record {body['record']}. {body['says']}", body["plan"]]))


@app.command("runs-after-all")
def runs_after_all(
    pump: Annotated[str, typer.Argument(help="pump id")],
    at: Annotated[str | None, typer.Option(help="since when, with offset (default: now)")] = None,
    reason: Annotated[str, typer.Option(help="what it was")] = "",
    as_json: AsJson = False,
) -> None:
    """A pump that was put out runs after all, untouched; the stop stays on record, its repair is withdrawn.

    Example: leadline runs-after-all plover-pump-b --reason "emergency stop was pressed"
    """
    from scheduler.actions.vessel import fleet
    from scheduler.actions.work import breakdown as repairs
    from scheduler.storage.vessel import AssetKind

    with command_context() as context:
        place = fleet.locate(context, me(), pump, AssetKind.PUMP)
        asked = hand({"runs after all": pump, "at": at or ""})
        body = dict(repairs.runs_after_all(context, asked, place, at=instant_given(at), reason=reason).body)
        body["plan"] = repairs.plan_again(context, place)
    out(body, as_json, lambda: iter([body["says"], body["plan"]]))


@app.command()
def clog(
    vessel: VesselId,
    object_found: Annotated[str, typer.Option("--object", help="what it was")],
    riser: Annotated[str, typer.Option(help="on which riser")] = "",
    deck: Annotated[str, typer.Option(help="on which deck")] = "",
    text: Annotated[str, typer.Option(help="remark")] = "",
    at: Annotated[str | None, typer.Option(help="when, with offset (default: now)")] = None,
    as_json: AsJson = False,
) -> None:
    """Note a clog that was cleared; it needs no job.

    Example: leadline clog demo-plover --object wipe --riser R4 --deck 3
    """
    from scheduler.actions.work import breakdown as repairs

    with command_context() as context:
        told = {"clog": object_found, "riser": riser, "deck": deck, "at": at or ""}
        answer = repairs.note_clog(
            context,
            hand(told),
            vessel,
            at=instant_given(at),
            object_found=object_found,
            riser=riser,
            deck=deck,
            text=text,
        )
    out(dict(answer.body), as_json, lambda: iter([str(answer.body["says"])]))


@handover_app.command("write")
def handover_write(
    vessel: VesselId,
    text: Annotated[str, typer.Option(help="what the one who takes over has to know")],
    as_json: AsJson = False,
) -> None:
    """Write and sign a handover note.

    Example: leadline handover write demo-plover --text "VP2 seal drips; part ordered"
    """
    from scheduler.actions.work import handover

    with command_context() as context:
        body = dict(handover.write_handover(context, hand({"handover": vessel, "text": text}), vessel, text).body)
    out(body, as_json, lambda: iter([f"note {body['handover']}, record {body['record']}: {body['says']}"]))


@handover_app.command("list")
def handover_list(vessel: VesselId, as_json: AsJson = False) -> None:
    """Handover notes, newest first. Each is signed by the one who takes over on the page, where it is known who that is.

    Example: leadline handover list demo-plover
    """
    from scheduler.actions.vessel import fleet
    from scheduler.actions.work import handover

    with command_context() as context:
        fleet.get_vessel(context, me(), vessel)
        told = handover.handovers_of(context, vessel)
    lines = [
        f"{one['handover']}: {one['written_by']} to {one['signed_by'] or 'nobody yet'}: {one['text']}" for one in told
    ]
    out({"handovers": told}, as_json, lambda: iter(lines))


@review_app.command("list")
def review_list(vessel: VesselId, as_json: AsJson = False) -> None:
    """Signed months, newest first. A month is signed by the chief engineer on the page or by key.

    Example: leadline review list demo-plover
    """
    from scheduler.actions.vessel import fleet
    from scheduler.actions.work import handover

    with command_context() as context:
        fleet.get_vessel(context, me(), vessel)
        told = handover.reviews_of(context, vessel)
    out(
        {"reviews": told},
        as_json,
        lambda: iter([f"{one['month']}: {one['by']}, record {one['record']}" for one in told]),
    )
