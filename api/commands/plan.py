"""The plan of a plant, its outlook, and the plans of a whole fleet."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated, Any

import typer

from api.commands.shared.common import AsJson, app, command_context, hand, me, out, plants, say

if TYPE_CHECKING:
    from scheduler.actions.base.context import Context
    from scheduler.actions.plan.fleet import PlantPlan
    from scheduler.actions.plant_state.load import StoredPlan
    from scheduler.actions.vessel.fleet import Place

SHORT = 5
"""Exit code: a plan leaves its plant below the minimum, or a job without a place or past its limit."""


@app.command()
def plan(
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
) -> None:
    """Show, make, take or explain a plant's plan; or plan the fleet.

    Exit codes: 0 good; 1 a plant could not be planned; with --check 5 when a plan leaves its plant below the minimum, or a
    job without a place or past its limit.

    Example: leadline plan avocet-plant --new

    Example: leadline plan --fleet --processes 4
    """
    _one_or_fleet(plant, fleet, {"--new": new, "--take": take, "--explain": explain, "--outlook": outlook}, processes)
    if plant is None:
        _fleet(processes, check, as_json)
        return

    from api.ics.writer import calendar_writer
    from scheduler.actions.feed import refresh
    from scheduler.actions.plan import planning
    from scheduler.actions.plant_state.load import plant_state
    from scheduler.actions.vessel import fleet as vessels
    from scheduler.errors import Clash
    from scheduler.storage.vessel import AssetKind

    with command_context() as context:
        place = vessels.locate(context, me(), plant, AssetKind.PLANT)
        if outlook:
            _outlook(context, place, days, check, as_json)
            return
        if new:
            say("Planning...")
            planning.propose(context, place.vessel_id, place.id)
        if explain is not None:
            _explained(context, place, explain, as_json)
            return
        now = plant_state(context, place.vessel_id, place.id)
        if take is not None:
            digest = (
                now.proposed.digest
                if now.proposed and len(take) >= 12 and now.proposed.digest.startswith(take)
                else take
            )
            planning.take(context, hand({"take": digest}), place, digest)
            refresh.renew(context, calendar_writer(context.settings.shown_base_url()), place.vessel_id)
            now = plant_state(context, place.vessel_id, place.id)
        shown = now.proposed or now.taken
        told = {
            "taken": planning.plan_as_json(now, now.taken),
            "proposed": planning.plan_as_json(now, now.proposed),
        }
        if shown is None:
            raise Clash(f"There is no plan for {plant} yet. Make one: leadline plan {plant} --new")
        out(told, as_json, lambda: planning.plan_lines(now, shown))
        _check(shown, check)


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


def _check(held: "StoredPlan", check: bool) -> None:
    from scheduler.planning.explain.figures import plan_figures
    from scheduler.wording.plan import left_words

    left = plan_figures(held.problem, held.plan)
    if check and not left.good:
        say(f"The plan leaves {', '.join(left_words(left))}.")
        raise typer.Exit(SHORT)


def _outlook(context: "Context", place: "Place", days: int, check: bool, as_json: bool) -> None:
    from scheduler.actions.plan import planning
    from scheduler.actions.plan.outlook import outlook, outlook_as_json, outlook_words

    say("Planning...")
    now, held = outlook(context, place.vessel_id, place.id, days)
    words = outlook_words(context, now)

    def lines() -> Iterator[str]:
        yield words
        yield from planning.plan_lines(now, held)

    out(outlook_as_json(now, held, days, words), as_json, lines)
    _check(held, check)


def _explained(context: "Context", place: "Place", key: str, as_json: bool) -> None:
    from scheduler.actions.plan.explaining import why

    told = why(context, place.vessel_id, place.id, key)

    def lines() -> Iterator[str]:
        yield from told["reasons"]
        yield from (f"  {one}" for one in told["blocked"])
        if told["days_late"] is None or told["days_late"]:
            yield (
                "What would help, each tried by planning again:"
                if told["reliefs"]
                else "No single change aboard would help."
            )
        for relief in told["reliefs"]:
            yield f"  {relief['says']} ({relief['price']})"

    out(told, as_json, lines)


def _fleet(processes: int | None, check: bool, as_json: bool) -> None:
    from scheduler.actions.plan.fleet import Came, fleet_standing, plan_many
    from scheduler.settings import cores

    came: dict[str, PlantPlan] = {}
    many = processes or cores()
    began = time.monotonic()
    with command_context() as context:
        pairs = plants(context, None)
        try:
            with _bar(len(pairs)) as step:

                def note(one: "PlantPlan") -> None:
                    came[one.plant_id] = one
                    step()

                if check:
                    for pair in pairs:
                        note(fleet_standing(context, *pair))
                else:
                    plan_many(context, pairs, many, note)
        finally:
            made = [came[plant_id] for _, plant_id in pairs if plant_id in came]
            _say_fleet(made, len(pairs), time.monotonic() - began, as_json)
    if any(one.came is Came.TROUBLE for one in made):
        raise typer.Exit(1)
    if check and not all(one.good for one in made):
        raise typer.Exit(SHORT)


def _say_fleet(made: "list[PlantPlan]", plants: int, seconds: float, as_json: bool) -> None:
    from scheduler.actions.plan.fleet import Came

    counts = {kind: sum(one.came is kind for one in made) for kind in Came}
    told = {"plants": [_plant_json(one) for one in made], **{kind.name.lower(): many for kind, many in counts.items()}}
    out(told, as_json, lambda: map(_plant_line, made))
    words = ", ".join(f"{many} {kind.value}" for kind, many in counts.items() if many) or "nothing done"
    stopped = "" if len(made) == plants else f"; stopped before the other {plants - len(made)}"
    say(f"{len(made)} {'plant' if len(made) == 1 else 'plants'} in {seconds:.1f} s: {words}{stopped}")
    if not plants:
        say("No vessel is here yet. Take in its document: leadline import ship.json")


@contextmanager
def _bar(length: int) -> Iterator[Callable[[], None]]:
    """A progress bar on standard error, and what moves it on by one; nothing is shown where that is no terminal."""
    if not sys.stderr.isatty():
        yield lambda: None
        return
    with typer.progressbar(length=length, label="Planning", show_pos=True, file=sys.stderr) as bar:
        yield lambda: bar.update(1)


def _plant_json(one: "PlantPlan") -> dict[str, Any]:
    least, left = one.least_margin_litres_per_h, one.standing
    return {
        "vessel": one.vessel_id,
        "plant": one.plant_id,
        "came": one.came.value,
        "trouble": one.trouble or None,
        "digest": one.digest,
        "slots": left and left.slots,
        "least_margin_swept_m3_per_h": None if least is None else least / 1000,
        "by": one.by or None,
        "proven": one.proven,
        "jobs_without_place": left and left.without_place,
        "jobs_past_limit": left and left.past_limit,
        "hours_below_minimum": left and left.hours_below_minimum,
    }


def _plant_line(one: "PlantPlan") -> str:
    return f"{one.plant_id}: {', '.join(_plant_words(one))}"


def _plant_words(one: "PlantPlan") -> list[str]:
    from scheduler.wording.plan import left_words

    if one.error is not None:
        return [f"trouble: {one.trouble}"]
    left = one.standing
    if left is None:
        return [one.came.value, "no plan yet"]
    least = one.least_margin_litres_per_h
    words = [one.came.value, f"{left.slots} slots"]
    if least is not None:
        words.append(f"least margin {least / 1000:g} m³/h")
    words.append(
        "proved best" if one.proven else "not proven" if one.by == "solver" else "by the plain rule, not proven"
    )
    return [*words, *left_words(left)]
