"""For each rule of the judge one violation made by hand, and the judge names that rule and no other."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from scheduler.planning.judge.check import Rule, judge, margin_series
from scheduler.planning.problem.values import (
    MinimumStretch,
    NotTogether,
    Occasion,
    Plan,
    PlanJob,
    Problem,
    PumpCapacity,
    QuietStretch,
    Slot,
)
from scheduler.planning.search.stagger import greedy_plan, stagger
from scheduler.wording.plan import fault_words
from tests.unit.planning.cases import STARTS_AT, crew_by_day, starts_by_day, words_for

DAYS = 6


def _job(key: str, pump: str | None, day: int, **changed: object) -> PlanJob:
    job = PlanJob(
        key=key, pump=pump, work_steps=3, hands=1, earliest=0, ideal=24 * day + 8, due=24 * DAYS, limit=24 * DAYS
    )
    return replace(job, **changed)  # type: ignore[arg-type]


def _ship() -> Problem:
    """Five pumps, two hands from 7 to 23, 8 h a person, one job for each thing that can bind, each alone on its day."""
    return Problem(
        starts_at=STARTS_AT,
        steps=24 * DAYS,
        pumps=tuple(PumpCapacity(pump=f"P{n}", litres_per_h=60) for n in range(1, 6)),
        minimum=(
            MinimumStretch(from_step=0, to_step=24 * 5, litres_per_h=170),
            MinimumStretch(from_step=24 * 5, to_step=24 * DAYS, litres_per_h=200, label="full ship"),
            MinimumStretch(from_step=24 * 2, to_step=24 * 4, litres_per_h=0, pumps=4),
        ),
        crew=crew_by_day(DAYS, hands=2, first=7, last=23),
        start_steps=starts_by_day(DAYS, (8, 13, 16)),
        jobs=(
            _job("knife:P1:1", "P1", 0, setup_steps=1),
            _job("seal:P1:1", "P1", 0, setup_steps=1),
            _job("knife:P2:1", "P2", 1, earliest=24),
            _job("knife:P2:2", "P2", 2, after="knife:P2:1"),
            _job("knife:P3:1", "P3", 3, parts_from=60, hands=2),
            _job("knife:P4:1", "P4", 4, needs=("port",), work_steps=8),
            _job("pulldown:P5:1", None, 4, work_steps=1, stop_minutes=20, tested="P5"),
            _job("hold:plant:1", None, 5, work_steps=1, hands=0, stop_minutes=20),
            _job("knife:P5:1", "P5", 5, fixed_start=24 * 5 + 13),
            _job("round:plant:1", None, 2, work_steps=8),
            _job("standby:plant:1", None, 0, work_steps=1, all_closed=True),
        ),
        person_hours=8,
        occasions=(Occasion(need="port", from_step=24 * 4, to_step=24 * 6),),
        quiet=(QuietStretch(from_step=24 * 4, to_step=24 * 6, most_minutes=20, consent="hotel, 1 Dec"),),
        not_together=(NotTogether(pumps=("P2", "P4"), most_out=1),),
    )


PLACES: dict[str, tuple[int, int, str | None]] = {
    "knife:P1:1": (8, 11, None),
    "seal:P1:1": (11, 13, "knife:P1:1"),
    "knife:P2:1": (32, 35, None),
    "knife:P2:2": (56, 59, None),
    "knife:P3:1": (80, 83, None),
    "knife:P4:1": (104, 112, None),
    "pulldown:P5:1": (104, 105, None),
    "hold:plant:1": (128, 129, None),
    "knife:P5:1": (133, 136, None),
    "round:plant:1": (61, 69, None),
    "standby:plant:1": (85, 86, None),
}


def _with_margins(problem: Problem, plan: Plan) -> Plan:
    """The plan with each slot's margin as it is, so that only what was spoiled is wrong."""
    runs = margin_series(problem, plan)

    def least(slot: Slot) -> int:
        inside = [r.available - r.minimum for r in runs if r.from_step < slot.end and slot.start < r.to_step]
        return min(inside, default=slot.least_margin_litres_per_h)

    return replace(plan, slots=tuple(replace(s, least_margin_litres_per_h=least(s)) for s in plan.slots))


def _plan(problem: Problem, places: dict[str, tuple[int, int, str | None]]) -> Plan:
    pumps = {job.key: job.pump for job in problem.jobs}
    slots = tuple(
        Slot(key=key, pump=pumps.get(key), start=a, end=b, isolation_of=on, least_margin_litres_per_h=0)
        for key, (a, b, on) in places.items()
    )
    return _with_margins(problem, Plan(problem_digest="", slots=slots, shortfalls=()))


def _at(key: str, start: int, end: int, on: str | None = None) -> Callable[[Problem], Plan]:
    return lambda problem: _plan(problem, {**PLACES, key: (start, end, on)})


def _other_pump(problem: Problem) -> Plan:
    plan = _plan(problem, PLACES)
    slots = tuple(replace(s, pump="P1") if s.key == "knife:P2:1" else s for s in plan.slots)
    return _with_margins(problem, replace(plan, slots=slots))


def _boast(problem: Problem) -> Plan:
    plan = _plan(problem, PLACES)
    return replace(plan, slots=(replace(plan.slots[0], least_margin_litres_per_h=999), *plan.slots[1:]))


VIOLATIONS: dict[Rule, Callable[[Problem], Plan]] = {
    Rule.UNKNOWN_JOB: lambda p: _plan(p, {**PLACES, "knife:P9:1": (32, 35, None)}),
    Rule.ONE_ANSWER: lambda p: _plan(p, {k: v for k, v in PLACES.items() if k != "round:plant:1"}),
    Rule.RIGHT_PUMP: _other_pump,
    Rule.RIGHT_END: _at("knife:P2:1", 32, 34),
    Rule.RIGHT_MARGIN: _boast,
    Rule.ON_THE_GRID: _at("round:plant:1", 24 * DAYS + 8, 24 * DAYS + 16),
    Rule.PINNED: _at("knife:P5:1", 136, 139),
    Rule.ALLOWED_START: _at("knife:P2:1", 33, 36),
    Rule.NOT_EARLY: _at("knife:P2:1", 16, 19),
    Rule.IN_ORDER: lambda p: _plan(p, {**PLACES, "knife:P2:1": (88, 91, None)}),
    Rule.ONE_JOB_A_PUMP: _at("seal:P1:1", 8, 11),
    Rule.HANDS: _at("round:plant:1", 80, 88),
    Rule.PERSON_HOURS: _at("round:plant:1", 109, 117),
    Rule.ISOLATION: _at("seal:P1:1", 13, 15, "knife:P1:1"),
    Rule.FACTS: _at("knife:P4:1", 37, 45),
    Rule.ONE_TEST: _at("hold:plant:1", 104, 105),
    Rule.NOT_TOGETHER: _at("knife:P2:2", 109, 112),
    Rule.MINIMUM: _at("knife:P2:2", 133, 136),
    Rule.ALL_CLOSED: _at("standby:plant:1", 32, 33),
    Rule.NUMBER: lambda p: _plan(p, {**PLACES, "knife:P1:1": (56, 59, None), "seal:P1:1": (59, 61, "knife:P1:1")}),
}


@pytest.mark.parametrize("rule", list(Rule), ids=[rule.name for rule in Rule])
def test_each_rule_has_its_violation_and_no_other_is_named(rule: Rule) -> None:
    """The plan without it is lawful; with it exactly that rule is broken, in a sentence that names a job or a pump."""
    problem = _ship()
    assert judge(problem, _plan(problem, PLACES)).faults == ()
    found = judge(problem, VIOLATIONS[rule](problem)).faults
    assert {fault.rule for fault in found} == {rule}
    assert all(len(fault_words(fault, words_for(problem))) > 20 for fault in found)


@pytest.mark.parametrize("make", [stagger, greedy_plan])
def test_the_planner_keeps_every_rule_of_that_ship(make: Callable[[Problem], Plan]) -> None:
    """Its own plans of the same ship have every job in a slot and no fault."""
    problem = _ship()
    plan = make(problem)
    assert judge(problem, plan).faults == ()
    assert len(plan.slots) == len(problem.jobs)


def _changed(problem: Problem, key: str, **changed: object) -> Problem:
    jobs = tuple(replace(job, **changed) if job.key == key else job for job in problem.jobs)  # type: ignore[arg-type]
    return replace(problem, jobs=jobs)


def _rules(problem: Problem, places: dict[str, tuple[int, int, str | None]]) -> set[Rule]:
    return {fault.rule for fault in judge(problem, _plan(problem, places)).faults}


@pytest.mark.parametrize(
    ("changed", "rules"),
    [
        ({"earliest": 32}, set()),
        ({"earliest": 33}, {Rule.NOT_EARLY}),
        ({"earliest": 32 + 24, "published_start": 32}, set()),
        ({"earliest": 32 + 25, "published_start": 32}, {Rule.NOT_EARLY}),
        ({"earliest": 33, "published_start": 8}, {Rule.NOT_EARLY}),
        ({"earliest": 500, "kept_start": 32}, set()),
    ],
)
def test_a_slot_an_hour_before_its_window_is_refused_and_its_own_date_is_not(
    changed: dict[str, object], rules: set[Rule]
) -> None:
    """At the window; an hour before; a date shown, 24 h before it and 25; another date shown; a frozen date."""
    assert _rules(_changed(_ship(), "knife:P2:1", **changed), PLACES) == rules


def test_a_frozen_date_is_a_start_at_an_hour_that_is_none_by_now() -> None:
    """Its own date stands where no other start would be allowed; another job there is refused."""
    moved = {**PLACES, "knife:P2:1": (33, 36, None)}
    assert _rules(_ship(), moved) == {Rule.ALLOWED_START}
    assert _rules(_changed(_ship(), "knife:P2:1", kept_start=33), moved) == set()


@pytest.mark.parametrize(("start", "rules"), [(11, set()), (10, {Rule.ONE_JOB_A_PUMP})])
def test_two_jobs_of_one_pump_do_not_overlap_by_an_hour(start: int, rules: set[Rule]) -> None:
    """End to end is lawful; an hour over each other is not."""
    other = _changed(_ship(), "seal:P1:1", setup_steps=0, kept_start=start)
    assert _rules(other, {**PLACES, "seal:P1:1": (start, start + 3, None)}) == rules


@pytest.mark.parametrize(("parts", "rules"), [(80, set()), (81, {Rule.FACTS})])
def test_a_slot_an_hour_before_its_parts_is_refused(parts: int, rules: set[Rule]) -> None:
    """As they come is in time; an hour before is not."""
    assert _rules(_changed(_ship(), "knife:P3:1", parts_from=parts), PLACES) == rules


def test_person_hours_count_by_the_ships_day_across_a_clock_change() -> None:
    """Eight hours to a day that ends at 23 by UTC are a person's day; by days of 24 hours they would be nine: the work pauses."""
    crew = crew_by_day(DAYS, hands=2, first=0, last=24)
    ship = _changed(replace(_ship(), crew=crew), "round:plant:1", work_steps=12, kept_start=87)
    changed = replace(ship, day_starts=(0, 24, 48, 72, 95, 119))
    through, paused = {"round:plant:1": (87, 99, None)}, {"round:plant:1": (87, 100, None)}
    assert _rules(changed, {**PLACES, **through}) == set()
    assert _rules(changed, {**PLACES, **paused}) == {Rule.RIGHT_END}
    assert _rules(ship, {**PLACES, **through}) == {Rule.RIGHT_END}
    assert _rules(ship, {**PLACES, **paused}) == set()
    assert {slot.key: slot.end for slot in stagger(changed).slots}["round:plant:1"] == 99
    assert {slot.key: slot.end for slot in stagger(ship).slots}["round:plant:1"] == 100


def test_of_overlapping_minima_the_higher_counts() -> None:
    """A lower stretch laid over a higher one changes nothing; a higher one does."""
    lower = MinimumStretch(from_step=24, to_step=48, litres_per_h=10)
    higher = MinimumStretch(from_step=24, to_step=48, litres_per_h=241)
    assert _rules(replace(_ship(), minimum=(*_ship().minimum, lower)), PLACES) == set()
    assert _rules(replace(_ship(), minimum=(*_ship().minimum, higher)), PLACES) == {Rule.MINIMUM}
    at = replace(higher, litres_per_h=240)
    assert _rules(replace(_ship(), minimum=(*_ship().minimum, at)), PLACES) == set()


def test_a_shared_set_up_that_leaves_no_hour_leaves_one() -> None:
    """Work of as many hours as are spared takes one hour all the same."""
    all_spared = _changed(_changed(_ship(), "seal:P1:1", setup_steps=3), "knife:P1:1", setup_steps=3)
    assert _rules(all_spared, {**PLACES, "seal:P1:1": (11, 12, "knife:P1:1")}) == set()
    assert _rules(all_spared, {**PLACES, "seal:P1:1": (11, 11, "knife:P1:1")}) == {Rule.ON_THE_GRID}


def test_a_pair_whose_partner_moved_away_gets_its_full_time() -> None:
    """The judge counts the spared hours only on an isolation that is there."""
    alone = _changed(_ship(), "seal:P1:1", kept_start=11)
    assert _rules(alone, {**PLACES, "seal:P1:1": (11, 13, None)}) == {Rule.RIGHT_END}
    assert _rules(alone, {**PLACES, "seal:P1:1": (11, 14, None)}) == set()
