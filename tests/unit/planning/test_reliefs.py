"""What would help a late job: each relief is a choice somebody aboard can make, and was tried."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from scheduler.planning.explain.reasons import explain_place
from scheduler.planning.explain.reliefs import Relief, ReliefKind, lateness, reliefs
from scheduler.planning.judge.check import judge
from scheduler.planning.problem.facts import Bar, BarCode
from scheduler.planning.problem.values import (
    ClosedStretch,
    CrewStretch,
    Derated,
    MinimumStretch,
    PlanJob,
    Problem,
    PumpCapacity,
)
from scheduler.planning.search.stagger import stagger
from scheduler.wording.reasons import relief_words
from tests.property.test_plan_laws import problems
from tests.unit.planning.cases import STARTS_AT, crew_by_day, starts_by_day, words_for

DAYS = 8


def _job(key: str = "overhaul:P1:1", pump: str | None = "P1", **changed: object) -> PlanJob:
    job = PlanJob(key=key, pump=pump, work_steps=4, hands=1, earliest=0, ideal=8, due=30, limit=48)
    return replace(job, **changed)  # type: ignore[arg-type]


def _problem(*jobs: PlanJob, **changed: object) -> Problem:
    problem = Problem(
        starts_at=STARTS_AT,
        steps=24 * DAYS,
        pumps=(PumpCapacity(pump="P1", litres_per_h=60_000), PumpCapacity(pump="P2", litres_per_h=60_000)),
        minimum=(MinimumStretch(from_step=0, to_step=24 * DAYS, litres_per_h=50_000),),
        crew=crew_by_day(DAYS, hands=1),
        start_steps=starts_by_day(DAYS, (8,)),
        jobs=jobs,
    )
    return replace(problem, **changed)  # type: ignore[arg-type]


def _found(problem: Problem, key: str = "overhaul:P1:1") -> dict[ReliefKind, Relief]:
    plan = stagger(problem)
    return {relief.kind: relief for relief in reliefs(problem, plan, key, solve=stagger)}


def _said(problem: Problem, relief: Relief) -> tuple[str, str]:
    return relief_words(relief.choice, words_for(problem))


def test_a_pump_down_too_long_may_be_returned_earlier() -> None:
    """P2 is down for five days: back by the morning of the second day, and not a minute sooner, puts P1's job in time."""
    down = PumpCapacity(pump="P2", litres_per_h=60_000, derated=(Derated(from_step=0, to_step=120, litres_per_h=0),))
    problem = _problem(_job(), pumps=(PumpCapacity(pump="P1", litres_per_h=60_000), down))
    found = _found(problem)
    assert _said(problem, found[ReliefKind.RETURN]) == (
        "return VP2 by Tue 1 Dec 08:00",
        "88 h earlier than it is expected back",
    )
    assert found[ReliefKind.RETURN].plan.slots[0].start == 32
    assert ReliefKind.HANDS not in found


def test_a_lower_minimum_is_as_low_as_needed_and_no_lower() -> None:
    """With 62 of 60 m3/h asked for, the job needs a minimum of 60 for its own four hours."""
    tight = (
        MinimumStretch(from_step=0, to_step=96, litres_per_h=62_000, label="full ship"),
        MinimumStretch(from_step=96, to_step=24 * DAYS, litres_per_h=50_000),
    )
    problem = _problem(_job(), minimum=tight)
    relief = _found(problem)[ReliefKind.MINIMUM]
    assert _said(problem, relief) == (
        "agree on a minimum of 60 m³/h for Mon 30 Nov 08:00 to 12:00",
        "up to 2 m³/h less for 4 h",
    )
    assert judge(relief.problem, relief.plan).lawful
    assert judge(relief.problem, relief.plan).least_margin_litres_per_h == 0


def test_a_block_may_end_earlier() -> None:
    """The full ship ends on the fourth day; ended on the second morning, the job is in time."""
    blocks = (
        MinimumStretch(from_step=0, to_step=96, litres_per_h=100_000, label="full ship"),
        MinimumStretch(from_step=96, to_step=24 * DAYS, litres_per_h=50_000),
    )
    problem = _problem(_job(), minimum=blocks)
    relief = _found(problem)[ReliefKind.BLOCK]
    assert _said(problem, relief) == ('end "full ship" at Tue 1 Dec 08:00', "64 h less of it")


def test_one_more_hand_on_a_day() -> None:
    """Two jobs for one person on two days that must both be done by then, one of them for two: one more hand does it."""
    rival = _job("seal:P2:1", None, work_steps=8, limit=20, ideal=8)
    problem = _problem(_job(work_steps=8, limit=20), rival)
    plan = stagger(problem)
    (late,) = lateness(problem, plan)
    relief = next(r for r in reliefs(problem, plan, late, solve=stagger) if r.kind is ReliefKind.HANDS)
    assert _said(problem, relief) == ("1 more hand on Mon 30 Nov", "up to 9 man-hours")
    pair = _problem(_job(hands=2))
    assert _said(pair, _found(pair)[ReliefKind.HANDS])[0] == "1 more hand on Mon 30 Nov"


def test_a_postponement_is_always_a_choice_and_exactly_as_long_as_the_delay() -> None:
    """Late by two days: asked for two days, then in time."""
    crew = tuple(CrewStretch(from_step=24 * d + 8, to_step=24 * d + 17, hands=1) for d in range(3, DAYS))
    problem = _problem(_job(limit=40), crew=crew)
    plan = stagger(problem)
    assert lateness(problem, plan) == {"overhaul:P1:1": 2}
    relief = _found(problem)[ReliefKind.POSTPONE]
    assert relief.days == 2
    assert _said(problem, relief) == (
        "ask for a postponement of VP1 overhaul to Thu 3 Dec 16:00",
        "2 days past the limit",
    )
    assert lateness(relief.problem, relief.plan) == {}


def _with_a_stretch_without_work(last_step: int, label: str = "port arrival") -> Problem:
    """A port arrival from the first morning to `last_step`; otherwise one hand from 8 to 17 each day."""
    days = crew_by_day(DAYS, hands=1)
    crew = tuple(replace(c, from_step=max(c.from_step, last_step)) for c in days if c.to_step > last_step)
    closed = tuple(
        ClosedStretch(from_step=c.from_step, to_step=min(c.to_step, last_step), hands=1, label=label)
        for c in days
        if c.from_step < last_step
    )
    return _problem(_job(limit=40), crew=crew, closed=closed)


def test_work_in_a_part_of_a_stretch_without_work() -> None:
    """Nobody works during the arrival; four hours of it, and no more, put the job in time; the plan says what closes it."""
    problem = _with_a_stretch_without_work(60)
    relief = _found(problem)[ReliefKind.WORK]
    assert _said(problem, relief) == (
        "work on Mon 30 Nov 08:00 to 12:00 although port arrival",
        "4 h of work in it",
    )
    assert [(c.from_step, c.to_step) for c in relief.problem.crew if c.to_step <= 60] == [(8, 12)]
    assert [(c.from_step, c.to_step) for c in relief.problem.closed] == [(12, 17), (32, 41), (56, 60)]
    assert judge(relief.problem, relief.plan).lawful
    told = explain_place(problem, stagger(problem), "overhaul:P1:1")
    assert Bar(code=BarCode.NOBODY, label="port arrival") in {one.bar for one in told.forbidden}


def test_work_is_not_proposed_where_the_plant_would_not_bear_it() -> None:
    """With P2 down until the third day the minimum forbids the first two, whoever works."""
    down = PumpCapacity(pump="P2", litres_per_h=60_000, derated=(Derated(from_step=0, to_step=55, litres_per_h=0),))
    problem = replace(_with_a_stretch_without_work(60), pumps=(PumpCapacity(pump="P1", litres_per_h=60_000), down))
    assert ReliefKind.WORK not in _found(problem)


def test_ship_time_is_used_in_the_words_and_a_job_in_time_needs_nothing() -> None:
    """Words in the ship's time; no relief for a job that is in time or not known."""
    down = PumpCapacity(pump="P2", litres_per_h=60_000, derated=(Derated(from_step=0, to_step=120, litres_per_h=0),))
    problem = _problem(_job(), pumps=(PumpCapacity(pump="P1", litres_per_h=60_000), down))
    plan = stagger(problem)
    found = reliefs(problem, plan, "overhaul:P1:1", solve=stagger)
    assert "return VP2 by Tue 1 Dec 10:00" in [relief_words(one.choice, words_for(problem, 120))[0] for one in found]
    assert reliefs(_problem(_job()), stagger(_problem(_job())), "overhaul:P1:1", solve=stagger) == ()
    assert reliefs(problem, plan, "nothing:of:1", solve=stagger) == ()


def test_of_two_jobs_that_cannot_both_be_done_nothing_is_proposed_that_only_moves_the_trouble() -> None:
    """A proposal after which another job is late instead is no relief."""
    jobs = [_job(f"knife:{p}:1", p, work_steps=8, limit=20) for p in ("P1", "P2")]
    problem = _problem(*jobs, crew=crew_by_day(DAYS, hands=2))
    plan = stagger(problem)
    (late,) = lateness(problem, plan)
    for relief in reliefs(problem, plan, late, solve=stagger):
        assert set(lateness(relief.problem, relief.plan)) == set()


def _tier_1(problem: Problem) -> tuple[int, ...]:
    return tuple(tier.value for tier in stagger(problem).tiers if tier.tier == 1)


@given(problems(), st.data())
def test_a_relief_removes_exactly_that_lateness(problem: Problem, data: st.DataObject) -> None:
    """The job is in time with it, nobody else is worse off, the plan is lawful; without it the lateness is as it was."""
    plan = stagger(problem)
    late = lateness(problem, plan)
    if not late:
        return
    key = data.draw(st.sampled_from(sorted(late)))
    unplaced, days = _tier_1(problem)
    for relief in reliefs(problem, plan, key, solve=stagger):
        assert judge(relief.problem, relief.plan).lawful
        after = lateness(relief.problem, relief.plan)
        assert key not in after
        assert set(after) < set(late)
        gone = (1, 0) if late[key] is None else (0, late[key])
        assert _tier_1(relief.problem) <= (unplaced - gone[0], days if gone[0] else days - (gone[1] or 0))
        assert lateness(problem, stagger(problem)) == late
