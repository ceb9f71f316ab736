"""Every job of a plan is explained: in words that agree with the plan, and with what forbids its other starts."""

from dataclasses import replace

import pytest

from scheduler.planning.explain.reasons import ReasonCode, explain_place
from scheduler.planning.explain.reliefs import lateness
from scheduler.planning.problem.codec import problem_from_text
from scheduler.planning.problem.facts import BarCode, merged
from scheduler.planning.problem.values import MinimumStretch, Plan, PlanJob, Problem, Slot
from scheduler.planning.search.blockers import companions
from scheduler.planning.search.ground import candidate_at, may_be_open, survey
from scheduler.planning.search.stagger import stagger
from scheduler.wording.reasons import reason_words
from tests.frozen.kept import load
from tests.unit.planning.cases import ship, words_for

LATE = (ReasonCode.LATE_NO_ROOM, ReasonCode.LATE_BEST, ReasonCode.LATE_NOT_PROVED)


@pytest.fixture(scope="module")
def planned():
    problem = ship(3, 90)
    return problem, stagger(problem)


def test_every_job_has_a_reason_and_a_free_start_is_never_called_forbidden(planned):
    """The job's own start lies in no forbidden stretch; whoever is in time is told so."""
    problem, plan = planned
    for slot in plan.slots:
        told = explain_place(problem, plan, slot.key)
        assert told.reasons
        assert told.days_late == 0 or told.reasons[0].code in LATE
        for one in told.forbidden:
            length = one.to_step - one.from_step
            assert not (one.from_step <= slot.start < one.to_step and one.starts == length)


def test_a_pinned_job_is_said_to_be_pinned(planned):
    """And nothing else is made up for it."""
    problem, plan = planned
    slot = plan.slots[0]
    jobs = tuple(replace(job, fixed_start=slot.start) if job.key == slot.key else job for job in problem.jobs)
    pinned = replace(problem, jobs=jobs)
    told = explain_place(pinned, stagger(pinned), slot.key)
    assert [one.code for one in told.reasons] == [ReasonCode.IN_TIME, ReasonCode.PINNED]


def test_a_job_without_a_place_is_told_what_lacks():
    """With a minimum above what is left by any pump, every start lacks capacity."""
    problem = ship(2, 60)
    most = sum(pump.litres_per_h for pump in problem.pumps)
    tight = replace(problem, minimum=tuple(replace(one, litres_per_h=most) for one in problem.minimum))
    plan = stagger(tight)
    key = next(short.key for short in plan.shortfalls if short.key and short.pump)
    told = explain_place(tight, plan, key)
    assert told.days_late is None
    assert told.reasons[0].code is ReasonCode.NO_PLACE
    assert any(one.lacking_litres_per_h for one in told.forbidden)


def test_an_unknown_job_is_a_key_error(planned):
    """The caller says it in words."""
    with pytest.raises(KeyError):
        explain_place(*planned, "nothing:here:1")


def test_a_turn_that_the_one_before_it_makes_late_is_said_to_be():
    """The next turn waits for parts. Free, the first one waits a day so that its successor is in time; pinned a day earlier, it
    makes the next late by the limit that it sets, though not by its own."""
    base = ship(2, 30)
    first = PlanJob(key="round:plant:1", pump=None, work_steps=1, hands=1, earliest=0, ideal=8, due=40, limit=64)
    second = replace(
        first, key="round:plant:2", ideal=200, due=208, limit=232, after=first.key, interval_steps=168, parts_from=222
    )
    problem = replace(base, jobs=(first, second))
    plan = stagger(problem)
    assert {slot.key: slot.end for slot in plan.slots} == {"round:plant:1": 33, "round:plant:2": 225}
    early = replace(problem, jobs=(replace(first, fixed_start=8), second))
    told = explain_place(early, stagger(early), "round:plant:2")
    assert told.days_late == 1
    assert reason_words(told.reasons[0], words_for(early)) == (
        "It ends 1 day past its limit on Tue 8 Dec, which the turn before it sets: every earlier place is taken or forbidden."
    )
    assert lateness(early, stagger(early)) == {"round:plant:2": 1}


@pytest.fixture(
    scope="module", params=["Demo Plover, 60 days", "Demo Avocet, 60 days", "planned in the world 6", "rough ship 301"]
)
def real(request) -> tuple[Problem, Plan]:
    """A frozen problem, and its plan."""
    problem = problem_from_text(load("problems.json.gz")[request.param])
    return problem, stagger(problem)


def test_a_job_on_its_best_day_has_one_reason(real) -> None:
    """And it is said in one line; every other job has more to say, and no job more than eight sentences."""
    problem, plan = real
    jobs = {job.key: job for job in problem.jobs}
    for slot in plan.slots:
        found = explain_place(problem, plan, slot.key)
        near = abs(slot.start - jobs[slot.key].ideal) < 24 and jobs[slot.key].fixed_start is None
        assert found.best == (near and found.days_late == 0)
        assert (len(found.reasons) == 1) == found.best
        assert len(found.reasons) <= 8
        assert len(merged(found.forbidden)) == len({one.bar for one in found.forbidden})


def test_every_blocker_named_is_true(real) -> None:
    """A job that is named has a slot, in the pump it is named with, and is no companion; with the slots named gone, and nothing
    else, less lacks or nothing does: so a start that capacity alone forbids names nobody."""
    problem, plan = real
    ground = survey(problem)
    slots = {slot.key: slot for slot in plan.slots}
    for job in problem.jobs:
        for one in explain_place(problem, plan, job.key).forbidden:
            for key in one.bar.keys:
                assert key in slots
                assert key not in companions(plan, job.key)
            for pump, key in zip(one.bar.pumps, one.bar.keys, strict=False):
                assert pump in (slots[key].pump, job.pump)
            candidate = candidate_at(ground, job, one.from_step)
            if one.bar.code is BarCode.MINIMUM and candidate is not None:
                assert bool(one.bar.keys) == may_be_open(ground, job.pump, candidate)


def test_jobs_on_one_isolation_are_not_in_each_others_way_and_save_only_what_there_is() -> None:
    """Two jobs of one pump, drawn together; the one that goes on says so, and that it saves setting up where that takes time."""
    for setup, saves in ((1, True), (0, False)):
        told = {"work_steps": 3, "hands": 1, "earliest": 0, "due": 400, "limit": 500, "setup_steps": setup}
        jobs = (
            PlanJob(key="knives:P1:1", pump="P1", ideal=104, **told),
            PlanJob(key="seal:P1:1", pump="P1", ideal=200, **told),
        )
        base = ship(2, 30)
        problem = replace(base, jobs=jobs)
        first = Slot(key="knives:P1:1", pump="P1", start=104, end=107, least_margin_litres_per_h=0)
        second = replace(first, key="seal:P1:1", start=107, end=110 - setup, isolation_of="knives:P1:1")
        plan = Plan(problem_digest="", slots=(first, second), shortfalls=())
        found = explain_place(problem, plan, "seal:P1:1")
        assert not [one for one in found.forbidden if "knives:P1:1" in one.bar.keys]
        (shared,) = [one for one in found.reasons if one.code is ReasonCode.GOES_ON]
        said = reason_words(shared, words_for(problem))
        assert (
            said == f"It goes on with the isolation of VP1 knives{', which saves setting up twice' if saves else ''}."
        )


def test_capacity_alone_is_no_other_jobs_fault() -> None:
    """Both pumps are needed by day: P1's job is barred by the minimum, though P2 is open at some of those hours; by night, when one is
    needed, it is P2's job that bars it."""
    base = ship(2, 10)
    job = PlanJob(key="knives:P1:1", pump="P1", work_steps=3, hands=1, earliest=0, ideal=8, due=400, limit=500)
    other = Slot(key="seal:P2:1", pump="P2", start=8, end=11, least_margin_litres_per_h=0)
    jobs = (job, replace(job, key="seal:P2:1", pump="P2"))
    plan = Plan(problem_digest="", slots=(other,), shortfalls=())
    for litres, named in ((120_000, ()), (60_000, ("seal:P2:1",))):
        minimum = (MinimumStretch(from_step=0, to_step=240, litres_per_h=litres),)
        found = explain_place(replace(base, jobs=jobs, minimum=minimum), plan, "knives:P1:1")
        first = found.forbidden[0]
        assert (first.bar.code, first.from_step, first.bar.keys) == (BarCode.MINIMUM, 8, named)


def test_a_start_that_capacity_alone_forbids_at_one_hour_is_nobodys_fault_at_the_others() -> None:
    """From 8 to 9 both pumps are needed; from 9 on P2 is open, and more lacks then. So with the number of pumps that must be there."""
    base = ship(2, 10)
    job = PlanJob(key="knives:P1:1", pump="P1", work_steps=3, hands=1, earliest=0, ideal=8, due=400, limit=500)
    other = Slot(key="seal:P2:1", pump="P2", start=9, end=12, least_margin_litres_per_h=0)
    plan = Plan(problem_digest="", slots=(other,), shortfalls=())
    jobs = (job, replace(job, key="seal:P2:1", pump="P2"))

    def barred(code: BarCode, *stretches: tuple[int, int, int, int]) -> tuple[str, ...]:
        minimum = tuple(MinimumStretch(from_step=a, to_step=b, litres_per_h=n, pumps=m) for a, b, n, m in stretches)
        first = explain_place(replace(base, jobs=jobs, minimum=minimum), plan, "knives:P1:1").forbidden[0]
        assert (first.bar.code, first.from_step) == (code, 8)
        return first.bar.keys

    assert barred(BarCode.MINIMUM, (0, 9, 90_000, 0), (9, 240, 60_000, 0)) == ()
    assert barred(BarCode.MINIMUM, (0, 9, 60_000, 0), (9, 240, 60_000, 0)) == ("seal:P2:1",)
    assert barred(BarCode.NUMBER, (0, 10, 0, 1), (10, 240, 0, 2)) == ()
    assert barred(BarCode.NUMBER, (0, 240, 0, 1)) == ("seal:P2:1",)


@pytest.mark.parametrize(("ideal", "code"), [(9, ReasonCode.BEST_DAY), (8, ReasonCode.BEST_DAY_AWAY)])
def test_a_day_from_the_best_hour_is_another_day(ideal: int, code: ReasonCode) -> None:
    """Within 23 hours of it a job stands on its best day, a whole day from it not."""
    job = PlanJob(key="knives:P1:1", pump="P1", work_steps=3, hands=1, earliest=0, ideal=ideal, due=400, limit=500)
    slot = Slot(key="knives:P1:1", pump="P1", start=32, end=35, least_margin_litres_per_h=0)
    problem = replace(ship(2, 10), jobs=(job,))
    found = explain_place(problem, Plan(problem_digest="", slots=(slot,), shortfalls=()), "knives:P1:1")
    assert code in [one.code for one in found.reasons]
