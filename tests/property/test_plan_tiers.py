"""Every tier against exhaustive search, on small plants with turns that follow each other, pinned and published dates."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.planning.judge.check import judge
from scheduler.planning.problem.values import (
    MinimumStretch,
    NotTogether,
    Occasion,
    Plan,
    PlanJob,
    Problem,
    PumpCapacity,
    QuietStretch,
    Remark,
    RemarkCode,
)
from scheduler.planning.search.blockers import blockers
from scheduler.planning.search.greedy import greedy, legal_offers
from scheduler.planning.search.ground import candidate_at, survey
from scheduler.planning.search.model import Model, Solution, SolveEnd
from scheduler.planning.search.stagger import greedy_plan, stagger
from scheduler.planning.search.tiers import set_up_saved, values_of
from tests.unit.planning.brute import Brute, ranked
from tests.unit.planning.cases import STARTS_AT, crew_by_day, starts_by_day

DAYS = 9
FULL = 300 if settings.get_current_profile_name() == "full" else None
STARTS = starts_by_day(DAYS, hours=(8,))


@st.composite
def problems(draw: st.DrawFn) -> Problem:
    """Nine days with one start a day, two or three pumps, two series of up to two turns, at times a short test: and at
    times parts to come, days in port, a shorter day for each person, pumps that may not be open together."""
    jobs = []
    port = draw(st.booleans())
    for series in ("a", "b"):
        before = None
        pump = draw(st.sampled_from(["P1", "P2", None]))
        first = draw(st.integers(-24, 96))
        gap = draw(st.integers(0, 120))
        for turn in range(1, draw(st.integers(1, 2)) + 1):
            due = first + gap * (turn - 1) + draw(st.integers(0, 30))
            date = draw(st.sampled_from(STARTS))
            shown = draw(st.sampled_from(["new", "new", "published", "pinned", "frozen"]))
            frozen = date + draw(st.sampled_from([0, 0, 3]))
            jobs.append(
                PlanJob(
                    key=f"{series}:x:{turn}",
                    pump=pump,
                    work_steps=draw(st.integers(1, 14)),
                    hands=draw(st.integers(1, 2)),
                    earliest=max(0, due - draw(st.integers(0, 96))),
                    ideal=due - draw(st.integers(-96, 48)),
                    due=due,
                    limit=due + draw(st.integers(0, 60)),
                    after=before,
                    interval_steps=gap if before else None,
                    fixed_start=date if shown == "pinned" else None,
                    published_start=date if shown == "published" else None,
                    kept_start=frozen if shown == "frozen" else None,
                    setup_steps=draw(st.integers(0, 2)),
                    needs=("port",) if port and draw(st.booleans()) else (),
                    parts_from=draw(st.sampled_from([None, None, None, 32])),
                )
            )
            before = jobs[-1].key
    if draw(st.booleans()):
        jobs.append(
            PlanJob(
                key="t:x:1", pump=None, work_steps=1, hands=1, earliest=0, ideal=draw(st.integers(0, 96)), due=96,
                limit=120, stop_minutes=20, tested="P1", all_closed=draw(st.booleans()),
            )
        )  # fmt: skip
    return Problem(
        starts_at=STARTS_AT,
        steps=24 * DAYS,
        pumps=(
            PumpCapacity(pump="P1", litres_per_h=60),
            PumpCapacity(pump="P2", litres_per_h=50),
            *draw(st.sampled_from([(), (), (PumpCapacity(pump="P3", litres_per_h=50),)])),
        ),
        minimum=(
            MinimumStretch(from_step=0, to_step=96, litres_per_h=draw(st.sampled_from([0, 50, 55]))),
            MinimumStretch(
                from_step=96,
                to_step=24 * DAYS,
                litres_per_h=draw(st.sampled_from([0, 50, 55])),
                pumps=draw(st.sampled_from([0, 0, 1, 2])),
            ),
        ),
        crew=crew_by_day(DAYS, hands=draw(st.integers(1, 3)), last=draw(st.sampled_from([17, 17, 20]))),
        start_steps=STARTS,
        jobs=tuple(jobs),
        person_hours=draw(st.sampled_from([24, 8, 5])),
        occasions=tuple(Occasion(need="port", from_step=48 * n, to_step=48 * n + 36) for n in range(4)),
        quiet=(
            QuietStretch(from_step=24, to_step=60, most_minutes=20, consent="agreed with the hotel"),
            QuietStretch(from_step=96, to_step=120, most_minutes=20, consent="agreed with the hotel"),
            QuietStretch(from_step=100, to_step=110, most_minutes=10, consent="agreed with the hotel"),
        ),
        not_together=draw(st.sampled_from([(), (NotTogether(pumps=("P1", "P2"), most_out=1),)])),
        day_starts=draw(st.sampled_from([(), (23, 47, 71, *range(96, 24 * DAYS, 24)), tuple(range(1, 24 * DAYS, 23))])),
        avoid_nights=draw(st.booleans()),
    )


@settings(max_examples=FULL or 8)
@given(problems())
def test_each_tier_equals_exhaustive_search(problem: Problem) -> None:
    """The plan is lawful and proven, and its tiers up to the crew's busiest week are the best there are, in their order."""
    plan = stagger(problem)
    assert judge(problem, plan).faults == ()
    assert plan.proven
    assert ranked(plan) == Brute(problem).best()


def _late_chain(
    *, first: tuple[int, int, int], turn: tuple[int, int, int], alone: tuple[int, int], work: int
) -> Problem:
    """One hand a day of five hours, a job of another pump and two turns that follow each other, all bound to be late."""
    return Problem(
        starts_at=STARTS_AT,
        steps=24 * DAYS,
        pumps=(PumpCapacity(pump="P1", litres_per_h=60), PumpCapacity(pump="P2", litres_per_h=50)),
        minimum=(),
        crew=crew_by_day(DAYS, hands=1),
        start_steps=STARTS,
        person_hours=5,
        jobs=(
            PlanJob(key="a:x:1", pump="P1", work_steps=1, hands=1, earliest=alone[0], ideal=alone[1], due=alone[1], limit=alone[1]),
            PlanJob(key="b:x:1", pump="P2", work_steps=1, hands=1, earliest=first[0], ideal=first[1], due=first[1], limit=first[2]),
            PlanJob(
                key="b:x:2", pump="P2", work_steps=work, hands=1, earliest=32, ideal=turn[0], due=turn[0], limit=turn[1],
                after="b:x:1", interval_steps=turn[2],
            ),
        ),
    )  # fmt: skip


@pytest.mark.parametrize(
    "problem",
    [
        _late_chain(first=(56, 80, 81), turn=(78, 105, 0), alone=(80, 92), work=6),
        _late_chain(first=(56, 58, 58), turn=(73, 81, 15), alone=(57, 57), work=1),
    ],
)
def test_turns_that_must_be_late_are_proven_as_little_late_as_can_be(problem: Problem) -> None:
    """Two plans for which HiGHS 1.13.1 claimed a false optimum, a day too late, while a chain's days had a needlessly wide
    bound."""
    plan = stagger(problem)
    assert plan.proven
    assert ranked(plan) == Brute(problem).best()


@given(problems())
def test_the_plain_rule_is_lawful_and_answers_every_job(problem: Problem) -> None:
    """The greedy plan passes the judge too, says who made it and never claims to be proven."""
    asked = Remark(code=RemarkCode.TOO_LONG, number=3)
    plan = greedy_plan(problem, asked)
    assert judge(problem, plan).faults == ()
    assert (plan.by, plan.proven, plan.remarks) == ("greedy", False, (asked,))


def _values_again(problem: Problem, plan: Plan) -> tuple[int, ...]:
    """Every tier's value, counted from the starts and shared isolations that the plan says."""
    ground = survey(problem)
    first_of = {slot.key: slot.isolation_of for slot in plan.slots if slot.isolation_of is not None}
    pair_of = first_of | {first: key for key, first in first_of.items()}
    starts = {}
    for slot in plan.slots:
        job, first = ground.by_key[slot.key], ground.by_key.get(first_of.get(slot.key, ""))
        candidate = candidate_at(ground, job, slot.start, 0 if first is None else set_up_saved(first, job))
        assert candidate is not None
        starts[slot.key] = replace(candidate, pair=pair_of.get(slot.key))
    return values_of(ground, starts)


@given(problems(), st.data())
def test_whatever_a_solver_answers_the_plan_is_lawful_and_no_worse_than_the_plain_rule(
    problem: Problem, data: st.DataObject
) -> None:
    """Starts that ignore every row, dear ones, any or none, with any bound: no fault, and no tier in its order above the
    plain rule's."""

    def any_answer(model: Model) -> Solution:
        count = len(model.cost)
        how = data.draw(st.sampled_from(["cheapest", "dearest", "any", "none"]))
        if how == "any":
            used = {data.draw(st.sampled_from(choice)) for choice in model.choices}
        else:
            best = {"cheapest": min, "dearest": max}.get(how)
            used = {best(choice, key=lambda c: model.cost[c]) for choice in model.choices} if best else set()
        return Solution(
            outcome=data.draw(st.sampled_from([SolveEnd.OPTIMAL, SolveEnd.OPTIMAL, SolveEnd.LIMIT, SolveEnd.FAILED])),
            values=tuple(float(c in used) for c in range(count)),
            bound=data.draw(st.floats()),
            bound_if_used=data.draw(st.sampled_from([(), (0.0,) * count, (1e9,) * count])),
        )

    plan = stagger(problem, optimise=any_answer)
    assert judge(problem, plan).faults == ()
    assert tuple(tier.value for tier in plan.tiers) == _values_again(problem, plan)
    assert all(tier.bound <= tier.value for tier in plan.tiers)
    plain = tuple(tier.value for tier in greedy_plan(problem).tiers)
    assert tuple(tier.value for tier in plan.tiers) <= plain


@given(problems())
def test_blockers_cover_exactly_the_starts_that_are_not_free(problem: Problem) -> None:
    """In a greedy placement a job without a place has a blocker over every allowed start of its window."""
    ground = survey(problem)
    placement = greedy(ground, legal_offers(ground))
    for job in ground.jobs:
        if job.key in placement:
            continue
        window = sorted({*(s for s in STARTS if s >= job.earliest), *Brute(problem).own(job)})
        window = window if job.fixed_start is None else [job.fixed_start]
        found = blockers(ground, job, placement)
        barred = [s for s in window if any(b.from_step <= s < b.to_step for b in found)]
        assert barred == window
        assert sum(b.starts for b in found) == len(window)
