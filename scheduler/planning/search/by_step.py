"""What holds step by step before any slot is placed: spare pumps, cover, quiet and crew hours, minimum and capacity."""

from collections.abc import Iterable, Mapping
from functools import reduce
from itertools import accumulate

from scheduler.planning.problem.values import Problem


def spare_by_step(problem: Problem, capacity: Mapping[str, tuple[int, ...]], steps: int) -> tuple[int, ...]:
    """Pumps that give something, less those that must be there, by step; one more than there are pumps where none must."""
    must = [0] * steps
    for stretch in problem.minimum:
        for t in range(max(0, stretch.from_step), min(steps, stretch.to_step)) if stretch.pumps else ():
            must[t] = max(must[t], stretch.pumps)
    if not any(must):
        return (len(capacity) + 1,) * steps
    there = [sum(row[t] > 0 for row in capacity.values()) for t in range(steps)]
    return tuple(n - asked if asked else len(capacity) + 1 for n, asked in zip(there, must, strict=True))


def out_by_step(
    capacity: Mapping[str, tuple[int, ...]], slack: tuple[int, ...], spare: tuple[int, ...]
) -> tuple[dict[str, tuple[int, ...]], dict[str, tuple[int, ...]]]:
    """By pump the steps, counted up, in which it may not be out at all, and those in which with it the largest other could not be
    lost as well."""
    import numpy as np  # here: whoever only frames a problem must not pay for it

    rows, left, number = {pump: np.array(row) for pump, row in capacity.items()}, np.array(slack), np.array(spare)
    barred, uncovered = {}, {}
    for pump, own in rows.items():
        most = reduce(np.maximum, [row for name, row in rows.items() if name != pump], np.zeros_like(own))
        marks = (own > 0) & ((own > left) | (number < 1)), (own > 0) & ((left < own + most) | (number < 2))
        barred[pump], uncovered[pump] = ((0, *np.cumsum(mark).tolist()) for mark in marks)
    return barred, uncovered


def whole_m3(litres: int) -> int:
    """Litres as whole cubic metres, to the nearest."""
    return (litres + 500) // 1000


def lack_by_step(capacity: Mapping[str, tuple[int, ...]], slack: tuple[int, ...]) -> dict[str, tuple[int, ...]]:
    """By pump, counted up: what being out, it alone, adds to the square of what the hour's margin lacks of the largest there is
    with nothing planned, in whole m3/h.
    """
    import numpy as np  # here: whoever only frames a problem must not pay for it

    lacks = -((np.array(slack) - max(slack, default=0)) // 1000)
    found = {}
    for pump, row in capacity.items():
        out = (np.array(row) + 500) // 1000
        found[pump] = (0, *np.cumsum(out * (2 * lacks + out)).tolist())
    return found


def turns_of(*rows: tuple[int, ...]) -> tuple[int, ...]:
    """The steps at which one of the rows differs from just before."""
    import numpy as np

    arrays = [np.array(row) for row in rows]
    found = [np.flatnonzero(row[1:] != row[:-1]) + 1 for row in arrays]
    return tuple(np.unique(np.concatenate(found)).tolist())


def lacking_by_step(problem: Problem, need: str, steps: int) -> tuple[int, ...]:
    there = [False] * steps
    for occasion in problem.occasions:
        if occasion.need == need:
            for t in range(max(0, occasion.from_step), min(steps, occasion.to_step)):
                there[t] = True
    return counted_up(not t for t in there)


def quiet_by_step(problem: Problem, steps: int) -> tuple[int, ...]:
    """Minutes for which pumps may be stopped, by step: where stretches overlap the fewest, without consent none."""
    minutes: list[int | None] = [None] * steps
    for stretch in problem.quiet:
        allowed = stretch.most_minutes if stretch.consent.strip() else 0
        for t in range(max(0, stretch.from_step), min(steps, stretch.to_step)):
            known = minutes[t]
            minutes[t] = allowed if known is None else min(known, allowed)
    return tuple(m or 0 for m in minutes)


def crew_by_step(problem: Problem, steps: int) -> tuple[int, ...]:
    hands: list[int | None] = [None] * steps
    for stretch in problem.crew:
        for t in range(max(0, stretch.from_step), min(steps, stretch.to_step)):
            known = hands[t]
            hands[t] = stretch.hands if known is None else min(known, stretch.hands)
    return tuple(h or 0 for h in hands)


def minimum_by_step(problem: Problem, steps: int) -> tuple[tuple[int, ...], tuple[str, ...]]:
    need: list[int | None] = [None] * steps
    label = [""] * steps
    for stretch in sorted(problem.minimum, key=lambda m: (m.from_step, m.to_step, m.litres_per_h, m.label)):
        for t in range(max(0, stretch.from_step), min(steps, stretch.to_step)):
            known = need[t]
            if known is None or stretch.litres_per_h > known:
                need[t], label[t] = stretch.litres_per_h, stretch.label
    return tuple(n or 0 for n in need), tuple(label)


def capacity_by_step(litres_per_h: int, derated: list[tuple[int, int, int]], steps: int) -> tuple[int, ...]:
    row = [litres_per_h] * steps
    for start, end, counts in derated:
        for t in range(max(0, start), min(steps, end)):
            row[t] = min(row[t], counts)
    return tuple(row)


def counted_up(marks: Iterable[bool]) -> tuple[int, ...]:
    return tuple(accumulate(marks, initial=0))
