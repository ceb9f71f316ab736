"""The plans of a whole fleet."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import typer

from api.commands.shared.command import Output, plants, show
from api.commands.shared.exit_codes import ExitCode

if TYPE_CHECKING:
    from scheduler.actions.base.context import Context
    from scheduler.actions.plan.fleet import PlantPlan


def plan_fleet(context: "Context", processes: int | None, check: bool, as_json: bool) -> Output:
    """Plans every plant whose problem changed, or with `check` only looks; what was done is shown even when it is interrupted."""
    from scheduler.actions.plan.fleet import Came, plan_many, stored_plant_plan
    from scheduler.settings import cores

    came: dict[str, PlantPlan] = {}
    began = time.monotonic()
    pairs = plants(context, None)
    try:
        with _bar(len(pairs)) as step:

            def note(one: "PlantPlan") -> None:
                came[one.plant_id] = one
                step()

            if check:
                for pair in pairs:
                    note(stored_plant_plan(context, *pair))
            else:
                plan_many(context, pairs, processes or cores(), note)
    finally:
        made = [came[plant_id] for _, plant_id in pairs if plant_id in came]
        show(_shown(made, len(pairs), time.monotonic() - began), as_json)
    short = check and not all(one.good for one in made)
    if any(one.came is Came.TROUBLE for one in made):
        return Output(code=ExitCode.COULD_NOT)
    return Output(code=ExitCode.SHORT if short else ExitCode.GOOD)


def _shown(made: "list[PlantPlan]", plants: int, seconds: float) -> Output:
    from scheduler.actions.plan.fleet import Came

    counts = {kind: sum(one.came is kind for one in made) for kind in Came}
    value = {"plants": [_plant_json(one) for one in made], **{kind.name.lower(): many for kind, many in counts.items()}}
    words = ", ".join(f"{many} {kind.value}" for kind, many in counts.items() if many) or "nothing done"
    stopped = "" if len(made) == plants else f"; stopped before the other {plants - len(made)}"
    talk = [f"{len(made)} {'plant' if len(made) == 1 else 'plants'} in {seconds:.1f} s: {words}{stopped}"]
    if not plants:
        talk.append("No vessel is here yet. Take in its document: leadline import ship.json")
    return Output(value, map(_plant_line, made), talk)


@contextmanager
def _bar(length: int) -> Iterator[Callable[[], None]]:
    """A progress bar on standard error, and what moves it on by one; nothing is shown where that is no terminal."""
    if not sys.stderr.isatty():
        yield lambda: None
        return
    with typer.progressbar(length=length, label="Planning", show_pos=True, file=sys.stderr) as bar:
        yield lambda: bar.update(1)


def _plant_json(one: "PlantPlan") -> dict[str, Any]:
    least, left = one.least_margin_litres_per_h, one.figures
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
    from scheduler.actions.plan.fleet import Came
    from scheduler.wording.reasons import left_words

    if one.error is not None:
        return [f"trouble: {one.trouble}"]
    if one.came is Came.ABOARD:
        return [f"{one.came.value}: she plans there"]
    left = one.figures
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
