"""One more failure: in how many hours the plant would still be at or above its minimum if the largest pump tripped.

Read off problem and plan hour by hour, without the builder. Nothing here is a promise: it says what the plan leaves.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from scheduler.planning.judge.check_hours import capacity_by_hour, minimum_by_hour, pumps_by_hour
from scheduler.planning.problem.values import Plan, Problem

CoverSteps = tuple[int, int]
"""Steps [from, to)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cover:
    """Three numbers of hours, with the stretches behind those that want an eye.

    hours: length of the grid. at_n: hours at or above the minimum as planned. at_n_less_1: hours that stay there if the
    largest pump left were lost. uncovered_by_plan: hours that have this cover without the plan's slots and lack it with
    them. uncovered_anyway: hours that lack it whatever the dates are.
    """

    hours: int
    at_n: int
    at_n_less_1: int
    uncovered_by_plan: tuple[CoverSteps, ...]
    uncovered_anyway: tuple[CoverSteps, ...]

    @property
    def hours_uncovered_by_plan(self) -> int:
        """Hours that the plan itself uncovers."""
        return sum(last - first for first, last in self.uncovered_by_plan)

    @property
    def hours_uncovered_anyway(self) -> int:
        """Hours in which no date of any job could help."""
        return sum(last - first for first, last in self.uncovered_anyway)


def cover_of(problem: Problem, plan: Plan) -> Cover:
    """The three numbers of a plan."""
    have, need, must = capacity_by_hour(problem), minimum_by_hour(problem), pumps_by_hour(problem)
    steps = max(0, problem.steps)
    out: list[set[str]] = [set() for _ in range(steps)]
    for slot in plan.slots:
        for hour in range(max(0, slot.start), min(steps, slot.end)) if slot.pump in have else ():
            out[hour].add(str(slot.pump))
    at_n = at_n_less_1 = 0
    by_plan, anyway = [], []
    known: dict[object, tuple[bool, bool, bool]] = {}
    for hour in range(steps):
        litres = tuple(row[hour] for row in have.values())
        left = litres if not out[hour] else tuple(row[hour] for pump, row in have.items() if pump not in out[hour])
        alike = litres, left, need[hour], must[hour]
        if alike not in known:
            known[alike] = _hour_covered(*alike)
        holds, covered, coverable = known[alike]
        at_n += holds
        at_n_less_1 += covered
        if not coverable:
            anyway.append(hour)
        elif not covered:
            by_plan.append(hour)
    return Cover(
        hours=steps,
        at_n=at_n,
        at_n_less_1=at_n_less_1,
        uncovered_by_plan=_runs(by_plan),
        uncovered_anyway=_runs(anyway),
    )


def _hour_covered(whole: Sequence[int], left: Sequence[int], need: int, must: int) -> tuple[bool, bool, bool]:
    """Of an hour: whether the minimum holds with what is left, with the largest of that lost, and with the largest of all lost."""

    def less_1(litres: Sequence[int]) -> bool:
        return sum(sorted(litres)[:-1]) >= need and (not must or _there(litres) > must)

    return sum(left) >= need and _there(left) >= must, less_1(left), less_1(whole)


def slots_uncovered(problem: Problem, plan: Plan) -> frozenset[str]:
    """Keys of the slots during which the minimum would not hold if the largest pump left were lost too."""
    have, need, must = capacity_by_hour(problem), minimum_by_hour(problem), pumps_by_hour(problem)
    opened = [slot for slot in plan.slots if slot.pump in have]
    found = set()
    for slot in opened:
        for hour in range(max(0, slot.start), min(problem.steps, slot.end)):
            out = {one.pump for one in opened if one.start <= hour < one.end}
            left = sorted(row[hour] for pump, row in have.items() if pump not in out)
            if sum(left[:-1]) < need[hour] or (must[hour] and _there(left) <= must[hour]):
                found.add(slot.key)
                break
    return frozenset(found)


def _there(litres: Sequence[int]) -> int:
    return sum(one > 0 for one in litres)


def _runs(hours: list[int]) -> tuple[CoverSteps, ...]:
    runs: list[CoverSteps] = []
    for hour in hours:
        if runs and runs[-1][1] == hour:
            runs[-1] = (runs[-1][0], hour + 1)
        else:
            runs.append((hour, hour + 1))
    return tuple(runs)
