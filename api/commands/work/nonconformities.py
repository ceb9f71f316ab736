"""Non-conformities: listed, answered, closed."""

from typing import TYPE_CHECKING, Annotated

import typer

from api.commands.shared.command import Output, command, hand, ship_stamps, vessel_must_be
from api.commands.shared.groups import group
from api.commands.shared.options import VesselId

if TYPE_CHECKING:
    from scheduler.actions.base.context import Context

nonconformity_app = group("nonconformity", "Non-conformities.", "nonconformity list demo-plover")

Number = Annotated[int, typer.Argument(help="number of the non-conformity")]


@command(nonconformity_app, "list")
def list_nonconformities(context: "Context", vessel: VesselId) -> Output:
    """Show a vessel's non-conformities, newest first.

    Example: leadline nonconformity list demo-plover
    """
    from scheduler.actions.work import nonconformities

    vessel_must_be(context, vessel)
    rows, ship = nonconformities.nonconformities_listed(context, vessel), ship_stamps(context, vessel)
    lines = []
    for row in rows:
        about = (
            f"limit {ship(row['limit_at'])[:10]}"
            if row["limit_at"]
            else f"{row['about']}, {ship(row['opened_at'])[:10]}"
        )
        lines.append(f"{row['non_conformity']:4} {row['state']:8} {row['job']:44} {about}  {row['cause']}")
    return Output({"non_conformities": rows}, lines)


@command(nonconformity_app, "answer")
def answer_nonconformity(
    context: "Context",
    vessel: VesselId,
    number: Number,
    cause: Annotated[str, typer.Option(help="why it came about")],
    action: Annotated[str, typer.Option(help="what is done so that it does not again")],
) -> Output:
    """Answer a non-conformity with its cause and the corrective action, with your own key.

    Example: leadline --key-file own.key nonconformity answer demo-plover 2 --cause "no seal aboard" --action "two kept"
    """
    from scheduler.actions.work import nonconformities

    asked = hand(context, {"answer": number, "vessel": vessel})
    body = nonconformities.answer_nonconformity(
        context, asked, vessel, number, cause=cause, corrective_action=action
    ).body
    return Output(body, [f"non-conformity {number} answered; record {body['record']}"])


@command(nonconformity_app, "close")
def close_nonconformity(
    context: "Context",
    vessel: VesselId,
    number: Number,
) -> Output:
    """Close an answered non-conformity, with your own key; not who answered.

    Example: leadline --key-file own.key nonconformity close demo-plover 2
    """
    from scheduler.actions.work import nonconformities

    asked = hand(context, {"close": number, "vessel": vessel})
    body = nonconformities.close_nonconformity(context, asked, vessel, number).body
    return Output(body, [f"non-conformity {number} closed; record {body['record']}"])
