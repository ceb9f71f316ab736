"""Ship's hours on a grid of whole UTC hours.

Where the offset is not whole hours a step lies in two of the ship's hours. What restricts is widened to every step it
touches (the higher minimum, hours without work); what permits counts only where it holds for the whole step (hours at
work) or from the first whole step on (start hours), so that no date promises hours that are not there.
"""

from collections.abc import Callable
from datetime import datetime, timedelta
from itertools import groupby
from typing import TypeVar

from scheduler.domain.capacity import litres_up, minimum_at
from scheduler.domain.fleet import Crew, Plant
from scheduler.planning.problem import CrewStretch, MinimumStretch

_V = TypeVar("_V")

HOUR = timedelta(hours=1)


def step_floor(starts_at: datetime, at: datetime) -> int:
    """The step in which `at` lies."""
    return (at - starts_at) // HOUR


def step_ceil(starts_at: datetime, at: datetime) -> int:
    """The first step that begins at or after `at`."""
    return -((starts_at - at) // HOUR)


def wall_hours(starts_at: datetime, step: int, offset_minutes: int) -> tuple[datetime, ...]:
    """The ship's wall-clock hours (one or two, by their beginnings) in which a step lies; without a time zone."""
    first = starts_at.replace(tzinfo=None) + step * HOUR + timedelta(minutes=offset_minutes)
    hour = first.replace(minute=0, second=0, microsecond=0)
    return (hour,) if hour == first else (hour, hour + HOUR)


def minimum_stretches(plant: Plant, starts_at: datetime, steps: int, offset_minutes: int) -> tuple[MinimumStretch, ...]:
    """The plant's minimum over the grid, equal neighbours merged."""

    def at_step(step: int) -> tuple[int, str]:
        found = [minimum_at(plant, wall) for wall in wall_hours(starts_at, step, offset_minutes)]
        return max(((litres_up(swept), label) for swept, label in found), key=lambda pair: pair[0])

    return tuple(
        MinimumStretch(from_step=first, to_step=last, litres_per_h=value[0], label=value[1])
        for first, last, value in _runs(steps, at_step)
    )


def crew_stretches(crew: Crew, starts_at: datetime, steps: int, offset_minutes: int) -> tuple[CrewStretch, ...]:
    """The stretches with hands at work: the ship's working hours less what is marked as without work."""
    closed = [(step_floor(starts_at, n.from_at), step_ceil(starts_at, n.to_at)) for n in crew.no_work]

    def at_step(step: int) -> bool:
        if any(first <= step < last for first, last in closed):
            return False
        return all(_at_work(crew, wall.hour) for wall in wall_hours(starts_at, step, offset_minutes))

    return tuple(
        CrewStretch(from_step=first, to_step=last, hands=crew.hands)
        for first, last, working in _runs(steps, at_step)
        if working
    )


def start_steps(crew: Crew, starts_at: datetime, steps: int, offset_minutes: int) -> tuple[int, ...]:
    """The steps at which a job may start: the first whole one of each of the ship's start hours, every date."""
    offset = timedelta(minutes=offset_minutes)
    first_date = (starts_at + offset).replace(hour=0, minute=0, second=0, microsecond=0) - offset
    days = steps // 24 + 3
    found = {
        step_ceil(starts_at, first_date + timedelta(days=day, hours=hour))
        for day in range(-1, days)
        for hour in crew.start_hours
    }
    return tuple(sorted(step for step in found if 0 <= step < steps))


def _at_work(crew: Crew, hour: int) -> bool:
    first, last = crew.work_from_hour, crew.work_to_hour
    return first <= hour < last if first <= last else hour >= first or hour < last


def _runs(steps: int, value_at: Callable[[int], _V]) -> list[tuple[int, int, _V]]:
    runs = []
    for value, group in groupby(range(steps), key=value_at):
        members = list(group)
        runs.append((members[0], members[-1] + 1, value))
    return runs
