"""Handover notes, monthly reviews, and parts aboard."""

from typing import TYPE_CHECKING, Annotated, Any

import typer

from api.commands.shared.command import Output, command, hand, plant_place, vessel_must_be
from api.commands.shared.groups import app, group
from api.commands.shared.options import PlantId, VesselId

if TYPE_CHECKING:
    from scheduler.actions.base.context import Context

handover_app = group("handover", "Handover notes.", 'handover write demo-plover --text "VP2 seal drips"')
review_app = group("review", "Monthly reviews.", "review list demo-plover")


@command(handover_app, "write")
def write_handover(
    context: "Context",
    vessel: VesselId,
    text: Annotated[str, typer.Option(help="what the one who takes over has to know")],
) -> Output:
    """Write and sign a handover note, with your own key.

    Example: leadline --key-file own.key handover write demo-plover --text "VP2 seal drips; part ordered"
    """
    from scheduler.actions.work import handover

    body = handover.write_handover(context, hand(context, {"handover": vessel, "text": text}), vessel, text).body
    return Output(body, [f"note {body['handover']}, record {body['record']}: {body['says']}"])


@command(handover_app, "list")
def list_handovers(context: "Context", vessel: VesselId) -> Output:
    """Handover notes, newest first. Each is signed by the one who takes over on the page, where it is known who that is.

    Example: leadline handover list demo-plover
    """
    from scheduler.actions.work import handover

    vessel_must_be(context, vessel)
    rows = handover.handovers_of(context, vessel)
    return Output(
        {"handovers": rows},
        [f"{r['handover']}: {r['written_by']} to {r['signed_by'] or 'nobody yet'}: {r['text']}" for r in rows],
    )


@command(review_app, "list")
def list_reviews(context: "Context", vessel: VesselId) -> Output:
    """Signed months, newest first. A month is signed by the chief engineer on the page or by key.

    Example: leadline review list demo-plover
    """
    from scheduler.actions.work import handover

    vessel_must_be(context, vessel)
    rows = handover.reviews_of(context, vessel)
    return Output({"reviews": rows}, [f"{r['month']}: {r['by']}, record {r['record']}" for r in rows])


def _part_counted(text: str) -> tuple[str, int]:
    name, _, number = text.rpartition("=")
    if not (name.strip() and number.strip().isdecimal()):
        raise typer.BadParameter(f"{text!r}: name=number is expected")
    return name.strip(), int(number)


@command(app)
def parts(
    context: "Context",
    plant: PlantId,
    count: Annotated[Any, typer.Option(help='a part that was counted, as "name=number"', parser=_part_counted)] = None,
) -> Output:
    """Parts that the job sheets need, and how many are aboard; with --count, set one.

    Example: leadline parts plover-plant --count "knife set=2"
    """
    from scheduler.actions.work import parts as actions

    place = plant_place(context, plant)
    if count is not None:
        name, number = count
        actions.count_part(context, hand(context, {"count": count, "plant": plant}), place, name=name, aboard=number)
    rows = actions.parts_of(context, place)
    return Output(
        {"plant": plant, "parts": rows},
        [f"{r['part']}: {'not counted' if r['aboard'] is None else r['aboard']}" for r in rows],
    )
