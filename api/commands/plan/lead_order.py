"""The lead order of a plant's pumps."""

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from api.commands.shared.command import Output, command, plant_place
from api.commands.shared.groups import app
from api.commands.shared.options import PlantId

if TYPE_CHECKING:
    from scheduler.actions.base.context import Context


@command(app)
def lead(context: "Context", plant: PlantId) -> Output:
    """Advise which pump should lead, so that overhauls come one after the other. It changes nothing.

    Example: leadline lead avocet-plant
    """
    from scheduler.actions.plan import lead_order

    place = plant_place(context, plant)
    advice = lead_order.lead_order(context, place.vessel_id, place.id)
    return Output(advice, _advice_lines(advice))


def _advice_lines(advice: Mapping[str, Any]) -> Iterator[str]:
    yield advice["says"]
    yield f"{'position':12} {'left, running h':>16} {'advised h/d':>12} {'now h/d':>8}"
    for rung in advice["ladder"]:
        yield (
            f"{rung['position']:12} {rung['left_hours']:16.0f} {rung['h_per_day']:12.1f} {rung['now_h_per_day']:8.1f}"
        )
    gap = "not known yet" if advice["gap_days"] is None else f"about {advice['gap_days']} days"
    yield f"From one {advice['by']} to the next: {gap}."
    if advice["change_percent"] is not None:
        change = f"{advice['change_percent']:+g} % against the four before"
        yield f"Pump-hours a day: {advice['pump_hours_per_day']:g} over four weeks, {change}."
