"""The property the project stands for, and the laws around it, on small random plants."""

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.planning.judge.check import judge, margin_series
from scheduler.planning.problem.codec import plan_to_text
from scheduler.planning.problem.digest import problem_digest
from scheduler.planning.problem.values import (
    Derated,
    MinimumStretch,
    Plan,
    PlanJob,
    Problem,
    PumpCapacity,
    Shortfall,
    Slot,
)
from scheduler.planning.search.stagger import stagger
from tests.unit.planning.brute import Brute
from tests.unit.planning.cases import STARTS_AT, crew_by_day, starts_by_day


@st.composite
def problems(draw: st.DrawFn) -> Problem:
    """Three days, one to three pumps, up to four jobs, a minimum that binds, at times a pump down."""
    days = 3
    steps = 24 * days
    names = ["P1", "P2", "P3"][: draw(st.integers(1, 3))]
    pumps = []
    for name in names:
        down = draw(st.integers(0, 60))
        derated = (Derated(from_step=down, to_step=down + 10, litres_per_h=0),) if draw(st.integers(0, 4)) == 0 else ()
        pumps.append(PumpCapacity(pump=name, litres_per_h=draw(st.sampled_from([40, 50, 60])), derated=derated))
    low, high = draw(st.sampled_from([(40, 100), (0, 60), (50, 110), (60, 80), (0, 40), (60, 150)]))
    cut = draw(st.integers(1, steps - 1))
    minimum = (
        MinimumStretch(from_step=0, to_step=cut, litres_per_h=low),
        MinimumStretch(from_step=cut, to_step=steps, litres_per_h=high),
    )
    jobs = []
    for number in range(draw(st.sampled_from([3, 2, 4, 1, 0]))):
        earliest = draw(st.integers(0, 50))
        due = earliest + draw(st.integers(0, 40))
        jobs.append(
            PlanJob(
                key=f"job:{number}:1",
                pump=draw(st.sampled_from([*names, None])),
                work_steps=draw(st.integers(1, 11)),
                hands=draw(st.integers(1, 2)),
                earliest=earliest,
                ideal=earliest + draw(st.integers(0, 40)),
                due=due,
                limit=due + draw(st.integers(0, 30)),
            )
        )
    return Problem(
        starts_at=STARTS_AT,
        steps=steps,
        pumps=tuple(pumps),
        minimum=minimum,
        crew=crew_by_day(days, hands=2),
        start_steps=starts_by_day(days),
        jobs=tuple(jobs),
    )


def promise_kept(problem: Problem, plan: Plan) -> None:
    """The property: lawful, every job answered once, and no plan does better in tier 1."""
    verdict = judge(problem, plan)
    assert verdict.lawful, verdict.faults
    answered = sorted([slot.key for slot in plan.slots] + [s.key for s in plan.shortfalls if s.key is not None])
    assert answered == sorted(job.key for job in problem.jobs)
    limits = {job.key: job.limit for job in problem.jobs}
    late = sum(max(0, -(-(slot.end - limits[slot.key]) // 24)) for slot in plan.slots)
    assert (len(problem.jobs) - len(plan.slots), late) == Brute(problem).best()[2:4]


@given(problems())
def test_the_plan_is_lawful_answers_every_job_and_is_the_best_of_all(problem: Problem) -> None:
    """The plan passes the judge, every due job is placed or in a shortfall, and its tier-1 value equals exhaustive search."""
    promise_kept(problem, stagger(problem))


def test_an_empty_plan_does_not_keep_the_promise() -> None:
    """A plan that puts every job into a shortfall fails the property where a place exists."""
    problem = Problem(
        starts_at=STARTS_AT,
        steps=72,
        pumps=(PumpCapacity(pump="P1", litres_per_h=60),),
        minimum=(MinimumStretch(from_step=0, to_step=72, litres_per_h=0),),
        crew=crew_by_day(3),
        start_steps=starts_by_day(3),
        jobs=(PlanJob(key="job:0:1", pump="P1", work_steps=3, hands=1, earliest=0, ideal=8, due=30, limit=40),),
    )
    promise_kept(problem, stagger(problem))
    lazy = Plan(
        problem_digest=problem_digest(problem),
        slots=(),
        shortfalls=(Shortfall(key="job:0:1", pump="P1", steps=(), lacking_litres_per_h=0),),
    )
    with pytest.raises(AssertionError):
        promise_kept(problem, lazy)
    with pytest.raises(AssertionError):
        promise_kept(problem, replace(lazy, shortfalls=()))


@given(problems(), st.randoms(use_true_random=False))
def test_the_order_of_the_parts_changes_nothing(problem: Problem, random) -> None:
    """Any order of pumps, jobs and stretches gives the same digest and the same plan."""

    def mixed(parts):
        return tuple(random.sample(parts, len(parts)))

    other = replace(
        problem,
        pumps=mixed(problem.pumps),
        jobs=mixed(problem.jobs),
        minimum=mixed(problem.minimum),
        crew=mixed(problem.crew),
        start_steps=mixed(problem.start_steps),
    )
    assert problem_digest(other) == problem_digest(problem)
    assert plan_to_text(stagger(other)) == plan_to_text(stagger(problem))


@given(problems())
def test_planning_again_moves_nothing(problem: Problem) -> None:
    """With the plan's own starts as the published ones, planning again gives the same slots."""
    first = stagger(problem)
    starts = {slot.key: slot.start for slot in first.slots}
    again = replace(problem, jobs=tuple(replace(job, published_start=starts.get(job.key)) for job in problem.jobs))
    assert stagger(again).slots == first.slots


@given(problems(), st.data())
def test_a_pinned_job_never_moves(problem: Problem, data) -> None:
    """A job pinned where a plan had it stays there, whatever the others would like."""
    first = stagger(problem)
    if not first.slots:
        return
    slot = data.draw(st.sampled_from(first.slots))
    eager = [
        replace(job, fixed_start=slot.start) if job.key == slot.key else replace(job, ideal=slot.start)
        for job in problem.jobs
    ]
    pinned = replace(problem, jobs=tuple(eager))
    plan = stagger(pinned)
    assert judge(pinned, plan).lawful
    assert slot.start in [s.start for s in plan.slots if s.key == slot.key]


@given(problems(), st.integers(1, 400))
def test_a_shift_of_dates_shifts_the_plan(problem: Problem, days: int) -> None:
    """The same problem some days later has the same slots, counted from its own start."""
    later = replace(problem, starts_at=problem.starts_at + timedelta(days=days))
    assert stagger(later).slots == stagger(problem).slots


@given(problems(), st.sampled_from([2, 7, 1000]))
def test_the_unit_of_capacity_changes_nothing(problem: Problem, factor: int) -> None:
    """Capacities and minimum in another unit give the same starts."""
    pumps = tuple(
        replace(
            pump,
            litres_per_h=pump.litres_per_h * factor,
            derated=tuple(replace(d, litres_per_h=d.litres_per_h * factor) for d in pump.derated),
        )
        for pump in problem.pumps
    )
    minimum = tuple(replace(m, litres_per_h=m.litres_per_h * factor) for m in problem.minimum)
    scaled = stagger(replace(problem, pumps=pumps, minimum=minimum))
    assert [(s.key, s.start, s.end) for s in scaled.slots] == [(s.key, s.start, s.end) for s in stagger(problem).slots]


def _tier_1(problem: Problem) -> tuple[int, ...]:
    return tuple(tier.value for tier in stagger(problem).tiers if tier.tier <= 1)


@given(problems(), st.data())
def test_more_room_never_worsens_tier_1(problem: Problem, data) -> None:
    """A lower minimum, a hand more, or a job less never gives more unplaced jobs or, with all placed, more days late; unless
    another job goes on with the isolation of the one that is gone."""
    before = _tier_1(problem)
    lower = replace(problem, minimum=tuple(replace(m, litres_per_h=m.litres_per_h // 2) for m in problem.minimum))
    more = replace(problem, crew=tuple(replace(c, hands=c.hands + 1) for c in problem.crew))
    assert _tier_1(lower) <= before
    assert _tier_1(more) <= before
    lends = {slot.isolation_of for slot in stagger(problem).slots}
    free = [job for job in problem.jobs if job.key not in lends]
    if free:
        gone = data.draw(st.sampled_from(free))
        assert _tier_1(replace(problem, jobs=tuple(j for j in problem.jobs if j != gone))) <= before


@given(problems())
def test_the_margin_series_covers_the_grid_and_agrees_with_the_judge(problem: Problem) -> None:
    """Runs follow each other without gap over the whole grid, and their least margin is the judge's."""
    plan = stagger(problem)
    runs = margin_series(problem, plan)
    assert [runs[0].from_step, *(run.to_step for run in runs)] == [*(run.from_step for run in runs), problem.steps]
    assert min(run.available - run.minimum for run in runs) == judge(problem, plan).least_margin_litres_per_h


@given(problems(), st.data())
def test_the_judge_faults_a_slot_moved_below_the_minimum(problem: Problem, data) -> None:
    """Where a pump is needed at every hour, any slot that opens it is faulted."""
    pumps = [pump for pump in problem.pumps if not pump.derated]
    if not pumps:
        return
    total = sum(pump.litres_per_h for pump in problem.pumps)
    tight = replace(problem, minimum=(MinimumStretch(from_step=0, to_step=problem.steps, litres_per_h=total),))
    pump = data.draw(st.sampled_from(pumps))
    job = PlanJob(key="extra:x:1", pump=pump.pump, work_steps=2, hands=1, earliest=0, ideal=8, due=60, limit=70)
    slot = Slot(key=job.key, pump=pump.pump, start=8, end=10, least_margin_litres_per_h=-pump.litres_per_h)
    plan = Plan(problem_digest="", slots=(slot,), shortfalls=())
    assert "MINIMUM" in [fault.rule.name for fault in judge(replace(tight, jobs=(job,)), plan).faults]
