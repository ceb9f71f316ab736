"""Every job of a plan is explained: in words that agree with the plan, and with what forbids its other starts."""

from dataclasses import replace

import pytest

from scheduler.planning.explain.reasons import ReasonCode, explain_place
from scheduler.planning.explain.reliefs import lateness
from scheduler.planning.problem.values import PlanJob
from scheduler.planning.search.stagger import stagger
from scheduler.wording.plan import reason_words
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
