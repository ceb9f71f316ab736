"""The ship's hours on the grid, found date by date, against asking every step for itself."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from itertools import groupby
from random import Random
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.capacity.minimum import Concession, Swept, hands_at, litres_up, matches, minimum_at, pumps_needed
from scheduler.domain.vessel.crew import Crew, CrewBlock, MinimumBlock, NoWork, QuietHours
from scheduler.domain.vessel.document import Plant
from scheduler.planning.problem.shiphours import (
    closed_stretches,
    crew_stretches,
    day_starts,
    first_midnight,
    minimum_stretches,
    quiet_stretches,
    start_steps,
    wall_hours,
)
from scheduler.shiptime import ShipOffset, ship_time
from tests.unit.planning.test_frame import plant

HOUR = timedelta(hours=1)
STARTS_AT = datetime(2026, 12, 30, 11, tzinfo=UTC)


def _instant(random: Random, days: int) -> datetime:
    return STARTS_AT + timedelta(minutes=random.choice([15, 30, 60]) * random.randint(-60, 24 * days))


def _block(random: Random) -> dict[str, Any]:
    on = [date(2026, 12, 30) + timedelta(days=random.randint(-1, 5)) for _ in range(2)]
    dates = {"from_on": random.choice([None, min(on)]), "to_on": random.choice([None, max(on)])}
    hours = {"from_hour": random.randint(0, 24), "to_hour": random.randint(0, 24)}
    return {**dates, **random.choice([{}, hours, hours])}


def _plant(random: Random, days: int) -> Plant:
    label = iter("abcdefghijklmnopqrstuvwxyz")
    marks = [sorted((_instant(random, days), _instant(random, days))) for _ in range(random.randint(0, 2))]
    return plant(
        minimum_swept_m3_per_h=50.0,
        minimum_pumps=random.choice([0, 1]),
        minimum_blocks=tuple(
            MinimumBlock(
                minimum_swept_m3_per_h=random.choice([0.0, 40.0, 90.0]),
                label=next(label),
                minimum_pumps=random.choice([0, 2]),
                **_block(random),
            )
            for _ in range(random.randint(0, 3))
        ),
        quiet_hours=tuple(
            QuietHours(most_stop_minutes=random.choice([0, 5, 20]), consent=random.choice(["", "hotel"]), **_block(random))
            for _ in range(random.randint(0, 3))
        ),
        crew=Crew(
            work_from_hour=random.choice([8, 20]),
            work_to_hour=random.choice([6, 17]),
            start_hours=tuple(random.sample(range(24), 3)),
            no_work=tuple(NoWork(from_at=a, to_at=b, label=next(label)) for a, b in marks),
            blocks=tuple(
                CrewBlock(hands=random.choice([0, 0, 1, 3]), label=next(label), **_block(random))
                for _ in range(random.randint(0, 4))
            ),
        ),
    )  # fmt: skip


def _walls(step: int, clock: ShipOffset) -> list[datetime]:
    """The ship's hours that a step touches: as its clock stands when it begins, and as it stands from each change on."""
    begins = STARTS_AT + step * HOUR
    found = []
    for at in (begins, *(at for at, _ in clock.changes if begins < at < begins + HOUR)):
        wall = ship_time(at, clock).replace(tzinfo=None)
        hour = wall.replace(minute=0)
        while hour < wall + (begins + HOUR - at):
            found.append(hour)
            hour += HOUR
    return list(dict.fromkeys(found))


def _stretches(steps: int, value_at: Callable[[int], Any]) -> list[tuple[int, int, Any]]:
    runs = [(value, list(group)) for value, group in groupby(range(steps), key=value_at)]
    return [(own[0], own[-1] + 1, value) for value, own in runs]


@given(st.integers(0, 2**32).map(Random))
def test_the_hours_of_every_step_are_those_of_the_ships_clock(random: Random) -> None:
    """Half and quarter hours ahead of UTC, clock changes at any minute, blocks by date and over midnight: minimum, hands, what
    closes, quiet hours, starts and days are the same as when every step is asked for itself."""
    days = random.randint(0, 6)
    steps, here = 24 * days, _plant(random, days)
    changes = sorted(
        (_instant(random, days), random.choice([-210, -60, 0, 45, 345])) for _ in range(random.randint(0, 3))
    )
    clock = ShipOffset(random.choice([0, 60, 345, -210, -570]), changes)
    agreed = [
        Concession(from_at=a, to_at=b, minimum=Swept(30.0), chief="c", hotel=random.choice(["", "h"]))
        for a, b in [sorted((_instant(random, days), _instant(random, days)))]
    ]
    walls = [_walls(step, clock) for step in range(steps)]
    said = [[datetime.combine(date.fromordinal(hour // 24), datetime.min.time()) + hour % 24 * HOUR for hour in hours]
            for hours in wall_hours(STARTS_AT, steps, clock)]  # fmt: skip
    assert said == walls

    def minimum(step: int) -> tuple[int, str, int]:
        found = [minimum_at(here, wall) for wall in walls[step]]
        need, label = max(((litres_up(swept), label) for swept, label in found), key=lambda pair: pair[0])
        pumps = max(pumps_needed(here, wall) for wall in walls[step])
        begins, ends = STARTS_AT + step * HOUR, STARTS_AT + (step + 1) * HOUR
        lower = min(
            [litres_up(c.minimum) for c in agreed if c.signed and c.from_at <= begins and ends <= c.to_at] or [need]
        )
        return (lower, f"{label}, lower as agreed", pumps) if lower < need else (need, label, pumps)

    def marked(step: int) -> str | None:
        begins, ends = STARTS_AT + step * HOUR, STARTS_AT + (step + 1) * HOUR
        found = (m.label for m in here.crew.no_work if m.from_at < ends and begins < m.to_at)
        return next(found, None)

    def hands(step: int) -> int:
        return 0 if marked(step) is not None else min(hands_at(here.crew, wall) for wall in walls[step])

    def closed(step: int) -> tuple[int, str]:
        there = min(hands_at(here.crew, wall) for wall in walls[step])
        if (mark := marked(step)) is not None:
            return there, mark
        holidays = [b for b in here.crew.blocks if b.hands == 0 and any(matches(b, wall) for wall in walls[step])]
        if there > 0 or not holidays:
            return 0, ""
        without = Crew(
            work_from_hour=here.crew.work_from_hour,
            work_to_hour=here.crew.work_to_hour,
            blocks=tuple(b for b in here.crew.blocks if b.hands > 0),
        )
        return min(hands_at(without, wall) for wall in walls[step]), holidays[-1].label

    def quiet(step: int) -> tuple[int, str]:
        blocks = [next((b for b in reversed(here.quiet_hours) if matches(b, wall)), None) for wall in walls[step]]
        return min((0, "") if b is None else (b.most_stop_minutes, b.consent) for b in blocks)

    assert [(m.from_step, m.to_step, (m.litres_per_h, m.label, m.pumps))
            for m in minimum_stretches(here, STARTS_AT, steps, clock, agreed)] == _stretches(steps, minimum)  # fmt: skip
    assert [(c.from_step, c.to_step, c.hands) for c in crew_stretches(here.crew, STARTS_AT, steps, clock)] == [
        one for one in _stretches(steps, hands) if one[2] > 0
    ]
    assert [
        (c.from_step, c.to_step, (c.hands, c.label)) for c in closed_stretches(here.crew, STARTS_AT, steps, clock)
    ] == [one for one in _stretches(steps, closed) if one[2][0] > 0]
    assert [
        (q.from_step, q.to_step, (q.most_minutes, q.consent)) for q in quiet_stretches(here, STARTS_AT, steps, clock)
    ] == [one for one in _stretches(steps, quiet) if one[2][0] > 0]
    assert start_steps(here.crew, STARTS_AT, steps, clock) == tuple(
        step for step in range(steps) if walls[step][0].hour in here.crew.start_hours
    )
    dates = [walls[step][0].date() for step in range(steps)]
    if day_starts(STARTS_AT, steps, clock):
        assert day_starts(STARTS_AT, steps, clock) == tuple(
            step for step in range(1, steps) if dates[step] not in dates[:step]
        )
    elif steps and ship_time(STARTS_AT, clock).minute == 0:
        at_midnight = [step for step in range(24) if walls[step][0].hour == 0]
        assert [first_midnight(STARTS_AT, clock)] == at_midnight
