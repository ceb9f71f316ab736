"""Where jobs are late anyway, starts are left out that no plan as good as the plain rule's has: the plan is as with all of them."""

from dataclasses import replace
from itertools import pairwise
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.planning.judge.check import judge
from scheduler.planning.problem.values import Derated, Plan, PlanJob, Problem
from scheduler.planning.search import stagger as search
from scheduler.planning.search.greedy import LaterStarts, greedy, legal_offers
from scheduler.planning.search.ground import STEPS_A_DAY, Ground, legal_candidates, survey
from scheduler.planning.search.offers import OpenOffers, field_of, least_late
from scheduler.planning.search.tiers import TIERS, days_past, tier_value
from tests.unit.planning.cases import ship

FULL = settings.get_current_profile_name() == "full"
LATE = next(tier for tier in TIERS if tier.chained)


def late(random: Random) -> Problem:
    """A ship of two to four pumps over some weeks, one of them out for a time, whose jobs are late or nearly so."""
    days, pumps = random.choice([20, 30, 40]), random.randint(2, 4)
    problem = ship(pumps, days, spare_pumps=random.choice([1.0, 1.2]), hours=random.choice([(8,), (8, 13)]))
    first, *others = problem.pumps
    out = random.randint(0, 24 * 10)
    down = Derated(from_step=out, to_step=out + random.randint(24, 24 * 12), litres_per_h=0)
    return replace(
        problem,
        jobs=tuple(_nearer(random, job, random.choice([0, 0, 48, 24 * 18])) for job in problem.jobs),
        pumps=(replace(first, derated=(down,)), *others),
        person_hours=random.choice([24, 8]),
    )


def _nearer(random: Random, job: PlanJob, by: int) -> PlanJob:
    steps = random.choice([job.work_steps, 2 * job.work_steps])
    return replace(
        job,
        earliest=max(0, job.earliest - by),
        ideal=job.ideal - by,
        due=job.due - by,
        limit=job.limit - by,
        work_steps=steps,
        setup_steps=random.choice([0, 1, 2]) if job.pump else 0,
        hands_by_step=tuple(random.choice([1, 2]) for _ in range(steps)) if random.random() < 0.2 else (),
        kept_start=random.choice([None] * 9 + [24 * random.randint(0, 9) + 11]),
    )


PROBLEMS = st.integers(0, 2**32).map(lambda seed: late(Random(seed)))


def _with_all_starts(problem: Problem) -> Plan:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(search, "_a_little_late", lambda _: None)
        return search.stagger(problem)


def _late_field(problem: Problem) -> tuple[Ground, OpenOffers] | None:
    """The field that the search of a problem begins with, where the plain rule is late, and places all."""
    ground = survey(problem)
    begun, _ = search._Search.begin(ground, search._highs)
    near = search._a_little_late(ground)
    return None if near is None or not tier_value(ground, LATE, near[0]) else (ground, begun.field)


def _least(ground: Ground) -> dict[str, int]:
    return least_late(ground, {key: own[0].end for key, own in legal_offers(ground).items()})


@pytest.mark.long
@settings(max_examples=300 if FULL else 20)
@given(PROBLEMS)
def test_a_late_plan_is_as_with_all_starts(problem: Problem) -> None:
    """In slots, tiers and proofs, its bounds on trust or not; and it is lawful."""
    plan, other = search.stagger(problem), _with_all_starts(problem)
    assert (plan.slots, plan.tiers, plan.proven) == (other.slots, other.tiers, other.proven)
    assert judge(problem, plan).faults == ()


def test_late_ships_are_searched_among_few_starts_and_planned_as_among_all() -> None:
    """Two ships whose jobs are late: the field is less than half of that with all starts."""
    for seed in (24, 37):
        problem = late(Random(seed))
        found = _late_field(problem)
        assert found is not None
        ground, field = found
        assert 2 * len(field.entries) < len(field_of(ground, legal_offers(ground)).entries)
        assert search.stagger(problem).slots == _with_all_starts(problem).slots


@pytest.mark.long
@settings(max_examples=300 if FULL else 30)
@given(PROBLEMS)
def test_no_place_spares_a_job_more_than_is_reckoned(problem: Problem) -> None:
    """Of all its starts, alone and on another's isolation, none ends earlier than the days past its limit that are named."""
    ground = survey(problem)
    legal = legal_offers(ground)
    if all(legal.values()):
        least, field = _least(ground), field_of(ground, legal)
        for index, one in field.entries:
            job = field.offers[index].job
            assert days_past(job.limit, one.end) >= least[job.key]


@pytest.mark.long
@settings(max_examples=300 if FULL else 30)
@given(PROBLEMS)
def test_starts_go_just_as_far_as_a_plan_as_good_can_use(problem: Problem) -> None:
    """Each job's last start is late by what nothing spares it and all the room that the plain rule leaves, or the next is later."""
    found = _late_field(problem)
    if found is None:
        return
    ground, field = found
    least = _least(ground)
    room = tier_value(ground, LATE, greedy(ground, legal_offers(ground))) - sum(least.values())
    assert room >= 0
    for offer in field.offers:
        most = least[offer.job.key] + room
        ends = [one.end for one in legal_candidates(ground, offer.job)]
        assert len(offer.candidates) == sum(end <= offer.job.limit + most * STEPS_A_DAY for end in ends)


@pytest.mark.long
@settings(max_examples=300 if FULL else 30)
@given(PROBLEMS, st.integers(0, 30))
def test_a_later_start_never_ends_earlier_and_is_found_when_asked_for(problem: Problem, days: int) -> None:
    """Whatever hands each hour of the work takes; starts found one by one are those found at once."""
    ground = survey(problem)
    for job in ground.jobs:
        legal = legal_candidates(ground, job)
        assert all(one.start < other.start and one.end <= other.end for one, other in pairwise(legal))
        assert tuple(LaterStarts(survey(problem), job, days)) == legal_candidates(ground, job, days_late=days)
