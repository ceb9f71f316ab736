"""The judge at the bounds of each rule: what just holds is lawful, an hour or a litre further it is not."""

from dataclasses import replace

import pytest

from scheduler.planning.judge.check import Rule, judge, margin_series
from scheduler.planning.problem.values import (
    CrewStretch,
    Derated,
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
from tests.unit.planning.cases import STARTS_AT

STEPS = 48
Place = tuple[int, int] | tuple[int, int, str]


def _job(key: str, pump: str | None = "P1", **changed: object) -> PlanJob:
    job = PlanJob(key=key, pump=pump, work_steps=2, hands=1, earliest=0, ideal=8, due=40, limit=STEPS)
    return replace(job, **changed)  # type: ignore[arg-type]


def _problem(*jobs: PlanJob, **changed: object) -> Problem:
    """Four pumps of 60, four hands at any hour, every hour a start, no minimum."""
    problem = Problem(
        starts_at=STARTS_AT,
        steps=STEPS,
        pumps=tuple(PumpCapacity(pump=f"P{n}", litres_per_h=60) for n in range(1, 5)),
        minimum=(),
        crew=(CrewStretch(from_step=0, to_step=STEPS, hands=4),),
        start_steps=tuple(range(STEPS)),
        jobs=jobs,
    )
    return replace(problem, **changed)  # type: ignore[arg-type]


def _rules(problem: Problem, **places: Place) -> set[Rule]:
    """The rules that a plan with those places breaks, its margins stated as they are."""
    slots = [
        Slot(
            key=job.key,
            pump=job.pump,
            start=places[job.key][0],
            end=places[job.key][1],
            isolation_of=places[job.key][2] if len(places[job.key]) == 3 else None,
            least_margin_litres_per_h=0,
        )
        for job in problem.jobs
    ]
    runs = margin_series(problem, Plan(problem_digest="", slots=tuple(slots), shortfalls=()))
    least = {
        slot.key: min(r.available - r.minimum for r in runs if r.from_step < slot.end and slot.start < r.to_step)
        for slot in slots
    }
    stated = tuple(replace(slot, least_margin_litres_per_h=least[slot.key]) for slot in slots)
    return {fault.rule for fault in judge(problem, Plan(problem_digest="", slots=stated, shortfalls=())).faults}


@pytest.mark.parametrize(
    ("litres_per_h", "pumps", "rules"),
    [
        (180, 3, set()),
        (181, 3, {Rule.MINIMUM}),
        (180, 4, {Rule.NUMBER}),
        (181, 4, {Rule.MINIMUM, Rule.NUMBER}),
    ],
)
def test_exactly_the_minimum_left_is_lawful_and_only_what_breaks_is_named(litres_per_h, pumps, rules):
    """Of four pumps one is out: 180 litres and 3 pumps are left."""
    stretch = MinimumStretch(from_step=0, to_step=STEPS, litres_per_h=litres_per_h, pumps=pumps)
    assert _rules(_problem(_job("a"), minimum=(stretch,)), a=(8, 10)) == rules


def test_a_slot_may_end_as_the_planned_days_end():
    """An hour further it lies beyond them."""
    assert _rules(_problem(_job("a")), a=(STEPS - 2, STEPS)) == set()
    assert _rules(_problem(_job("a")), a=(STEPS - 1, STEPS + 1)) == {Rule.ON_THE_GRID}


@pytest.mark.parametrize(("first", "second", "end"), [(2, 1, 12), (1, 2, 12), (2, 2, 11)])
def test_a_shared_isolation_spares_the_smaller_set_up_of_the_two(first, second, end):
    """Of three hours of work as many as both have."""
    ship = _problem(_job("a", setup_steps=first), _job("b", work_steps=3, setup_steps=second))
    assert _rules(ship, a=(8, 10), b=(10, end, "a")) == set()


@pytest.mark.parametrize(
    ("start", "minutes", "consent", "rules"),
    [
        (8, 20, "hotel", set()),
        (9, 20, "hotel", {Rule.FACTS}),
        (8, 19, "hotel", {Rule.FACTS}),
        (8, 20, " ", {Rule.FACTS}),
    ],
)
def test_a_test_lies_within_its_quiet_hour_as_long_as_agreed_and_with_consent(start, minutes, consent, rules):
    """A quiet hour ends before its last step; all its minutes may be taken; minutes without consent are none."""
    quiet = QuietStretch(from_step=7, to_step=9, most_minutes=minutes, consent=consent)
    ship = _problem(_job("a", None, work_steps=1, stop_minutes=20), quiet=(quiet,))
    assert _rules(ship, a=(start, start + 1)) == rules


def test_what_a_job_needs_is_there_to_its_last_hour():
    """Port until 10: a job may end at 10, not at 11."""
    ship = _problem(_job("a", needs=("port",)), occasions=(Occasion(need="port", from_step=0, to_step=10),))
    assert _rules(ship, a=(8, 10)) == set()
    assert _rules(ship, a=(9, 11)) == {Rule.FACTS}


def test_a_turn_may_start_as_the_one_before_it_ends():
    """An hour sooner it may not."""
    ship = _problem(_job("a"), _job("b", "P2", after="a"))
    assert _rules(ship, a=(8, 10), b=(10, 12)) == set()
    assert _rules(ship, a=(8, 10), b=(9, 11)) == {Rule.IN_ORDER}


@pytest.mark.parametrize(
    ("first", "second", "rules"),
    [(8, 10, set()), (None, None, set()), (8, None, {Rule.ISOLATION}), (None, 10, {Rule.ISOLATION})],
)
def test_of_two_jobs_on_one_isolation_both_are_pinned_or_neither(first, second, rules):
    """One alone would be moved from the other."""
    ship = _problem(_job("a", fixed_start=first), _job("b", fixed_start=second))
    assert _rules(ship, a=(8, 10), b=(10, 12, "a")) == rules


def test_a_third_job_does_not_go_on_with_an_isolation():
    """Nor does a job go on with one that ended an hour ago."""
    ship = _problem(_job("a"), _job("b"), _job("c"))
    assert _rules(ship, a=(8, 10), b=(10, 12, "a"), c=(10, 12, "a")) >= {Rule.ISOLATION}
    assert _rules(ship, a=(8, 10), b=(11, 13, "a"), c=(20, 22)) == {Rule.ISOLATION}


@pytest.mark.parametrize(("start", "rules"), [(5, {Rule.ONE_TEST}), (4, set()), (8, {Rule.ONE_TEST}), (9, set())])
def test_a_test_and_a_job_on_its_pump_may_follow_each_other(start, rules):
    """The test is on from 6 to 9; two hours of work end at 6, or begin at 9."""
    quiet = QuietStretch(from_step=0, to_step=STEPS, most_minutes=20, consent="hotel")
    test = _job("t", None, work_steps=3, stop_minutes=20, tested="P1")
    assert _rules(_problem(_job("a"), test, quiet=(quiet,)), a=(start, start + 2), t=(6, 9)) == rules


@pytest.mark.parametrize(("start", "rules"), [(9, {Rule.NOT_TOGETHER}), (10, set())])
def test_a_pump_of_a_branch_may_be_opened_as_another_is_closed(start, rules):
    """Of the two one may be out."""
    ship = _problem(_job("a"), _job("b", "P2"), not_together=(NotTogether(pumps=("P1", "P2"), most_out=1),))
    assert _rules(ship, a=(8, 10), b=(start, start + 2)) == rules


@pytest.mark.parametrize(("start", "rules"), [(6, set()), (7, {Rule.ALL_CLOSED}), (9, {Rule.ALL_CLOSED}), (10, set())])
def test_a_job_that_needs_all_closed_may_touch_one_that_opens_a_pump(start, rules):
    """It is on from 8 to 10; the pump is closed at 8, or opened at 10."""
    ship = _problem(_job("a"), _job("b", None, all_closed=True))
    assert _rules(ship, a=(start, start + 2), b=(8, 10)) == rules


@pytest.mark.parametrize(("midnight", "work", "end"), [(6, 4, 8), (5, 3, 7), (0, 4, 26)])
def test_the_hours_of_a_day_count_from_the_ships_midnight(midnight, work, end):
    """Two hours a person a day, from 4 on: two and two about 6; one and two about 5; the rest tomorrow."""
    ship = _problem(_job("a", work_steps=work), person_hours=2, first_midnight=midnight)
    assert _rules(ship, a=(4, end)) == set()


def test_where_stretches_overlap_the_stricter_counts():
    """Least capacity and fewest hands, in either order."""
    minimum = (MinimumStretch(from_step=0, to_step=STEPS, litres_per_h=131),)
    less, least = Derated(from_step=0, to_step=20, litres_per_h=30), Derated(from_step=0, to_step=20, litres_per_h=10)
    for both in ((less, least), (least, less)):
        pumps = (*_problem().pumps[:3], PumpCapacity(pump="P4", litres_per_h=60, derated=both))
        assert _rules(_problem(_job("a"), pumps=pumps, minimum=minimum), a=(8, 10)) == {Rule.MINIMUM}
    many, few = CrewStretch(from_step=0, to_step=STEPS, hands=4), CrewStretch(from_step=0, to_step=STEPS, hands=1)
    for crew in ((many, few), (few, many)):
        assert _rules(_problem(_job("a", hands=1), crew=crew), a=(8, 10)) == set()
        assert Rule.ALLOWED_START in _rules(_problem(_job("a", hands=2), crew=crew), a=(8, 10))
