"""For each rule of the judge one violation made by hand, and the judge names that rule and no other."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from scheduler.planning.check import Rule, judge, margin_series
from scheduler.planning.problem import (
    MinimumStretch,
    NotTogether,
    Occasion,
    Plan,
    PlanJob,
    Problem,
    PumpCapacity,
    QuietStretch,
    Slot,
)
from scheduler.planning.stagger import greedy_plan, stagger
from tests.unit.planning.cases import STARTS_AT, crew_by_day, starts_by_day

DAYS = 6


def _job(key: str, pump: str | None, day: int, **changed: object) -> PlanJob:
    job = PlanJob(
        key=key, pump=pump, work_steps=3, hands=1, earliest=0, ideal=24 * day + 8, due=24 * DAYS, limit=24 * DAYS
    )
    return replace(job, **changed)  # type: ignore[arg-type]


def _ship() -> Problem:
    """Five pumps, two hands from 7 to 23, 8 h a person, one job for each thing that can bind, each alone on its day."""
    return Problem(
        starts_at=STARTS_AT,
        steps=24 * DAYS,
        pumps=tuple(PumpCapacity(pump=f"P{n}", litres_per_h=60) for n in range(1, 6)),
        minimum=(
            MinimumStretch(from_step=0, to_step=24 * 5, litres_per_h=170),
            MinimumStretch(from_step=24 * 5, to_step=24 * DAYS, litres_per_h=200, label="full ship"),
        ),
        crew=crew_by_day(DAYS, hands=2, first=7, last=23),
        start_steps=starts_by_day(DAYS, (8, 13, 16)),
        jobs=(
            _job("knife:P1:1", "P1", 0, setup_steps=1),
            _job("seal:P1:1", "P1", 0, setup_steps=1),
            _job("knife:P2:1", "P2", 1, earliest=24),
            _job("knife:P2:2", "P2", 2, after="knife:P2:1"),
            _job("knife:P3:1", "P3", 3, parts_from=60, hands=2),
            _job("knife:P4:1", "P4", 4, needs=("port",), work_steps=8),
            _job("pulldown:P5:1", None, 4, work_steps=1, stop_minutes=20, tested="P5"),
            _job("hold:plant:1", None, 5, work_steps=1, hands=0, stop_minutes=20),
            _job("knife:P5:1", "P5", 5, fixed_start=24 * 5 + 13),
            _job("round:plant:1", None, 2, work_steps=8),
        ),
        person_hours=8,
        occasions=(Occasion(need="port", from_step=24 * 4, to_step=24 * 6),),
        quiet=(QuietStretch(from_step=24 * 4, to_step=24 * 6, most_minutes=20, consent="hotel, 1 Dec"),),
        not_together=(NotTogether(pumps=("P2", "P4"), most_out=1),),
    )


PLACES: dict[str, tuple[int, int, str | None]] = {
    "knife:P1:1": (8, 11, None),
    "seal:P1:1": (11, 13, "knife:P1:1"),
    "knife:P2:1": (32, 35, None),
    "knife:P2:2": (56, 59, None),
    "knife:P3:1": (80, 83, None),
    "knife:P4:1": (104, 112, None),
    "pulldown:P5:1": (104, 105, None),
    "hold:plant:1": (128, 129, None),
    "knife:P5:1": (133, 136, None),
    "round:plant:1": (61, 69, None),
}


def _with_margins(problem: Problem, plan: Plan) -> Plan:
    """The plan with each slot's margin as it is, so that only what was spoiled is wrong."""
    runs = margin_series(problem, plan)

    def least(slot: Slot) -> int:
        inside = [r.available - r.minimum for r in runs if r.from_step < slot.end and slot.start < r.to_step]
        return min(inside, default=slot.least_margin_litres_per_h)

    return replace(plan, slots=tuple(replace(s, least_margin_litres_per_h=least(s)) for s in plan.slots))


def _plan(problem: Problem, places: dict[str, tuple[int, int, str | None]]) -> Plan:
    pumps = {job.key: job.pump for job in problem.jobs}
    slots = tuple(
        Slot(key=key, pump=pumps.get(key), start=a, end=b, isolation_of=on, least_margin_litres_per_h=0)
        for key, (a, b, on) in places.items()
    )
    return _with_margins(problem, Plan(problem_digest="", slots=slots, shortfalls=()))


def _at(key: str, start: int, end: int, on: str | None = None) -> Callable[[Problem], Plan]:
    return lambda problem: _plan(problem, {**PLACES, key: (start, end, on)})


def _other_pump(problem: Problem) -> Plan:
    plan = _plan(problem, PLACES)
    slots = tuple(replace(s, pump="P1") if s.key == "knife:P2:1" else s for s in plan.slots)
    return _with_margins(problem, replace(plan, slots=slots))


def _boast(problem: Problem) -> Plan:
    plan = _plan(problem, PLACES)
    return replace(plan, slots=(replace(plan.slots[0], least_margin_litres_per_h=999), *plan.slots[1:]))


VIOLATIONS: dict[Rule, Callable[[Problem], Plan]] = {
    Rule.UNKNOWN_JOB: lambda p: _plan(p, {**PLACES, "knife:P9:1": (32, 35, None)}),
    Rule.ONE_ANSWER: lambda p: _plan(p, {k: v for k, v in PLACES.items() if k != "round:plant:1"}),
    Rule.RIGHT_PUMP: _other_pump,
    Rule.RIGHT_END: _at("knife:P2:1", 32, 34),
    Rule.RIGHT_MARGIN: _boast,
    Rule.ON_THE_GRID: _at("round:plant:1", 24 * DAYS + 8, 24 * DAYS + 16),
    Rule.PINNED: _at("knife:P5:1", 136, 139),
    Rule.ALLOWED_START: _at("knife:P2:1", 33, 36),
    Rule.NOT_EARLY: _at("knife:P2:1", 16, 19),
    Rule.IN_ORDER: lambda p: _plan(p, {**PLACES, "knife:P2:1": (88, 91, None)}),
    Rule.ONE_JOB_A_PUMP: _at("seal:P1:1", 8, 11),
    Rule.HANDS: _at("round:plant:1", 80, 88),
    Rule.PERSON_HOURS: _at("round:plant:1", 109, 117),
    Rule.ISOLATION: _at("seal:P1:1", 13, 15, "knife:P1:1"),
    Rule.FACTS: _at("knife:P4:1", 37, 45),
    Rule.ONE_TEST: _at("hold:plant:1", 104, 105),
    Rule.NOT_TOGETHER: _at("knife:P2:2", 109, 112),
    Rule.MINIMUM: _at("knife:P2:2", 133, 136),
}


@pytest.mark.parametrize("rule", list(Rule), ids=[rule.name for rule in Rule])
def test_each_rule_has_its_violation_and_no_other_is_named(rule: Rule) -> None:
    """The plan without it is lawful; with it exactly that rule is broken, in a sentence that names a job or a pump."""
    problem = _ship()
    assert judge(problem, _plan(problem, PLACES)).faults == ()
    found = judge(problem, VIOLATIONS[rule](problem)).faults
    assert {fault.rule for fault in found} == {rule}
    assert all(":" in fault.says or "P" in fault.says or "man-hours" in fault.says for fault in found)


@pytest.mark.parametrize("make", [stagger, greedy_plan])
def test_the_planner_keeps_every_rule_of_that_ship(make: Callable[[Problem], Plan]) -> None:
    """Its own plans of the same ship have every job in a slot and no fault."""
    problem = _ship()
    plan = make(problem)
    assert judge(problem, plan).faults == ()
    assert len(plan.slots) == len(problem.jobs)
