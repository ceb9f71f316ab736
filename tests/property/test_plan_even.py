"""The evenest margin, where a plant asks for it: the plan is as good in all else, and of those none is evener."""

from dataclasses import replace

import pytest
from hypothesis import given, settings

from scheduler.planning.explain.reasons import ReasonCode, explain_place
from scheduler.planning.judge.check import judge
from scheduler.planning.problem.codec import problem_from_text, problem_to_text
from scheduler.planning.problem.values import Problem
from scheduler.planning.search.model import Model, Solution, SolveEnd
from scheduler.planning.search.stagger import greedy_plan, stagger
from scheduler.planning.search.tiers import EVEN_MARGIN
from tests.property.test_plan_tiers import problems
from tests.unit.planning.brute import Brute
from tests.unit.planning.cases import crew_by_day, ship


def _unevenness(problem: Problem) -> tuple[int, ...]:
    """By trying every plan: the values of the tiers before it, and then the least of the squares."""
    brute = Brute(problem)
    plans = [(*brute.values(plan), brute.peak(plan), brute.uneven(plan)) for plan in brute.plans() if brute.holds(plan)]
    return min(plans)


@pytest.mark.long
@settings(max_examples=max(20, settings.default.max_examples // 3))
@given(problems())
def test_no_plan_as_good_in_all_else_is_evener(problem: Problem) -> None:
    """Against every plan tried, to the square metre an hour; lawful, proven; what comes before is as without it."""
    asked = replace(problem, even_margin=True)
    plan, usual = stagger(asked), stagger(problem)
    assert judge(asked, plan).faults == ()
    assert plan.proven, plan.remarks
    assert tuple(tier.value for tier in plan.tiers[:-1]) == _unevenness(problem)
    assert [tier.value for tier in plan.tiers[:-2]] == [tier.value for tier in usual.tiers[:-1]]
    assert plan.tiers[-2].name == EVEN_MARGIN.name
    assert EVEN_MARGIN.name not in {tier.name for tier in usual.tiers}
    plain = tuple(tier.value for tier in greedy_plan(asked).tiers)
    assert tuple(tier.value for tier in plan.tiers) <= plain


def _stops_at_squares(model: Model) -> Solution:
    """A solver that stops, without an answer, where pumps out together are reckoned."""
    from scheduler.planning.search.highs import optimise

    return Solution(outcome=SolveEnd.LIMIT) if max(model.upper, default=0) > 500 else optimise(model)


def test_where_it_is_stopped_the_plan_says_not_proved() -> None:
    """Two jobs whose pumps go out together or apart, as early as can be either way."""
    problem = _two_pumps()
    best, stopped = stagger(problem), stagger(problem, optimise=_stops_at_squares)
    assert best.proven
    assert best.tiers[-2].value < stopped.tiers[-2].value
    assert not stopped.proven
    assert not stopped.tiers[-2].proven
    assert any(remark.name == EVEN_MARGIN.name for remark in stopped.remarks)


@pytest.mark.parametrize(("asked", "apart"), [(False, False), (True, True)])
def test_pumps_go_out_apart_where_the_days_are_as_good(asked: bool, apart: bool) -> None:
    """Without the wish both take their own best hour."""
    plan = stagger(replace(_two_pumps(), even_margin=asked))
    one, other = plan.slots
    assert (one.end <= other.start) is apart


def test_a_day_that_is_not_the_nearest_is_explained_by_it() -> None:
    """The second pump waits for another day, and is told why; not where nothing was asked for."""
    problem = replace(_two_pumps(), start_steps=(248, 272))
    problem = replace(problem, jobs=tuple(replace(job, ideal=244) for job in problem.jobs))
    plan = stagger(problem)
    later = next(slot.key for slot in plan.slots if slot.start == 272)
    assert ReasonCode.EVENER in [reason.code for reason in explain_place(problem, plan, later).reasons]
    usual = replace(problem, even_margin=False)
    told = [
        reason.code
        for slot in stagger(usual).slots
        for reason in explain_place(usual, stagger(usual), slot.key).reasons
    ]
    assert ReasonCode.EVENER not in told


def test_the_text_of_a_problem_says_so_only_where_it_is_asked_for() -> None:
    """So that no digest of those who do not ask is another; it is read back as it was."""
    for asked in (False, True):
        problem = replace(_two_pumps(), even_margin=asked)
        assert ("even_margin" in problem_to_text(problem)) is asked
        assert problem_from_text(problem_to_text(problem)).even_margin is asked


def _two_pumps() -> Problem:
    problem = ship(4, 30, hours=(8, 13), spare_pumps=3.0)
    of_pump = {job.pump: job for job in problem.jobs if job.pump}
    like = {"earliest": 0, "ideal": 248, "due": 400, "limit": 600, "work_steps": 3, "hands": 1}
    jobs = tuple(
        replace(job, after=None, interval_steps=None, published_start=None, **like)
        for job in list(of_pump.values())[:2]
    )
    return replace(problem, jobs=jobs, crew=crew_by_day(30, hands=2), even_margin=True)
