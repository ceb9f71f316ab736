"""Ship's hours on a grid of whole UTC hours.

Where the offset is not whole hours a step lies in two of the ship's hours. What restricts is widened to every step it
touches (the higher minimum, hours without work); what permits counts only where it holds for the whole step (hours at
work, quiet hours) or from the first whole step on (start hours), so that no date promises hours that are not there.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from functools import lru_cache, wraps
from itertools import groupby, pairwise
from operator import itemgetter
from typing import NamedTuple, ParamSpec, TypeVar

from scheduler.domain.capacity.minimum import (
    Concession,
    hands_at,
    holds_on,
    litres_up,
    matches,
    minimum_at,
    pumps_needed,
)
from scheduler.domain.vessel.crew import Crew, CrewBlock, MinimumBlock, QuietHours
from scheduler.domain.vessel.document import Plant
from scheduler.planning.problem.values import ClosedStretch, CrewStretch, MinimumStretch, QuietStretch
from scheduler.shiptime import ShipOffset, ship_time

_V = TypeVar("_V")
_P = ParamSpec("_P")
_Block = MinimumBlock | CrewBlock | QuietHours

HOUR = timedelta(hours=1)


def step_floor(starts_at: datetime, at: datetime) -> int:
    """The step in which `at` lies."""
    return (at - starts_at) // HOUR


def step_ceil(starts_at: datetime, at: datetime) -> int:
    """The first step that begins at or after `at`."""
    return -((starts_at - at) // HOUR)


def wall_hours(starts_at: datetime, steps: int, clock: ShipOffset) -> tuple[tuple[int, ...], ...]:
    """By step the ship's wall-clock hours in which it lies, the one it begins in first: each its date's ordinal x 24 + the hour.

    One or two of them, at most four where the clock changes within the step.
    """
    return _wall_hours(starts_at, steps, clock.first, clock.changes)


@lru_cache(maxsize=4)  # a frame asks for its own several times; two clocks of one offset are equal as numbers
def _wall_hours(
    starts_at: datetime, steps: int, first: int, changes: tuple[tuple[datetime, int], ...]
) -> tuple[tuple[int, ...], ...]:
    clock, until = ShipOffset(first, changes), starts_at + steps * HOUR
    breaks = {(at - starts_at) // HOUR for at, _ in changes if starts_at < at < until}
    found: list[tuple[int, ...]] = []
    for begins, ends in pairwise(sorted({0, *breaks, *(step + 1 for step in breaks), steps})):
        if begins in breaks:
            found.append(_broken_hour(starts_at + begins * HOUR, clock))
            continue
        at = starts_at + begins * HOUR
        hours = range(_hour_at(clock, at), _hour_at(clock, at) + ends - begins)
        if _wall(clock, at) % HOUR:
            found += zip(hours, range(hours.start + 1, hours.stop + 1), strict=True)
        else:
            found += zip(hours, strict=True)
    return tuple(found)


def _broken_hour(begins: datetime, clock: ShipOffset) -> tuple[int, ...]:
    """The wall-clock hours of a step in which the clock changes: those as if it did not, then those from each change on."""
    ends = begins + HOUR
    hours: list[int] = []
    for at in (begins, *(at for at, _ in clock.changes if begins < at < ends)):
        hours += range(_hour_at(clock, at), -(-(_wall(clock, at) + (ends - at)) // HOUR))
    return tuple(dict.fromkeys(hours))


def _wall(clock: ShipOffset, at: datetime) -> timedelta:
    """What the ship's clock shows: its date's ordinal in days, and the time of day."""
    wall = ship_time(at, clock)
    return timedelta(wall.toordinal(), wall.second, wall.microsecond, 0, wall.minute, wall.hour)


def _hour_at(clock: ShipOffset, at: datetime) -> int:
    return _wall(clock, at) // HOUR


def _by_wall_hour(blocks: Sequence[_Block], value_at: Callable[[datetime], _V]) -> Callable[[int], _V]:
    """What holds in a wall-clock hour, asked of `value_at` once for the 24 hours of each set of blocks that hold on a date."""
    by_date: dict[int, list[_V]] = {}
    by_blocks: dict[tuple[int, ...], list[_V]] = {}

    def at(wall: int) -> _V:
        ordinal, hour = divmod(wall, 24)
        hours = by_date.get(ordinal)
        if hours is None:
            on = date.fromordinal(ordinal)
            there = tuple(number for number, block in enumerate(blocks) if holds_on(block, on))
            hours = by_blocks.get(there)
            if hours is None:
                midnight = datetime.combine(on, time())
                hours = by_blocks[there] = [value_at(midnight + n * HOUR) for n in range(24)]
            by_date[ordinal] = hours
        return hours[hour]

    return at


def _remembered(make: Callable[_P, _V]) -> Callable[_P, _V]:
    """`make`, whose answers are remembered: pages and plans ask for the same ship's grid over and over for an hour."""

    @lru_cache(maxsize=64)
    def of_key(key: tuple[object, ...]) -> _V:
        given = [
            ShipOffset(one.minutes, one.changes, first=one.first) if isinstance(one, _ClockKey) else one for one in key
        ]
        return make(*given)  # type: ignore[call-arg, arg-type]  # as they came

    @wraps(make)
    def asked(*given: _P.args, **_: _P.kwargs) -> _V:
        return of_key(tuple(_key(one) for one in given))

    return asked


class _ClockKey(NamedTuple):
    """A ship's clock as a key: equal only where all its changes are, unlike the number that it is."""

    minutes: int
    first: int
    changes: tuple[tuple[datetime, int], ...]


def _key(given: object) -> object:
    if isinstance(given, ShipOffset):
        return _ClockKey(int(given), given.first, given.changes)
    return tuple(given) if isinstance(given, list) else given


@_remembered
def minimum_stretches(
    plant: Plant, starts_at: datetime, steps: int, clock: ShipOffset, concessions: Sequence[Concession] = ()
) -> tuple[MinimumStretch, ...]:
    """The plant's minimum over the grid, equal neighbours merged; lower in whole steps where a signed concession says so."""
    agreed = [
        (step_ceil(starts_at, c.from_at), step_floor(starts_at, c.to_at), litres_up(c.minimum))
        for c in concessions
        if c.signed
    ]

    def at_hour(wall: datetime) -> tuple[int, str, int]:
        swept, label = minimum_at(plant, wall)
        return litres_up(swept), label, pumps_needed(plant, wall)

    walls, asked = wall_hours(starts_at, steps, clock), _by_wall_hour(plant.minimum_blocks, at_hour)

    def at_step(step: int) -> tuple[int, str, int]:
        found = [asked(wall) for wall in walls[step]]
        need, label, pumps = found[0]
        if len(found) > 1:
            need, label, _ = max(found, key=itemgetter(0))
            pumps = max(pumps for _, _, pumps in found)
        if not agreed:
            return need, label, pumps
        lower = min((litres for first, last, litres in agreed if first <= step < last), default=need)
        return (lower, f"{label}, lower as agreed", pumps) if lower < need else (need, label, pumps)

    return tuple(
        MinimumStretch(from_step=first, to_step=last, litres_per_h=value[0], label=value[1], pumps=value[2])
        for first, last, value in equal_stretches(steps, at_step)
    )


@_remembered
def crew_stretches(crew: Crew, starts_at: datetime, steps: int, clock: ShipOffset) -> tuple[CrewStretch, ...]:
    """The stretches with hands at work: by the ship's hours, dates and blocks, less what is marked as without work."""
    walls, closed = wall_hours(starts_at, steps, clock), _without_work(crew, starts_at, steps)
    hands = _by_wall_hour(crew.blocks, lambda wall: hands_at(crew, wall))

    def at_step(step: int) -> int:
        return 0 if step in closed else min(map(hands, walls[step]))

    return tuple(
        CrewStretch(from_step=first, to_step=last, hands=hands)
        for first, last, hands in equal_stretches(steps, at_step)
        if hands > 0
    )


@_remembered
def closed_stretches(crew: Crew, starts_at: datetime, steps: int, clock: ShipOffset) -> tuple[ClosedStretch, ...]:
    """The stretches without work in which hands would be there otherwise, and the label of what closes them.

    What closes: a stretch marked as without work, or a block with no hands (a holiday) within the working hours.
    """
    walls, marked = wall_hours(starts_at, steps, clock), _without_work(crew, starts_at, steps)
    holidays = [block for block in crew.blocks if block.hands == 0]
    open_always = replace(crew, blocks=tuple(block for block in crew.blocks if block.hands > 0))

    def at_hour(wall: datetime) -> tuple[int, int, int]:
        last = max((number for number, block in enumerate(holidays) if matches(block, wall)), default=-1)
        return hands_at(crew, wall), last, hands_at(open_always, wall)

    asked = _by_wall_hour(crew.blocks, at_hour)

    def at_step(step: int) -> tuple[int, str]:
        found = [asked(wall) for wall in walls[step]]
        hands = min(hands for hands, _, _ in found)
        if step in marked:
            return hands, marked[step]
        holiday = max(last for _, last, _ in found)
        if hands > 0 or holiday < 0:
            return 0, ""
        return min(without for _, _, without in found), holidays[holiday].label

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


@_remembered
def quiet_stretches(plant: Plant, starts_at: datetime, steps: int, clock: ShipOffset) -> tuple[QuietStretch, ...]:
    """The stretches in which pumps may be stopped for a short test; of blocks that match the last counts."""

    def at_hour(wall: datetime) -> tuple[int, str]:
        block = next((b for b in reversed(plant.quiet_hours) if matches(b, wall)), None)
        return (block.most_stop_minutes, block.consent) if block else (0, "")

    walls, asked = wall_hours(starts_at, steps, clock), _by_wall_hour(plant.quiet_hours, at_hour)

    def at_step(step: int) -> tuple[int, str]:
        return min(map(asked, walls[step]))

    return tuple(
        QuietStretch(from_step=first, to_step=last, most_minutes=value[0], consent=value[1])
        for first, last, value in equal_stretches(steps, at_step)
        if value[0] > 0
    )


@_remembered
def start_steps(crew: Crew, starts_at: datetime, steps: int, clock: ShipOffset) -> tuple[int, ...]:
    """The steps at which a job may start: the first whole one of each of the ship's start hours, every date."""
    walls = wall_hours(starts_at, steps, clock)
    return tuple(step for step in range(steps) if walls[step][0] % 24 in crew.start_hours)


def first_midnight(starts_at: datetime, clock: ShipOffset) -> int:
    """The first step, 0 to 23, that lies wholly in the ship's next day (the grid's own when it begins at midnight)."""
    past_midnight = _wall(clock, starts_at) % timedelta(days=1)
    return -(past_midnight // HOUR) % 24


def day_starts(starts_at: datetime, steps: int, clock: ShipOffset) -> tuple[int, ...]:
    """The steps at which the ship's days begin, where her clock changes on the way; none where every day has 24 steps.

    A step that lies in two days belongs to the one it begins in.
    """
    until = starts_at + steps * HOUR
    if not any(starts_at < at < until for at, _ in clock.changes):
        return ()
    first: dict[int, int] = {}
    for step, hours in enumerate(wall_hours(starts_at, steps, clock)):
        first.setdefault(hours[0] // 24, step)
    return tuple(first.values())[1:]


def equal_stretches(steps: int, value_at: Callable[[int], _V]) -> list[tuple[int, int, _V]]:
    """(first, last excluded, value) of the stretches in which the value of a step stays the same."""
    runs = []
    for value, group in groupby(range(steps), key=value_at):
        members = list(group)
        runs.append((members[0], members[-1] + 1, value))
    return runs
