"""The lead order of a plant's pumps."""

from collections.abc import Iterator
from typing import Annotated, Any

import typer

from api.commands.shared.common import AsJson, app, command_context, me, out


@app.command()
def lead(plant: Annotated[str, typer.Argument(help="plant id")], as_json: AsJson = False) -> None:
    """Advise which pump should lead, so that overhauls come one after the other. It changes nothing.

    Example: leadline lead avocet-plant
    """
    from scheduler.actions.plan import lead_order
    from scheduler.actions.vessel import fleet
    from scheduler.storage.vessel import AssetKind

    with command_context() as context:
        place = fleet.locate(context, me(), plant, AssetKind.PLANT)
        told = lead_order.lead_order(context, place.vessel_id, place.id)
    out(told, as_json, lambda: _lines(told))


def _lines(told: dict[str, Any]) -> Iterator[str]:
    yield told["says"]
    yield f"{'position':12} {'left, running h':>16} {'advised h/d':>12} {'now h/d':>8}"
    for rung in told["ladder"]:
        yield (
            f"{rung['position']:12} {rung['left_hours']:16.0f} {rung['h_per_day']:12.1f} {rung['now_h_per_day']:8.1f}"
        )
    gap = "not known yet" if told["gap_days"] is None else f"about {told['gap_days']} days"
    yield f"From one {told['by']} to the next: {gap}."
    if told["change_percent"] is not None:
        change = f"{told['change_percent']:+g} % against the four before"
        yield f"Pump-hours a day: {told['pump_hours_per_day']:g} over four weeks, {change}."
