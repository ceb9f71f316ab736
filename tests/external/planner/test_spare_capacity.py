"""Spare-capacity arithmetic through the planner and its judge.

Source: derived arithmetic of n-1 and n-k adequacy (available minus what is out, against the requirement); no document.
"""

from dataclasses import replace
from itertools import combinations

import pytest

from scheduler.planning.judge.check import Rule, judge
from scheduler.planning.problem.values import MinimumStretch, Plan, PlanJob, Problem, PumpCapacity, Slot
from scheduler.planning.search.stagger import stagger
from tests.unit.planning.cases import STARTS_AT, crew_by_day, starts_by_day

ROWS = [
    ([60, 60, 60], 100, 1),
    ([60, 60, 40], 100, 1),
    ([60, 52, 40], 100, 0),
    ([40] * 8, 200, 3),
    ([60, 60], 60, 1),
    ([60, 60], 61, 0),
]
"""(capacities, requirement, how many may be out whichever they are): derived figures."""


def _problem(capacities: list[int], need: int) -> Problem:
    names = [f"P{n}" for n in range(len(capacities))]
    jobs = tuple(
        PlanJob(key=f"job:{name}:1", pump=name, work_steps=3, hands=1, earliest=0, ideal=8, due=12, limit=20)
        for name in names
    )
    return Problem(
        starts_at=STARTS_AT,
        steps=24,
        pumps=tuple(PumpCapacity(pump=n, litres_per_h=c * 1000) for n, c in zip(names, capacities, strict=True)),
        minimum=(MinimumStretch(from_step=0, to_step=24, litres_per_h=need * 1000),),
        crew=crew_by_day(1, hands=8),
        start_steps=starts_by_day(1, hours=(8,)),
        jobs=jobs,
    )


@pytest.mark.parametrize(("capacities", "need", "out"), ROWS)
def test_so_many_may_be_out_whichever_they_are_and_not_one_more(capacities: list[int], need: int, out: int) -> None:
    """The judge allows every set of `out` pumps to be open at once and faults at least one set of one more."""

    def faulted(opened: tuple[int, ...]) -> bool:
        problem = _problem(capacities, need)
        margin = (sum(capacities) - sum(capacities[n] for n in opened) - need) * 1000
        slots = [
            Slot(key=f"job:P{n}:1", pump=f"P{n}", start=8, end=11, least_margin_litres_per_h=margin) for n in opened
        ]
        kept = replace(problem, jobs=tuple(job for job in problem.jobs if job.key in {s.key for s in slots}))
        found = {fault.rule for fault in judge(kept, Plan(problem_digest="", slots=tuple(slots), shortfalls=())).faults}
        assert found <= {Rule.MINIMUM}
        return bool(found)

    assert not any(faulted(opened) for opened in combinations(range(len(capacities)), out))
    assert any(faulted(opened) for opened in combinations(range(len(capacities)), out + 1))


@pytest.mark.parametrize(("capacities", "need", "out"), ROWS)
def test_as_many_pumps_may_be_open_at_once_as_the_arithmetic_says(capacities: list[int], need: int, out: int) -> None:
    """With one start hour the planner opens as many pumps at once as may be out, and one more is faulted."""
    problem = _problem(capacities, need)
    plan = stagger(problem)
    assert judge(problem, plan).lawful
    smallest_first = sorted(zip(capacities, problem.pumps, strict=True), key=lambda pair: pair[0])
    most = 0
    while most < len(capacities) and sum(capacities) - sum(c for c, _ in smallest_first[: most + 1]) >= need:
        most += 1
    assert most >= out
    assert len(plan.slots) == most
    margin = (sum(capacities) - sum(c for c, _ in smallest_first[: most + 1]) - need) * 1000
    slots = tuple(
        Slot(key=f"job:{pump.pump}:1", pump=pump.pump, start=8, end=11, least_margin_litres_per_h=margin)
        for _, pump in smallest_first[: most + 1]
    )
    if len(slots) == most + 1:
        kept = replace(problem, jobs=tuple(job for job in problem.jobs if job.key in {s.key for s in slots}))
        verdict = judge(kept, Plan(problem_digest="", slots=slots, shortfalls=()))
        assert Rule.MINIMUM in {fault.rule for fault in verdict.faults}
