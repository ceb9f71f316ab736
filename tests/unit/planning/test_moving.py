"""A slot moved by hand, case by case: what is said of each rule, and two jobs on one isolation."""

from dataclasses import replace
from datetime import timedelta

import pytest

from scheduler.planning.judge.check import judge
from scheduler.planning.move.taken import still_shared
from scheduler.planning.move.trial import Trial, taken_out, try_start
from scheduler.planning.problem.values import (
    Derated,
    MinimumStretch,
    NotTogether,
    Occasion,
    Plan,
    PlanJob,
    Problem,
    PumpCapacity,
    QuietStretch,
    ShortCode,
    Slot,
)
from scheduler.planning.search.stagger import stagger
from scheduler.shiptime import ShipOffset
from scheduler.wording.moves import move_fact_words
from tests.unit.planning.cases import STARTS_AT, crew_by_day, starts_by_day, words_for

DAYS = 6


def job(name: str, pump: str | None, **more: object) -> PlanJob:
    """Three hours with one hand, at any time."""
    told = {"work_steps": 3, "hands": 1, "earliest": 0, "ideal": 8, "due": 130, "limit": 140, **more}
    return PlanJob(key=f"{name}:{pump}:1", pump=pump, **told)


def plant(*jobs: PlanJob, minimum: int = 60_000, **more: object) -> Problem:
    """Three pumps of 36 m\u00b3/h; work from 8 to 17 UTC, which is 9 to 18 aboard; starts at 8 and 13 UTC."""
    told = {
        "pumps": tuple(PumpCapacity(pump=f"P{n}", litres_per_h=36_000) for n in (1, 2, 3)),
        "minimum": (MinimumStretch(from_step=0, to_step=24 * DAYS, litres_per_h=minimum, label="full ship"),),
        "crew": crew_by_day(DAYS),
        **more,
    }
    return Problem(starts_at=STARTS_AT, steps=24 * DAYS, start_steps=starts_by_day(DAYS), jobs=jobs, **told)


def where(**starts: int) -> Plan:
    """A plan with these slots of three hours, by name and pump: a_P1=8."""
    slots = []
    for name, start in starts.items():
        kind, _, pump = name.partition("_")
        own = None if pump == "None" else pump
        slots.append(Slot(key=f"{kind}:{own}:1", pump=own, start=start, end=start + 3, least_margin_litres_per_h=0))
    return Plan(problem_digest="", slots=tuple(slots), shortfalls=())


def tried(problem: Problem, plan: Plan, key: str, start: int) -> Trial:
    return try_start(problem, plan, key, start)


BOTH = where(a_P1=8, b_P2=37)
TWO = (job("a", "P1"), job("b", "P2"))
QUIET = QuietStretch(from_step=0, to_step=30, most_minutes=20, consent="agreed")


@pytest.mark.parametrize(
    ("problem", "plan", "start", "says"),
    [
        (
            plant(*TWO),
            BOTH,
            37,
            "VP2 is open at that time. With both open 36 m\u00b3/h remains on Tue 1 Dec 14:00, 24 below the minimum "
            "(full ship).",
        ),
        (
            plant(
                *TWO,
                pumps=(
                    *(PumpCapacity(pump=p, litres_per_h=36_000) for p in ("P1", "P2")),
                    PumpCapacity(
                        pump="P3", litres_per_h=36_000, derated=(Derated(from_step=56, to_step=70, litres_per_h=0),)
                    ),
                ),
            ),
            BOTH,
            56,
            "With VP1 open 36 m\u00b3/h remains on Wed 2 Dec 09:00, 24 below the minimum (full ship). VP3 is down or "
            "not proved.",
        ),
        (
            plant(*TWO, minimum=0, not_together=(NotTogether(pumps=("P1", "P2"), most_out=1),)),
            BOTH,
            37,
            "Of VP1 and VP2 no more than 1 may be open at once; on Tue 1 Dec 14:00 more would be.",
        ),
        (
            plant(job("a", "P1"), job("b", "P1")),
            where(a_P1=8, b_P1=37),
            37,
            "VP1 is open for its b then, until Tue 1 Dec 17:00.",
        ),
        (plant(*TWO, minimum=0), BOTH, 27, "Nobody is at work on Tue 1 Dec 04:00."),
        (
            plant(job("a", "P1", hands=2), job("b", None)),
            where(a_P1=8, b_None=37),
            37,
            "It takes 3 hands with b on Tue 1 Dec 14:00; 2 are at work.",
        ),
        (
            plant(job("a", "P1", work_steps=9, hands=2), job("b", None, work_steps=1), person_hours=8),
            Plan(
                problem_digest="",
                slots=(
                    Slot(key="a:P1:1", pump="P1", start=56, end=81, least_margin_litres_per_h=0),
                    Slot(key="b:None:1", pump=None, start=40, end=41, least_margin_litres_per_h=0),
                ),
                shortfalls=(),
            ),
            32,
            "With the other work of Tue 1 Dec the hands would work longer than 8 h each.",
        ),
        (plant(job("a", "P1", parts_from=40)), where(a_P1=56), 32, "Its parts come on Tue 1 Dec 17:00 only."),
        (
            plant(job("a", "P1", needs=("port",)), occasions=(Occasion(need="port", from_step=0, to_step=34),)),
            where(a_P1=8),
            32,
            "It needs port, which is not there for the whole of that time.",
        ),
        (
            plant(job("a", None, stop_minutes=15, tested="P1"), quiet=(QUIET,)),
            where(a_None=8),
            32,
            "No quiet hour is agreed then for stopping pumps for 15 min.",
        ),
        (
            plant(job("a", None, stop_minutes=15, tested="P1"), job("b", "P1"), quiet=(replace(QUIET, to_step=99),)),
            where(a_None=8, b_P1=37),
            37,
            "VP1 b is on at that time, and no pump is tested during it.",
        ),
        (
            plant(job("a", "P1", after="b:P2:1", interval_steps=0), job("b", "P2"), minimum=0),
            where(a_P1=56, b_P2=37),
            32,
            "The turn before it, VP2 b, ends on Tue 1 Dec 17:00 only.",
        ),
        (
            plant(job("a", "P1"), job("b", "P2", after="a:P1:1"), minimum=0),
            where(a_P1=8, b_P2=37),
            56,
            "The turn after it, VP2 b, begins on Tue 1 Dec 14:00 already.",
        ),
        (plant(*TWO), BOTH, 140, "It would not be finished by Sun 6 Dec, the last day that is planned."),
        (plant(*TWO), BOTH, -16, "That time is past: Sun 29 Nov 09:00."),
        (
            plant(job("a", "P1", due=9, limit=12)),
            where(a_P1=8),
            56,
            "It would end 47 h past its limit, Mon 30 Nov 13:00, and later than planned. Ask for a postponement first.",
        ),
    ],
)
def test_each_rule_is_told_in_ship_time_and_by_the_names_used_aboard(
    problem: Problem, plan: Plan, start: int, says: str
) -> None:
    """The weightiest sentence first; no step number, pump id or key of another job in it."""
    told = tried(problem, plan, problem.jobs[0].key, start)
    assert not told.holds
    against = [move_fact_words(one, words_for(problem, 60)) for one in told.against]
    assert says in against
    assert against[0] == says or "minimum" in against[0]


def test_after_a_clock_change_a_time_is_that_of_its_own_day() -> None:
    """As pages and calendar show it: an hour later from the change on."""
    words = words_for(plant(*TWO), ShipOffset(60, [(STARTS_AT + timedelta(hours=48), 120)]))
    assert words.when(47) == "Wed 2 Dec 00:00"
    assert words.when(48) == "Wed 2 Dec 02:00"


def test_what_to_mind_is_told_where_it_holds() -> None:
    """Before its window, without cover for one more failure, and the next turn that counts from its end."""
    problem = plant(
        job("a", "P1", earliest=60),
        job("c", "P1", due=135, ideal=135, after="a:P1:1", interval_steps=60),
        minimum=40_000,
    )
    told = tried(problem, where(a_P1=61, c_P1=128), "a:P1:1", 32)
    assert told.holds
    assert tuple(move_fact_words(one, words_for(problem, 60)) for one in told.cautions) == (
        "It would start 28 h before its window opens, Wed 2 Dec 13:00.",
        "The next turn, VP1 c, counts from its end: it falls due about 29 h earlier.",
        "For 3 h of it there is no cover for one more failure: if one more pump trips, the plant is short, "
        "first on Tue 1 Dec 09:00.",
    )
    assert told.least_margin_litres_per_h == 32_000


def pair() -> tuple[Problem, Plan]:
    """Knives and seal of P1 on one isolation, which saves an hour of setting up; and a job of P2."""
    told = {"work_steps": 3, "setup_steps": 1, "ideal": 32, "due": 60, "limit": 90}
    problem = plant(job("knives", "P1", **told), job("seal", "P1", **told), job("b", "P2", ideal=80, earliest=79))
    plan = stagger(problem)
    assert [slot.isolation_of for slot in plan.slots if slot.isolation_of] == ["knives:P1:1"]
    return problem, plan


def test_two_jobs_on_one_isolation_move_together_and_back() -> None:
    """Whichever is asked for, the start is the first one's; the second goes on where that ends, as short as before."""
    problem, plan = pair()
    was = {slot.key: (slot.start, slot.end) for slot in plan.slots}
    for key, other in (("knives:P1:1", "seal:P1:1"), ("seal:P1:1", "knives:P1:1")):
        told = tried(problem, plan, key, 57)
        assert told.holds, told.against
        assert told.with_keys == (other,)
        now = {slot.key: (slot.start, slot.end) for slot in told.plan.slots}
        assert (now["knives:P1:1"], now["seal:P1:1"]) == ((57, 60), (60, 62))
        assert (told.start, told.end) == (57, 62)
        assert judge(told.problem, told.plan).lawful
        back = tried(told.problem, told.plan, key, was["knives:P1:1"][0])
        assert {slot.key: (slot.start, slot.end) for slot in back.plan.slots} == was
    late = tried(problem, plan, "seal:P1:1", 104)
    assert [one.key for one in late.against] == ["knives:P1:1", "seal:P1:1"]
    _, without = taken_out(problem, plan, "seal:P1:1")
    assert [slot.key for slot in without.slots] == ["b:P2:1"]
    assert [(short.key, short.code) for short in without.shortfalls] == [
        ("knives:P1:1", ShortCode.NOT_PLANNED),
        ("seal:P1:1", ShortCode.NOT_PLANNED),
    ]


def test_a_pinned_pair_keeps_its_isolation_when_planned_again() -> None:
    """The builder makes no pair of pinned jobs; named again, it is lawful, and the judge knows one that does not meet."""
    problem, plan = pair()
    starts = {slot.key: slot.start for slot in plan.slots}
    pinned = replace(
        problem,
        jobs=tuple(
            replace(
                one, fixed_start=starts[one.key], **({"work_steps": 2, "setup_steps": 0} if "seal" in one.key else {})
            )
            for one in problem.jobs
        ),
    )
    again = stagger(pinned)
    assert not any(slot.isolation_of for slot in again.slots)
    named = still_shared(pinned, again, {"seal:P1:1": "knives:P1:1", "b:P2:1": "seal:P1:1"})
    assert [(slot.key, slot.isolation_of) for slot in named.slots if slot.isolation_of] == [
        ("seal:P1:1", "knives:P1:1")
    ]
    assert judge(pinned, named).lawful
    one = replace(pinned, jobs=tuple(replace(j, fixed_start=None) if "knives" in j.key else j for j in pinned.jobs))
    assert "ISOLATION" in [fault.rule.name for fault in judge(one, named).faults]


def test_a_slot_where_no_plan_would_put_it_today_stays_where_it_is() -> None:
    """Its window has moved, or the hours at which jobs may start: it is pinned there, and moving another does not fault it."""
    problem = plant(job("a", "P1"), job("b", "P2", earliest=100), minimum=0)
    told = tried(problem, where(a_P1=8, b_P2=38), "a:P1:1", 32)
    assert told.holds, told.against
    assert judge(told.problem, told.plan).lawful
    assert [one.fixed_start for one in told.problem.jobs] == [None, 38]
    assert sorted((slot.key, slot.start) for slot in told.plan.slots) == [("a:P1:1", 32), ("b:P2:1", 38)]


def test_a_fault_that_stood_before_is_not_held_against_another_job() -> None:
    """With a pump down since, one slot breaks the minimum already; another job is moved all the same, but not beside it."""
    pumps = (
        PumpCapacity(pump="P1", litres_per_h=36_000),
        PumpCapacity(pump="P2", litres_per_h=36_000),
        PumpCapacity(pump="P3", litres_per_h=36_000, derated=(Derated(from_step=0, to_step=144, litres_per_h=0),)),
    )
    problem = plant(job("a", None), job("b", "P2"), pumps=pumps)
    plan = where(a_None=8, b_P2=37)
    told = tried(problem, plan, "a:None:1", 56)
    assert told.holds, told.against
    assert [fault.key for fault in judge(told.problem, told.plan).faults] == ["b:P2:1"]
    assert not tried(problem, plan, "b:P2:1", 56).holds
