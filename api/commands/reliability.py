"""Reliability of a vessel's pumps."""

from collections.abc import Iterator
from typing import Annotated, Any

import typer

from api.commands.shared.common import AsJson, app, command_context, me, out


@app.command()
def reliability(vessel: Annotated[str, typer.Argument(help="vessel id")], as_json: AsJson = False) -> None:
    """Show breakdowns and running hours of each pump, with bounds; what the data do not carry is said.

    Example: leadline reliability demo-plover
    """
    from scheduler.actions.record import reliability as figures
    from scheduler.actions.vessel import fleet

    with command_context() as context:
        fleet.get_vessel(context, me(), vessel)
        told = figures.report(context, vessel)
    out(told, as_json, lambda: _lines(told))


def _lines(told: dict[str, Any]) -> Iterator[str]:
    yield f"{'pump':20} {'breakdowns':>10} {'running h':>10}  mean time between breakdowns, running h (90 % bounds)"
    for row in told["pumps"]:
        best, low, high = (row[f"mtbf_{which}running_hours"] for which in ("", "low_", "high_"))
        bounds = (
            "no hours yet"
            if low is None
            else f"over {low:.0f}"
            if best is None
            else f"{best:.0f} ({low:.0f} to {high:.0f})"
        )
        yield f"{row['pump']:20} {row['breakdowns']:10} {row['observed_running_hours']:10.0f}  {bounds}"
    yield f"Trend of all: {told['trend']}"
    yield f"Life: {told['life']['says']}"
