"""Bounds taken on trust until one answer confirms them: the plan is as when every tier is settled, whatever the solver does."""

from collections.abc import Callable
from dataclasses import replace
from math import inf, nan
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.planning.judge.check import judge
from scheduler.planning.problem.values import Plan, Problem
from scheduler.planning.search.highs import optimise
from scheduler.planning.search.model import Effort, Model, Solution, SolveEnd
from scheduler.planning.search.stagger import greedy_plan, stagger
from tests.unit.planning.cases import ship

EXAMPLES = 500 if settings.get_current_profile_name() == "full" else 8
SHIPS_ON_TRUST = (11, 19, 25, 32, 35)
"""Seeds of ships with bounds confirmed by one answer, near a bound, and not at all."""


def in_time(random: Random) -> Problem:
    """A ship of three to five pumps over some weeks whose jobs most often all have room, and compete for the good days."""
    days, pumps = random.choice([30, 45, 60]), random.randint(3, 5)
    problem = ship(pumps, days, spare_pumps=random.choice([1.0, 1.2]), hours=random.choice([(8,), (8, 13)]))
    jobs = []
    for job in problem.jobs:
        by = random.choice([0, -24, -72, -120])
        jobs.append(
            replace(
                job,
                ideal=job.ideal + by,
                earliest=max(0, job.earliest + min(0, by)),
                limit=job.limit + 96,
                work_steps=random.choice([job.work_steps, 2 * job.work_steps]),
                hands=random.choice([job.hands, 1, 2]),
                setup_steps=random.choice([0, 1, 2]) if job.pump else 0,
                published_start=random.choice([None] * 6 + [random.choice(problem.start_steps)]),
            )
        )
    hours, keys = random.choice([24, 8]), {job.key for job in jobs if job.limit <= problem.steps}
    jobs = [job for job in jobs if job.key in keys]
    return replace(problem, jobs=tuple(jobs), person_hours=hours, avoid_nights=random.random() < 0.5)


PROBLEMS = st.integers(0, 2**32).map(lambda seed: in_time(Random(seed)))


def _same(one: Plan, other: Plan) -> bool:
    return one.slots == other.slots and one.tiers == other.tiers and one.proven == other.proven


@pytest.mark.long
@settings(max_examples=EXAMPLES)
@given(PROBLEMS)
def test_trusted_and_plain_search_agree(problem: Problem) -> None:
    """In tiers, bounds, proofs and slots; and the plan is lawful."""
    plan = stagger(problem)
    assert judge(problem, plan).faults == ()
    assert plan.proven
    assert _same(plan, stagger(problem, trust=False))


def test_fewer_searches_of_all_columns_prove_the_same_plan() -> None:
    """On ships of which one has its tiers confirmed near their bounds: together less than half as many as tier by tier."""
    asked: list[Effort] = []

    def noting(model: Model) -> Solution:
        asked.append(model.effort)
        return optimise(model)

    for seed in SHIPS_ON_TRUST:
        assert stagger(in_time(Random(seed)), optimise=noting).proven
    with_trust = list(asked)
    asked.clear()
    for seed in SHIPS_ON_TRUST:
        assert stagger(in_time(Random(seed)), optimise=noting, trust=False).proven
    assert set(asked) == {Effort.BETTER}
    assert set(with_trust) == set(Effort) - {Effort.WHOLE}
    assert 2 * with_trust.count(Effort.BETTER) < len(asked)


def _only_the_bound(change: Callable[[Solution], Solution]) -> Callable[[Model], Solution]:
    return lambda model: change(optimise(model)) if model.effort is Effort.BOUND else optimise(model)


def _broken(_: Solution) -> Solution:
    raise MemoryError


USELESS = {
    "fails": lambda _: Solution(outcome=SolveEnd.FAILED),
    "raises": _broken,
    "stops at a limit without anything": lambda _: Solution(outcome=SolveEnd.LIMIT, bound=-inf),
    "stops at a limit, its bound good": lambda said: replace(said, outcome=SolveEnd.LIMIT),
    "says there is no answer": lambda _: Solution(outcome=SolveEnd.INFEASIBLE),
    "has no bound": lambda said: replace(said, bound=nan),
    "has a bound without end": lambda said: replace(said, bound=inf),
    "has a bound far too high": lambda said: replace(said, bound=said.bound + 1e12),
    "has a bound too low": lambda said: replace(said, bound=said.bound - 3.0, bound_if_used=()),
    "has no values": lambda said: replace(said, values=()),
    "chooses two of a job": lambda said: replace(said, values=(1.0,) * len(said.values)),
}


@pytest.mark.long
@pytest.mark.parametrize("how", USELESS)
@settings(max_examples=max(3, EXAMPLES // 20))
@given(problem=PROBLEMS)
def test_a_bound_that_is_of_no_use_changes_no_plan(problem: Problem, how: str) -> None:
    """Whatever a relaxation says that cannot be used, the whole searches give the plan they give without trust."""
    assert _same(stagger(problem, optimise=_only_the_bound(USELESS[how])), stagger(problem, trust=False))


@pytest.mark.long
@settings(max_examples=max(5, EXAMPLES // 10))
@given(PROBLEMS, st.integers(1, 6))
def test_a_bound_that_lies_makes_no_plan_unlawful_or_worse_than_the_plain_rule(problem: Problem, by: int) -> None:
    """A little too high, where nothing shows it at once: values are counted anew, and none is below what is said to be proven."""
    plan = stagger(
        problem, optimise=_only_the_bound(lambda said: replace(said, bound=said.bound + by, bound_if_used=()))
    )
    assert judge(problem, plan).faults == ()
    assert all(tier.bound <= tier.value for tier in plan.tiers)
    plain = tuple(tier.value for tier in greedy_plan(problem).tiers)
    assert tuple(tier.value for tier in plan.tiers) <= plain


@pytest.mark.long
@settings(max_examples=max(5, EXAMPLES // 10))
@given(PROBLEMS)
def test_an_answer_that_breaks_a_tier_taken_on_trust_confirms_nothing(problem: Problem) -> None:
    """Near the bound the solver leaves out what holds the tiers before; its answers are of no use, and the plan is as without."""

    def forgetful(model: Model) -> Solution:
        if model.effort in (Effort.AT_BOUND, Effort.NEAR):
            return optimise(replace(model, rows=tuple(model.rows)[: len(model.rows) // 2], effort=Effort.NEAR))
        return optimise(model)

    plan = stagger(problem, optimise=forgetful)
    assert judge(problem, plan).faults == ()
    best = stagger(problem, trust=False)
    found, least = ([tier.value for tier in one.tiers] for one in (plan, best))
    assert found >= least
    assert not plan.proven or found == least


@pytest.mark.long
@settings(max_examples=max(8, EXAMPLES // 10))
@given(PROBLEMS, st.integers(0, 12))
def test_a_solver_that_stops_leaves_what_was_proven(problem: Problem, answers: int) -> None:
    """After so many answers none comes any more, as when the worker's time is up: lawful, no better than can be, and a tier is
    called proven only where it is the best with those before it proven."""
    left = [answers]

    def stopping(model: Model) -> Solution:
        left[0] -= 1
        return optimise(model) if left[0] >= 0 else Solution(outcome=SolveEnd.LIMIT)

    plan, best = stagger(problem, optimise=stopping), stagger(problem, trust=False)
    assert judge(problem, plan).faults == ()
    for found, least in zip(plan.tiers, best.tiers, strict=True):
        if not found.proven:
            assert not plan.proven
            break
        assert (found.value, found.bound) == (least.value, least.bound)
    if left[0] >= 0:
        assert _same(plan, best)
