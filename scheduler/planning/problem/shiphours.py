"""Ship's hours on a grid of whole UTC hours.

Where the offset is not whole hours a step lies in two of the ship's hours. What restricts is widened to every step it
touches (the higher minimum, hours without work); what permits counts only where it holds for the whole step (hours at
work, quiet hours) or from the first whole step on (start hours), so that no date promises hours that are not there.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from functools import lru_cache
from itertools import groupby
from typing import TypeVar

from scheduler.domain.capacity.minimum import Concession, hands_at, litres_up, matches, minimum_at, pumps_needed
from scheduler.domain.vessel.crew import Crew
from scheduler.domain.vessel.document import Plant
from scheduler.planning.problem.values import ClosedStretch, CrewStretch, MinimumStretch, QuietStretch
from scheduler.shiptime import ShipOffset, ship_time

_V = TypeVar("_V")

HOUR = timedelta(hours=1)


def step_floor(starts_at: datetime, at: datetime) -> int:
    """The step in which `at` lies."""
    return (at - starts_at) // HOUR


def step_ceil(starts_at: datetime, at: datetime) -> int:
    """The first step that begins at or after `at`."""
    return -((starts_at - at) // HOUR)


def wall_hours(starts_at: datetime, steps: int, clock: ShipOffset) -> tuple[tuple[datetime, ...], ...]:
    """By step the ship's wall-clock hours (by their beginnings) in which it lies, the one it begins in first; without a zone.

    One or two of them, at most four where the clock changes within the step.
    """
    return _wall_hours(starts_at, steps, clock.first, clock.changes)


@lru_cache(maxsize=4)  # a frame asks for its own several times; two clocks of one offset are equal as numbers
def _wall_hours(
    starts_at: datetime, steps: int, first: int, changes: tuple[tuple[datetime, int], ...]
) -> tuple[tuple[datetime, ...], ...]:
    clock = ShipOffset(first, changes)
    found = []
    for step in range(steps):
        begins = starts_at + step * HOUR
        hours = list(_hours_from(_wall(clock, begins), HOUR))
        for at, _ in clock.changes:
            if begins < at < begins + HOUR:
                hours += _hours_from(_wall(clock, at), begins + HOUR - at)
        found.append(tuple(dict.fromkeys(hours)))
    return tuple(found)


def _wall(clock: ShipOffset, at: datetime) -> datetime:
    return ship_time(at, clock).replace(tzinfo=None)


def _hours_from(wall: datetime, lasting: timedelta) -> Iterator[datetime]:
    """The wall-clock hours, by their beginnings, that a stretch from `wall` on touches."""
    hour = wall.replace(minute=0, second=0, microsecond=0)
    while hour < wall + lasting:
        yield hour
        hour += HOUR


def minimum_stretches(
    plant: Plant, starts_at: datetime, steps: int, clock: ShipOffset, concessions: Sequence[Concession] = ()
) -> tuple[MinimumStretch, ...]:
    """The plant's minimum over the grid, equal neighbours merged; lower in whole steps where a signed concession says so."""
    agreed = [
        (step_ceil(starts_at, c.from_at), step_floor(starts_at, c.to_at), litres_up(c.minimum))
        for c in concessions
        if c.signed
    ]

    walls = wall_hours(starts_at, steps, clock)

    def at_step(step: int) -> tuple[int, str, int]:
        found = [minimum_at(plant, wall) for wall in walls[step]]
        need, label = max(((litres_up(swept), label) for swept, label in found), key=lambda pair: pair[0])
        pumps = max(pumps_needed(plant, wall) for wall in walls[step])
        lower = min((litres for first, last, litres in agreed if first <= step < last), default=need)
        return (lower, f"{label}, lower as agreed", pumps) if lower < need else (need, label, pumps)

    return tuple(
        MinimumStretch(from_step=first, to_step=last, litres_per_h=value[0], label=value[1], pumps=value[2])
        for first, last, value in equal_stretches(steps, at_step)
    )


def crew_stretches(crew: Crew, starts_at: datetime, steps: int, clock: ShipOffset) -> tuple[CrewStretch, ...]:
    """The stretches with hands at work: by the ship's hours, dates and blocks, less what is marked as without work."""
    walls, closed = wall_hours(starts_at, steps, clock), _without_work(crew, starts_at, steps)

    def at_step(step: int) -> int:
        return 0 if step in closed else min([hands_at(crew, wall) for wall in walls[step]])

    return tuple(
        CrewStretch(from_step=first, to_step=last, hands=hands)
        for first, last, hands in equal_stretches(steps, at_step)
        if hands > 0
    )


def closed_stretches(crew: Crew, starts_at: datetime, steps: int, clock: ShipOffset) -> tuple[ClosedStretch, ...]:
    """The stretches without work in which hands would be there otherwise, and the label of what closes them.

    What closes: a stretch marked as without work, or a block with no hands (a holiday) within the working hours.
    """
    walls, marked = wall_hours(starts_at, steps, clock), _without_work(crew, starts_at, steps)
    holidays = [block for block in crew.blocks if block.hands == 0]
    open_always = replace(crew, blocks=tuple(block for block in crew.blocks if block.hands > 0))

    def at_step(step: int) -> tuple[int, str]:
        hands = min([hands_at(crew, wall) for wall in walls[step]])
        if step in marked:
            return hands, marked[step]
        if hands > 0:
            return 0, ""
        label = next((b.label for b in reversed(holidays) if any(matches(b, wall) for wall in walls[step])), None)
        return (0, "") if label is None else (min(hands_at(open_always, wall) for wall in walls[step]), label)

    return tuple(
        ClosedStretch(from_step=first, to_step=last, hands=value[0], label=value[1])
        for first, last, value in equal_stretches(steps, at_step)
        if value[0] > 0
    )


def _without_work(crew: Crew, starts_at: datetime, steps: int) -> dict[int, str]:
    """The steps marked as without work, with the label of the first mark that covers each."""
    return {
        step: mark.label
        for mark in reversed(crew.no_work)
        for step in range(max(0, step_floor(starts_at, mark.from_at)), min(steps, step_ceil(starts_at, mark.to_at)))
    }


def quiet_stretches(plant: Plant, starts_at: datetime, steps: int, clock: ShipOffset) -> tuple[QuietStretch, ...]:
    """The stretches in which pumps may be stopped for a short test; of blocks that match the last counts."""

    walls = wall_hours(starts_at, steps, clock)

    def at_step(step: int) -> tuple[int, str]:
        found = []
        for wall in walls[step]:
            block = next((b for b in reversed(plant.quiet_hours) if matches(b, wall)), None)
            found.append((block.most_stop_minutes, block.consent) if block else (0, ""))
        return min(found)

    return tuple(
        QuietStretch(from_step=first, to_step=last, most_minutes=value[0], consent=value[1])
        for first, last, value in equal_stretches(steps, at_step)
        if value[0] > 0
    )


def start_steps(crew: Crew, starts_at: datetime, steps: int, clock: ShipOffset) -> tuple[int, ...]:
    """The steps at which a job may start: the first whole one of each of the ship's start hours, every date."""
    walls = wall_hours(starts_at, steps, clock)
    return tuple(step for step in range(steps) if walls[step][0].hour in crew.start_hours)


def first_midnight(starts_at: datetime, clock: ShipOffset) -> int:
    """The first step, 0 to 23, that lies wholly in the ship's next day (the grid's own when it begins at midnight)."""
    today = _wall(clock, starts_at)
    midnight = today.replace(hour=0, minute=0, second=0, microsecond=0)
    return 0 if midnight == today else -((today - midnight - timedelta(days=1)) // HOUR) % 24


def day_starts(starts_at: datetime, steps: int, clock: ShipOffset) -> tuple[int, ...]:
    """The steps at which the ship's days begin, where her clock changes on the way; none where every day has 24 steps.

    A step that lies in two days belongs to the one it begins in.
    """
    until = starts_at + steps * HOUR
    if not any(starts_at < at < until for at, _ in clock.changes):
        return ()
    days = [_wall(clock, starts_at + step * HOUR).date() for step in range(steps)]
    seen: set[object] = set()
    found = []
    for step, day in enumerate(days):
        if day not in seen:
            seen.add(day)
            found.append(step)
    return tuple(found[1:])


def equal_stretches(steps: int, value_at: Callable[[int], _V]) -> list[tuple[int, int, _V]]:
    """(first, last excluded, value) of the stretches in which the value of a step stays the same."""
    runs = []
    for value, group in groupby(range(steps), key=value_at):
        members = list(group)
        runs.append((members[0], members[-1] + 1, value))
    return runs
