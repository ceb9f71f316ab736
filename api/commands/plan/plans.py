"""The plan of a plant and its outlook."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated, Any

import typer

from api.commands.plan.fleet import plan_fleet
from api.commands.shared.command import AsJson, Output, command, hand, plant_place, say
from api.commands.shared.exit_codes import ExitCode
from api.commands.shared.groups import app

if TYPE_CHECKING:
    from scheduler.actions.base.context import Context
    from scheduler.actions.plant_state.stored import StoredPlan
    from scheduler.actions.vessel.fleet import Place


@command(app)
def plan(
    context: "Context",
    plant: Annotated[str | None, typer.Argument(help="plant id")] = None,
    new: Annotated[bool, typer.Option("--new", help="plan anew first")] = False,
    take: Annotated[
        str | None, typer.Option(help="take the proposed plan with this digest (or its first 12 letters)")
    ] = None,
    explain: Annotated[str | None, typer.Option(help="only why the job with this key stands where it stands")] = None,
    outlook: Annotated[
        bool, typer.Option("--outlook", help="a plan far ahead instead, worked out and not kept")
    ] = False,
    days: Annotated[int, typer.Option(min=2, max=730, help="with --outlook: how many days it covers")] = 730,
    fleet: Annotated[
        bool, typer.Option("--fleet", help="plan every plant whose problem changed since its newest plan")
    ] = False,
    processes: Annotated[
        int | None, typer.Option(min=1, max=64, help="with --fleet: plans made at once (default: one a core)")
    ] = None,
    check: Annotated[
        bool, typer.Option("--check", help="exit 5 when the plan leaves something short; with --fleet plan nothing")
    ] = False,
    as_json: AsJson = False,
) -> Output:
    """Show, make, take or explain a plant's plan; or plan the fleet.

    Exit codes: 0 good; 1 a plant could not be planned; with --check 5 when a plan leaves its plant below the minimum, or a
    job without a place or past its limit.

    Example: leadline plan avocet-plant --new

    Example: leadline plan --fleet --processes 4
    """
    from scheduler.actions.plan import planning
    from scheduler.actions.plant_state.load import plant_state
    from scheduler.errors import Clash

    _one_or_fleet(plant, fleet, {"--new": new, "--take": take, "--explain": explain, "--outlook": outlook}, processes)
    if plant is None:
        return plan_fleet(context, processes, check, as_json)
    place = plant_place(context, plant)
    if outlook:
        return _outlook(context, place, days, check)
    if new:
        say("Planning...")
        planning.propose(context, place.vessel_id, place.id)
    if explain is not None:
        return _explained(context, place, explain)
    now = plant_state(context, place.vessel_id, place.id)
    if take is not None:
        short = len(take) >= 12 and now.proposed is not None and now.proposed.digest.startswith(take)
        digest = now.proposed.digest if short and now.proposed else take
        planning.take(context, hand(context, {"take": digest}), place, digest)
        now = plant_state(context, place.vessel_id, place.id)
    shown = now.proposed or now.taken
    if shown is None:
        raise Clash(f"There is no plan for {plant} yet. Make one: leadline plan {plant} --new")
    value = {"taken": planning.plan_as_json(now, now.taken), "proposed": planning.plan_as_json(now, now.proposed)}
    return Output(value, planning.plan_lines(now, shown), *_left(shown, check))


def _one_or_fleet(plant: str | None, fleet: bool, of_one: dict[str, Any], processes: int | None) -> None:
    """Raises BadParameter when what was asked for is neither one plant nor the fleet, or both."""
    if fleet and plant is not None:
        raise typer.BadParameter(f"name one plant ({plant}) or give --fleet for all of them, not both")
    if not fleet and plant is None:
        raise typer.BadParameter("name a plant, or give --fleet for every plant")
    own = [name for name, value in of_one.items() if value]
    if fleet and own:
        raise typer.BadParameter(f"{' and '.join(own)} is for one plant; name it instead of --fleet")
    if processes is not None and not fleet:
        raise typer.BadParameter("--processes is for --fleet; one plant is planned by one process")


def _left(plan: "StoredPlan", check: bool) -> tuple[list[str], int]:
    """What the plan leaves short, where that is to be checked, and the exit code."""
    from scheduler.planning.explain.figures import plan_figures
    from scheduler.wording.reasons import left_words

    left = plan_figures(plan.problem, plan.plan)
    return ([f"The plan leaves {', '.join(left_words(left))}."], ExitCode.SHORT) if check and not left.good else ([], 0)


def _outlook(context: "Context", place: "Place", days: int, check: bool) -> Output:
    from scheduler.actions.plan import planning
    from scheduler.actions.plan.outlook import outlook, outlook_as_json, outlook_words

    say("Planning...")
    now, plan = outlook(context, place.vessel_id, place.id, days)
    words = outlook_words(context, now)
    lines = [words, *planning.plan_lines(now, plan)]
    return Output(outlook_as_json(now, plan, days, words), lines, *_left(plan, check))


def _explained(context: "Context", place: "Place", key: str) -> Output:
    from scheduler.actions.plan.explaining import why

    found = why(context, place.vessel_id, place.id, key)

    def lines() -> Iterator[str]:
        yield from found["reasons"]
        yield from (f"  {one}" for one in found["blocked"])
        if found["days_late"] is None or found["days_late"]:
            yield (
                "What would help, each tried by planning again:"
                if found["reliefs"]
                else "No single change aboard would help."
            )
        for relief in found["reliefs"]:
            yield f"  {relief['says']} ({relief['price']})"

    return Output(found, lines())
