"""A solver that gives up half way: what was good before stays, and the tiers say what the plan is worth."""

from dataclasses import replace

import pytest

from scheduler.planning.judge.check import judge
from scheduler.planning.problem.values import MinimumStretch, Plan, PlanJob, Problem, PumpCapacity
from scheduler.planning.search.highs import optimise
from scheduler.planning.search.model import Model, Solution, SolveEnd
from scheduler.planning.search.stagger import greedy_plan, stagger, whole_bound
from scheduler.planning.search.tiers import TIERS
from tests.unit.planning.cases import STARTS_AT, crew_by_day, starts_by_day


def _problem(*jobs: PlanJob) -> Problem:
    """Six days with two hands and two starts a day, and a pump that nothing keeps from being opened."""
    return Problem(
        starts_at=STARTS_AT,
        steps=144,
        pumps=(PumpCapacity(pump="P1", litres_per_h=60),),
        minimum=(MinimumStretch(from_step=0, to_step=144, litres_per_h=0),),
        crew=crew_by_day(6),
        start_steps=starts_by_day(6),
        jobs=jobs,
    )


def _job(key: str, *, work: int, limit: int, hands: int = 1, ideal: int = 8, published: int | None = None) -> PlanJob:
    return PlanJob(
        key=key,
        pump="P1" if hands == 1 and published is None else None,
        work_steps=work,
        hands=hands,
        earliest=0,
        ideal=ideal,
        due=min(limit, 100),
        limit=limit,
        published_start=published,
    )


def _values(plan: Plan) -> tuple[int, ...]:
    return tuple(tier.value for tier in plan.tiers)


def test_an_answer_that_only_ties_does_not_spoil_what_was_good() -> None:
    """Two jobs of which one must be late, answered once as late as that allows and then never: the plain plan stays."""
    problem = _problem(_job("knife:P1:1", work=3, limit=11, hands=2), _job("seal:P1:1", work=3, limit=11, hands=2))
    calls: list[Model] = []

    def latest_first_then_silent(model: Model) -> Solution:
        calls.append(model)
        if len(calls) > 1:
            return Solution(outcome=SolveEnd.FAILED)
        scale = 10 * len(model.cost) * len(model.choices)
        tilted = tuple(scale * cost + len(model.cost) - column for column, cost in enumerate(model.cost))
        answer = optimise(replace(model, cost=tilted, known=scale * (model.known + 1)))
        return replace(answer, bound=float(model.known), bound_if_used=())

    plan = stagger(problem, optimise=latest_first_then_silent)
    plain = greedy_plan(problem)
    assert len(calls) > 1
    assert plan.by == "solver"
    assert judge(problem, plan).lawful
    assert plan.slots == plain.slots
    assert _values(plan) == _values(plain)


def test_a_tier_that_became_better_later_says_so() -> None:
    """Two published dates lost where one would do; the tier's own solve fails, the next one finds it: one is stated."""
    problem = _problem(
        _job("overhaul:a:1", work=6, limit=90, hands=2, ideal=32, published=8),
        _job("knife:b:1", work=3, limit=120, ideal=8, published=8),
        _job("knife:c:1", work=3, limit=120, ideal=13, published=13),
    )
    calls: list[Model] = []

    def fails_once(model: Model) -> Solution:
        calls.append(model)
        return optimise(model) if len(calls) > 1 else Solution(outcome=SolveEnd.FAILED)

    moved = next(n for n, tier in enumerate(TIERS) if tier.name == "published dates moved")
    assert _values(greedy_plan(problem))[moved] == 2
    plan = stagger(problem, optimise=fails_once, trust=False)
    assert judge(problem, plan).lawful
    assert [slot.key for slot in plan.slots] == ["knife:b:1", "knife:c:1", "overhaul:a:1"]
    assert plan.tiers[moved].value == 1
    assert not plan.tiers[moved].proven
    assert not plan.proven


@pytest.mark.parametrize(
    ("said", "kept"),
    [(3.0, 3.0), (2.9999999, 3.0), (3.0000001, 3.0), (2.4, 3.0), (72416228.9999998, 72416229.0), (-7.2, -7.0)],
)
def test_the_bound_of_a_certificate_is_whole(said: float, kept: float) -> None:
    """Costs are whole: a solver's rounding reaches no plan's digest, and a bound between two whole numbers is the higher."""
    assert whole_bound(said) == kept


def test_a_job_is_not_left_open_overnight_when_a_morning_holds() -> None:
    """Six hours from 13:00 end on the next day: the morning of another day is taken; unless the ship likes it otherwise, or
    only the afternoon is in time."""
    job = _job("overhaul:a:1", work=6, limit=140, ideal=37)
    as_it_comes = replace(_problem(job), crew=crew_by_day(6, first=8, last=17), start_steps=(37, 128))
    avoiding = replace(as_it_comes, avoid_nights=True)
    assert [slot.start for slot in stagger(as_it_comes).slots] == [37]
    assert [slot.start for slot in stagger(avoiding).slots] == [128]
    pressing = replace(avoiding, jobs=(replace(job, limit=100),))
    assert [slot.start for slot in stagger(pressing).slots] == [37]
