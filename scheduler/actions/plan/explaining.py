"""Why a job stands where it stands in the plan, and what would help one that is late or has no place; in words for people."""

import re
from collections.abc import Callable
from datetime import datetime
from typing import Any

from scheduler.actions.base.context import Context
from scheduler.actions.plant_state.load import PlantState, plant_state
from scheduler.actions.plant_state.names import job_words, pump_words
from scheduler.errors import Clash, NotFound
from scheduler.planning.explain.reasons import explain_place
from scheduler.planning.explain.reliefs import Relief, reliefs
from scheduler.planning.problem.shiphours import ShipClock
from scheduler.planning.problem.values import Problem

_NAME = re.compile(r"(?<![\w:.-])([a-z0-9](?:[a-z0-9_:-]*[a-z0-9_-])?)(?![\w-])(?: \(([a-z0-9-]+)\))?")
"""A job key or pump id as it stands in a sentence, and what stands in brackets after it (the key's pump)."""


_INSTANT = re.compile(r"(?<!\d)\d{4}-\d\d-\d\dT\d\d:\d\dZ")
"""An instant as the planner writes it."""


def in_words(now: PlantState, problem: Problem) -> Callable[[str], str]:
    """Puts what a person calls them in the place of the problem's job keys and pump ids in a text, and ship time in that of
    instants, with the year where it is not that of now."""
    clock = ShipClock(now.offset_minutes, tuple(sorted(now.clock_changes)))
    this_year = (now.at + clock.offset_at(now.at)).year

    def told(found: re.Match[str]) -> str:
        at = datetime.fromisoformat(found.group())
        there = at + clock.offset_at(at)
        year = "" if there.year == this_year else f" {there.year}"
        return f"{there:%a} {there.day} {there:%b}{year} {there:%H:%M}"

    keys = {job.key for job in problem.jobs}
    # an id that is a plain word ("open") is left alone: it may be meant as that word
    pumps = {pump.pump for pump in problem.pumps if not pump.pump.isalpha()}

    def named(found: re.Match[str]) -> str:
        name, beside = found.groups()
        if name in keys and beside in pumps:
            return job_words(now, name)
        said = job_words(now, name) if name in keys else pump_words(now, name) if name in pumps else name
        return said + found.group()[len(name) :]

    return lambda text: _INSTANT.sub(told, _NAME.sub(named, text))


def why(context: Context, vessel_id: str, plant_id: str, key: str) -> dict[str, Any]:
    """Reasons, what forbids the other starts, and for a late or unplaced job the reliefs, each tried by planning again.

    Of the proposed plan, else of the one taken. Sentences speak of positions and jobs as people do ("name" is the job's own);
    "job" is its key. Runs outside any transaction.

    Raises:
        Clash: there is no plan yet. NotFound: the plan has no such job.
    """
    now = plant_state(context, vessel_id, plant_id)
    held = now.proposed or now.taken
    if held is None:
        raise Clash(f"There is no plan for {plant_id} yet. Make one: leadline plan {plant_id} --new")
    offset = now.offset_minutes
    try:
        told = explain_place(held.problem, held.plan, key, offset=offset)
    except KeyError as error:
        raise NotFound(
            f"The plan of {plant_id} has no job {key}: it is not due in the planned days, or another job renews it."
        ) from error
    words = in_words(now, held.problem)
    reasons, pin = list(told.reasons), now.pins.get(key)
    if pin is not None:
        by_hand = f"It was set there by hand, by {pin.by} (move {pin.move}): planning again leaves it there."
        reasons = [*reasons, by_hand] if told.days_late is None else [reasons[0], by_hand]
    helps: tuple[Relief, ...] = ()
    if told.days_late is None or told.days_late:
        with context.workers() as workers:
            helps = reliefs(held.problem, held.plan, key, solve=workers.plan, offset=offset)
    return {
        "plant": plant_id,
        "plan": held.digest,
        "job": key,
        "name": job_words(now, key),
        "days_late": told.days_late,
        "placed": told.days_late is not None,
        "reasons": [words(reason) for reason in reasons],
        "forbidden": [
            {
                "from": f"{one.from_at:%Y-%m-%dT%H:%MZ}",
                "to": f"{one.to_at:%Y-%m-%dT%H:%MZ}",
                "starts": one.starts,
                "reason": words(one.reason),
                "lacking_swept_m3_per_h": one.lacking_litres_per_h / 1000,
            }
            for one in told.forbidden
        ],
        "reliefs": [{"kind": one.kind.value, "says": words(one.says), "price": one.price} for one in helps],
    }
