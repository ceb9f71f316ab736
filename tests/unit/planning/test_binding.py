"""What binds a plan aboard besides capacity and hands: each is kept by the planner, said in words, and seen by the judge."""

from dataclasses import replace

import pytest

from scheduler.planning.judge.check import Rule, judge
from scheduler.planning.problem.facts import Bar, BarCode
from scheduler.planning.problem.values import (
    CrewStretch,
    MinimumStretch,
    NotTogether,
    Occasion,
    Plan,
    PlanJob,
    Problem,
    PumpCapacity,
    QuietStretch,
)
from scheduler.planning.search.stagger import greedy_plan, stagger
from tests.unit.planning.cases import STARTS_AT, crew_by_day, starts_by_day

DAYS = 5


def _job(key: str = "knife:P1:1", pump: str | None = "P1", **changed: object) -> PlanJob:
    job = PlanJob(key=key, pump=pump, work_steps=3, hands=1, earliest=0, ideal=8, due=48, limit=100)
    return replace(job, **changed)  # type: ignore[arg-type]


def _problem(*jobs: PlanJob, **changed: object) -> Problem:
    problem = Problem(
        starts_at=STARTS_AT,
        steps=24 * DAYS,
        pumps=tuple(PumpCapacity(pump=p, litres_per_h=60) for p in ("P1", "P2", "P3")),
        minimum=(MinimumStretch(from_step=0, to_step=24 * DAYS, litres_per_h=0),),
        crew=crew_by_day(DAYS),
        start_steps=starts_by_day(DAYS),
        jobs=jobs,
    )
    return replace(problem, **changed)  # type: ignore[arg-type]


def _moved(plan: Plan, key: str, to: int, *, length: int | None = None) -> Plan:
    return replace(
        plan,
        slots=tuple(
            replace(s, start=to, end=to + (length or s.end - s.start)) if s.key == key else s for s in plan.slots
        ),
    )


def _starts(plan: Plan) -> dict[str, int]:
    return {slot.key: slot.start for slot in plan.slots}


def _rules(problem: Problem, plan: Plan) -> set[Rule]:
    return {fault.rule for fault in judge(problem, plan).faults}


def test_no_job_before_its_parts_are_aboard() -> None:
    """With parts on the third day the job waits for them; earlier it is faulted; never aboard is said."""
    problem = _problem(_job(parts_from=50))
    plan = stagger(problem)
    assert _starts(plan) == {"knife:P1:1": 56}
    assert judge(problem, plan).lawful
    assert Rule.FACTS in _rules(problem, _moved(plan, "knife:P1:1", 32))
    (never,) = stagger(_problem(_job(parts_from=1000))).shortfalls
    assert [one.bar.code for one in never.blockers] == [BarCode.PARTS]


@pytest.mark.parametrize("need", ["port", "sea", "service engineer"])
def test_a_job_lies_where_what_it_needs_is_there(need: str) -> None:
    """A job that needs something waits for it, wholly inside; outside it is faulted; without it that is said."""
    there = (Occasion(need=need, from_step=30, to_step=34), Occasion(need=need, from_step=50, to_step=90))
    problem = _problem(_job(needs=(need,)), occasions=there)
    plan = stagger(problem)
    assert _starts(plan) == {"knife:P1:1": 56}
    assert judge(problem, plan).lawful
    assert Rule.FACTS in _rules(problem, _moved(plan, "knife:P1:1", 32))
    (never,) = stagger(_problem(_job(needs=(need,)))).shortfalls
    assert [one.bar for one in never.blockers] == [Bar(code=BarCode.NEED, label=need)]


def test_a_short_test_keeps_to_its_quiet_hours() -> None:
    """A test that stops pumps goes to an hour agreed for as long; without consent or too short the hour does not count."""
    test = _job("pulldown:P1:1", None, work_steps=1, stop_minutes=20, tested="P1")
    quiet = (
        QuietStretch(from_step=8, to_step=10, most_minutes=20, consent=""),
        QuietStretch(from_step=32, to_step=34, most_minutes=15, consent="hotel, 1 Dec"),
        QuietStretch(from_step=56, to_step=58, most_minutes=20, consent="hotel, 1 Dec"),
    )
    problem = _problem(test, quiet=quiet)
    plan = stagger(problem)
    assert _starts(plan) == {"pulldown:P1:1": 56}
    for start in (8, 13, 32):
        assert Rule.FACTS in _rules(problem, _moved(plan, "pulldown:P1:1", start))
    (never,) = stagger(_problem(test)).shortfalls
    assert [one.bar for one in never.blockers] == [Bar(code=BarCode.NO_QUIET, needed=20)]


def test_no_two_short_tests_at_once_and_none_of_an_open_pump() -> None:
    """A pull-down and a hold test take turns, and the pump under test is shut meanwhile, for planner, plain rule and judge."""
    tests = [
        _job("pulldown:P1:1", None, work_steps=1, stop_minutes=20, tested="P1"),
        _job("hold:plant:1", None, work_steps=1, stop_minutes=10),
    ]
    quiet = tuple(
        QuietStretch(from_step=24 * d + 8, to_step=24 * d + 10, most_minutes=20, consent="hotel") for d in range(DAYS)
    )
    problem = _problem(*tests, _job(), quiet=quiet)
    for plan in (stagger(problem), greedy_plan(problem)):
        assert judge(problem, plan).lawful
        starts = _starts(plan)
        assert len(set(starts.values()) & {starts["pulldown:P1:1"]}) == 1
        assert starts["pulldown:P1:1"] != starts["hold:plant:1"]
        together = _moved(plan, "hold:plant:1", starts["pulldown:P1:1"])
        assert Rule.ONE_TEST in _rules(problem, together)
        assert Rule.ONE_TEST in _rules(problem, _moved(plan, "pulldown:P1:1", starts["knife:P1:1"]))


def test_pumps_of_one_branch_are_not_open_together() -> None:
    """With one valve for two pumps their jobs take turns whatever the capacity; the third pump does not care."""
    jobs = [_job(f"knife:{p}:1", p, hands=0) for p in ("P1", "P2", "P3")]
    problem = _problem(*jobs, not_together=(NotTogether(pumps=("P1", "P2"), most_out=1),))
    for plan in (stagger(problem), greedy_plan(problem)):
        starts = _starts(plan)
        assert judge(problem, plan).lawful
        assert starts["knife:P1:1"] != starts["knife:P2:1"]
        assert Rule.NOT_TOGETHER in _rules(problem, _moved(plan, "knife:P2:1", starts["knife:P1:1"]))


def test_nobody_works_longer_than_a_person_may() -> None:
    """With 8 h a person a job of 12 h goes on the next day however long the day is, and two persons give 16 h a day."""
    crew = crew_by_day(DAYS, hands=2, first=6, last=22)
    problem = _problem(_job(work_steps=12), crew=crew, start_steps=starts_by_day(DAYS, (6,)), person_hours=8)
    (slot,) = stagger(problem).slots
    assert (slot.start, slot.end) == (6, 34)
    assert Rule.RIGHT_END in _rules(problem, _moved(stagger(problem), slot.key, 6, length=12))
    jobs = [_job(f"knife:{p}:1", p, work_steps=8) for p in ("P1", "P2", "P3")]
    three = _problem(*jobs, crew=crew, start_steps=starts_by_day(DAYS, (6, 14)), person_hours=8)
    for plan in (stagger(three), greedy_plan(three)):
        starts = sorted(_starts(plan).values())
        assert judge(three, plan).lawful
        assert len([s for s in starts if s < 24]) == 2
        late = max(plan.slots, key=lambda s: s.start)
        assert Rule.PERSON_HOURS in _rules(three, _moved(plan, late.key, 14))


def test_the_ships_day_may_begin_at_any_step() -> None:
    """Hours of a person are counted from the ship's midnight, wherever the grid begins."""
    crew = (CrewStretch(from_step=0, to_step=24 * DAYS, hands=1),)
    problem = _problem(_job(work_steps=10), crew=crew, start_steps=(4,), person_hours=8, first_midnight=6)
    (slot,) = stagger(problem).slots
    assert (slot.start, slot.end) == (4, 14)
    assert judge(problem, stagger(problem)).lawful


def test_two_jobs_share_one_isolation_and_save_the_set_up() -> None:
    """Two jobs of one pump with dates a week apart go together: the second follows at once and is shorter by the set-up."""
    jobs = (_job(setup_steps=1), _job("seal:P1:1", work_steps=4, setup_steps=2, ideal=80, limit=110))
    problem = _problem(*jobs)
    plan = stagger(problem)
    slots = {slot.key: slot for slot in plan.slots}
    assert judge(problem, plan).lawful
    assert slots["seal:P1:1"].isolation_of == "knife:P1:1"
    assert slots["seal:P1:1"].start == slots["knife:P1:1"].end
    assert slots["seal:P1:1"].end - slots["seal:P1:1"].start == 3
    claims = replace(plan, slots=tuple(replace(s, isolation_of=None) for s in plan.slots))
    assert {Rule.RIGHT_END, Rule.ALLOWED_START} <= _rules(problem, claims)
    assert Rule.ISOLATION in _rules(problem, _moved(plan, "seal:P1:1", slots["seal:P1:1"].start + 1))
    pinned = _problem(replace(jobs[0], fixed_start=slots["knife:P1:1"].start), jobs[1])
    assert Rule.ISOLATION in _rules(pinned, plan)


def test_planning_again_keeps_a_shared_isolation() -> None:
    """With the plan's starts as published ones, both jobs stay where they are, the set-up still saved."""
    jobs = (_job(setup_steps=1), _job("seal:P1:1", work_steps=4, setup_steps=2, ideal=80, limit=110))
    first = stagger(_problem(*jobs))
    starts = _starts(first)
    again = _problem(*(replace(job, published_start=starts[job.key]) for job in jobs))
    assert stagger(again).slots == first.slots


def test_cover_for_one_more_failure_comes_before_the_ideal_date() -> None:
    """A job goes to the day on which the largest other pump could be lost as well, though another day is nearer."""
    minimum = (
        MinimumStretch(from_step=0, to_step=96, litres_per_h=100),
        MinimumStretch(from_step=96, to_step=120, litres_per_h=60),
    )
    problem = _problem(_job(limit=110), minimum=minimum)
    plan = stagger(problem)
    assert _starts(plan) == {"knife:P1:1": 104}
    assert [tier.value for tier in plan.tiers if tier.tier == 3] == [0, 0]


def test_the_crews_week_is_evened_out_where_it_costs_nothing() -> None:
    """Jobs with free days around their dates are spread so that no seven days take more man-days than needed."""
    jobs = [_job(f"round:plant:{n}", None, ideal=8 + 24 * 6, limit=24 * 19, due=24 * 19) for n in range(4)]
    days = 20
    problem = _problem(
        *jobs,
        steps=24 * days,
        crew=crew_by_day(days),
        start_steps=starts_by_day(days, (8,)),
        minimum=(MinimumStretch(from_step=0, to_step=24 * days, litres_per_h=0),),
    )
    plan = stagger(problem)
    values = {tier.tier: tier.value for tier in plan.tiers}
    assert plan.proven
    assert (values[4], values[5]) == (0, 4)
    wider = replace(problem, jobs=tuple(replace(j, ideal=8 + 24 * 3 * n) for n, j in enumerate(problem.jobs)))
    assert {tier.tier: tier.value for tier in stagger(wider).tiers}[5] == 2


def test_a_job_with_no_place_of_its_own_goes_on_with_anothers_isolation() -> None:
    """The service engineer comes at ten, between the start hours: only a pump that is open already can wait for him."""
    visit = (Occasion(need="service engineer", from_step=34, to_step=38),)
    seal = _job("seal:P1:1", work_steps=4, setup_steps=1, ideal=34, needs=("service engineer",))
    alone = stagger(_problem(seal, occasions=visit))
    assert [s.key for s in alone.shortfalls] == ["seal:P1:1"]
    problem = _problem(_job(setup_steps=1, work_steps=2), seal, occasions=visit)
    plan = stagger(problem)
    assert plan.proven
    assert judge(problem, plan).lawful
    assert [(s.key, s.start, s.end, s.isolation_of) for s in plan.slots] == [
        ("knife:P1:1", 32, 34, None),
        ("seal:P1:1", 34, 37, "knife:P1:1"),
    ]
