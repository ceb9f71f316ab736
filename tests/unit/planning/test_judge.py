"""The judge accepts the planner's plans and names each hand-made violation by its rule."""

import math
from collections.abc import Callable
from dataclasses import replace

import pytest

from scheduler.planning.judge.check import Rule, judge
from scheduler.planning.problem.codec import plan_from_text, plan_to_text, problem_from_text, problem_to_text
from scheduler.planning.problem.digest import problem_digest
from scheduler.planning.problem.values import (
    Derated,
    MinimumStretch,
    Plan,
    PlanJob,
    Problem,
    PumpCapacity,
    RemarkCode,
    Shortfall,
    Slot,
)
from scheduler.planning.search.highs import optimise
from scheduler.planning.search.model import Model, Solution, SolveEnd
from scheduler.planning.search.stagger import greedy_plan, stagger
from tests.unit.planning.cases import STARTS_AT, crew_by_day, ship, shortfalls_said, starts_by_day


def _two_pumps(**changed: object) -> Problem:
    jobs = (
        PlanJob(key="knife:P1:1", pump="P1", work_steps=3, hands=1, earliest=8, ideal=8, due=30, limit=40),
        PlanJob(key="seal:P1:1", pump="P1", work_steps=2, hands=2, earliest=0, ideal=13, due=40, limit=60),
        PlanJob(key="knife:P2:1", pump="P2", work_steps=3, hands=1, earliest=0, ideal=32, due=40, limit=60),
        PlanJob(
            key="knife:P2:2",
            pump="P2",
            work_steps=3,
            hands=1,
            earliest=40,
            ideal=56,
            due=60,
            limit=70,
            after="knife:P2:1",
            interval_steps=24,
        ),
    )
    problem = Problem(
        starts_at=STARTS_AT,
        steps=72,
        pumps=(PumpCapacity(pump="P1", litres_per_h=60), PumpCapacity(pump="P2", litres_per_h=60)),
        minimum=(MinimumStretch(from_step=0, to_step=72, litres_per_h=50),),
        crew=crew_by_day(3),
        start_steps=starts_by_day(3),
        jobs=jobs,
    )
    return replace(problem, **changed)  # type: ignore[arg-type]


def _with(plan: Plan, key: str, **changed: object) -> Plan:
    return replace(plan, slots=tuple(replace(s, **changed) if s.key == key else s for s in plan.slots))  # type: ignore[arg-type]


@pytest.mark.parametrize("pumps", [2, 3, 6])
def test_the_planners_own_plans_are_lawful(pumps: int) -> None:
    """A ship with half a year of jobs gets a plan without a fault, and with every job answered."""
    problem = ship(pumps)
    plan = stagger(problem)
    verdict = judge(problem, plan)
    assert verdict.faults == ()
    assert len(plan.slots) + len([s for s in plan.shortfalls if s.key]) == len(problem.jobs)
    assert verdict.least_margin_litres_per_h is not None
    assert verdict.least_margin_litres_per_h >= 0


VIOLATIONS: tuple[tuple[str, Rule, Callable[[Plan], Plan]], ...] = (
    ("a job twice", Rule.ONE_ANSWER, lambda p: replace(p, slots=(*p.slots, p.slots[0]))),
    ("a job left out", Rule.ONE_ANSWER, lambda p: replace(p, slots=p.slots[1:])),
    (
        "a slot and a shortfall for one job",
        Rule.ONE_ANSWER,
        lambda p: replace(
            p, shortfalls=(Shortfall(key=p.slots[0].key, pump="P1", steps=(), lacking_litres_per_h=0),)
        ),
    ),
    (
        "a job nobody asked for",
        Rule.UNKNOWN_JOB,
        lambda p: replace(p, slots=(*p.slots, Slot(key="x:y:1", pump="P1", start=8, end=9, least_margin_litres_per_h=0))),
    ),
    ("another pump", Rule.RIGHT_PUMP, lambda p: _with(p, "knife:P1:1", pump="P2")),
    ("closed too soon", Rule.RIGHT_END, lambda p: _with(p, "knife:P1:1", end=9)),
    ("a better margin than there is", Rule.RIGHT_MARGIN, lambda p: _with(p, "knife:P1:1", least_margin_litres_per_h=99)),
    ("beyond the days planned", Rule.ON_THE_GRID, lambda p: _with(p, "knife:P1:1", start=80, end=83)),
    ("at an hour that is no start hour", Rule.ALLOWED_START, lambda p: _with(p, "knife:P1:1", start=9, end=12)),
    ("before its window", Rule.NOT_EARLY, lambda p: _with(p, "knife:P2:2", start=32, end=35)),
    (
        "before the one before it",
        Rule.IN_ORDER,
        lambda p: _with(_with(p, "knife:P2:1", start=56, end=59), "knife:P2:2", start=56, end=59),
    ),
    ("one pump open for two jobs", Rule.ONE_JOB_A_PUMP, lambda p: _with(p, "seal:P1:1", start=8, end=10)),
    ("too few hands", Rule.HANDS, lambda p: _with(p, "seal:P1:1", start=8, end=10)),
    ("both pumps open", Rule.MINIMUM, lambda p: _with(p, "knife:P2:1", start=8, end=11)),
)  # fmt: skip


@pytest.mark.parametrize(("what", "rule", "spoil"), VIOLATIONS, ids=[what for what, _, _ in VIOLATIONS])
def test_each_violation_is_found_by_its_rule(what: str, rule: Rule, spoil: Callable[[Plan], Plan]) -> None:
    """A lawful plan spoiled in one way is faulted for that."""
    problem = _two_pumps()
    plan = stagger(problem)
    assert judge(problem, plan).lawful
    assert [slot.key for slot in plan.slots if slot.key == "knife:P1:1" and slot.start == 8], plan.slots
    found = judge(problem, spoil(plan))
    assert rule in {fault.rule for fault in found.faults}


def test_a_pinned_job_elsewhere_is_faulted() -> None:
    """A plan that moves a pinned start breaks the rule of pinned jobs."""
    problem = _two_pumps()
    plan = stagger(problem)
    pinned = replace(
        problem, jobs=tuple(replace(j, fixed_start=13) if j.key == "knife:P1:1" else j for j in problem.jobs)
    )
    assert Rule.PINNED in {fault.rule for fault in judge(pinned, plan).faults}


def test_a_deficit_without_a_slot_is_a_shortfall_and_no_fault() -> None:
    """With a pump down below the minimum the plan states the deficit, opens nothing in it, and stays lawful."""
    down = PumpCapacity(pump="P1", litres_per_h=60, derated=(Derated(from_step=0, to_step=30, litres_per_h=0),))
    problem = _two_pumps(
        pumps=(down, PumpCapacity(pump="P2", litres_per_h=60)),
        minimum=(MinimumStretch(from_step=0, to_step=72, litres_per_h=70),),
    )
    plan = stagger(problem)
    verdict = judge(problem, plan)
    assert verdict.lawful
    assert verdict.least_margin_litres_per_h == -10
    deficits = [short for short in plan.shortfalls if short.key is None]
    assert [(short.steps, short.lacking_litres_per_h) for short in deficits] == [(((0, 30),), 10)]
    assert not [slot for slot in plan.slots if slot.pump == "P2"]


@pytest.mark.parametrize(
    "problem",
    [
        _two_pumps(pumps=()),
        _two_pumps(pumps=(PumpCapacity(pump="P1", litres_per_h=60),)),
        _two_pumps(minimum=(MinimumStretch(from_step=0, to_step=72, litres_per_h=500),)),
        _two_pumps(jobs=()),
        _two_pumps(steps=24),
        _two_pumps(steps=0),
        _two_pumps(crew=()),
        _two_pumps(start_steps=()),
        _two_pumps(
            jobs=(PlanJob(key="long:P1:1", pump="P1", work_steps=70, hands=1, earliest=0, ideal=8, due=9, limit=9),)
        ),
    ],
    ids=["no pumps", "one pump", "minimum above all", "no jobs", "a day", "no time", "no crew", "no start", "too long"],
)
def test_what_cannot_be_planned_is_said_in_words(problem: Problem) -> None:
    """Never an exception and never silence: each job has a slot or a shortfall with a reason, and the plan is lawful."""
    plan = stagger(problem)
    assert judge(problem, plan).lawful
    answered = {slot.key for slot in plan.slots} | {short.key for short in plan.shortfalls if short.key}
    assert answered == {job.key for job in problem.jobs}
    assert all(len(said) > 20 for said in shortfalls_said(problem, plan))


def _garbage(model: Model) -> Solution:
    return Solution(outcome=SolveEnd.OPTIMAL, values=tuple([1.0] * len(model.cost)), bound=0.0, solver="garbage")


def _infeasible(model: Model) -> Solution:
    return Solution(outcome=SolveEnd.INFEASIBLE, solver="infeasible")


def _limit(model: Model) -> Solution:
    return Solution(outcome=SolveEnd.LIMIT, solver="limit")


def _failed(model: Model) -> Solution:
    return Solution(outcome=SolveEnd.FAILED, solver="failed")


def _raises(model: Model) -> Solution:
    raise RuntimeError(f"{len(model.cost)} columns are too many")


def _no_numbers(model: Model) -> Solution:
    return Solution(outcome=SolveEnd.OPTIMAL, values=(math.nan,) * len(model.cost), bound=math.nan, solver="no numbers")


def _too_few(_model: Model) -> Solution:
    return Solution(outcome=SolveEnd.OPTIMAL, values=(1.0,), solver="too few")


def _halves(model: Model) -> Solution:
    return Solution(outcome=SolveEnd.OPTIMAL, values=(0.5,) * len(model.cost), bound=0.0, solver="halves")


def _endless(model: Model) -> Solution:
    return Solution(outcome=SolveEnd.OPTIMAL, values=(math.inf,) * len(model.cost), bound=math.inf, solver="endless")


def _nobody_placed(model: Model) -> Solution:
    """As if leaving every job out were best, with a bound that says so."""
    return Solution(
        outcome=SolveEnd.OPTIMAL, values=(0.0,) * len(model.cost), bound=float(sum(model.cost)), solver="nobody placed"
    )


@pytest.mark.parametrize(
    "solver",
    [_garbage, _infeasible, _limit, _failed, _raises, _no_numbers, _too_few, _halves, _endless, _nobody_placed],
)
def test_a_solver_that_fails_leaves_a_lawful_plan_that_says_so(solver: Callable[[Model], Solution]) -> None:
    """Garbage, infeasible, stopped, failed or raising: the plain plan, lawful, not proven, and its remarks say why."""
    problem = ship(4, days=60)
    plan = stagger(problem, optimise=solver)
    assert judge(problem, plan).lawful
    assert (plan.by, plan.proven) == ("greedy", False)
    assert plan.slots == greedy_plan(problem).slots
    assert RemarkCode.UNUSABLE in {one.code for one in plan.remarks}


def _stopped_with_values(model: Model) -> Solution:
    return replace(optimise(model), outcome=SolveEnd.LIMIT)


def _boasts(model: Model) -> Solution:
    return replace(optimise(model), bound=1e12)


@pytest.mark.parametrize("solver", [_stopped_with_values, _boasts])
def test_good_values_are_taken_without_a_claim_that_does_not_hold(solver: Callable[[Model], Solution]) -> None:
    """Stopped early, or with a bound above its own value: the starts are used, the tier stays not proven."""
    problem = ship(4, days=60)
    plan = stagger(problem, optimise=solver)
    assert plan.slots == stagger(problem).slots
    assert (plan.by, plan.proven) == ("solver", False)
    assert all(tier.bound <= tier.value for tier in plan.tiers)
    assert RemarkCode.STOPPED in {one.code for one in plan.remarks}


def test_problem_and_plan_survive_their_text() -> None:
    """What the worker reads and writes, and what the database keeps, is the same value again."""
    problem = ship(3, days=40)
    plan = stagger(problem)
    assert problem_digest(problem_from_text(problem_to_text(problem))) == problem_digest(problem)
    assert plan_from_text(plan_to_text(plan)) == plan
