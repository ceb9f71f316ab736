"""Input that makes no sense, or leaves no room: an error that says what, or a plan that says why. Never a silent empty plan."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from scheduler.planning.explain.reliefs import lateness, reliefs
from scheduler.planning.judge.check import judge
from scheduler.planning.judge.cover import cover_of
from scheduler.planning.problem.values import CrewStretch, Derated, MinimumStretch, PlanJob, Problem, PumpCapacity
from scheduler.planning.search.stagger import greedy_plan, stagger
from scheduler.wording.plan import shortfall_words
from scheduler.wording.reasons import cover_words
from tests.unit.planning.cases import STARTS_AT, crew_by_day, ship, shortfalls_said, starts_by_day, words_for
from tests.unit.planning.test_frame import due, framed

DAYS = 4


def _job(key: str = "knife:P1:1", pump: str | None = "P1", **changed: object) -> PlanJob:
    job = PlanJob(key=key, pump=pump, work_steps=3, hands=1, earliest=0, ideal=8, due=40, limit=60)
    return replace(job, **changed)  # type: ignore[arg-type]


def _problem(*jobs: PlanJob, **changed: object) -> Problem:
    problem = Problem(
        starts_at=STARTS_AT,
        steps=24 * DAYS,
        pumps=(PumpCapacity(pump="P1", litres_per_h=60), PumpCapacity(pump="P2", litres_per_h=60)),
        minimum=(MinimumStretch(from_step=0, to_step=24 * DAYS, litres_per_h=50),),
        crew=crew_by_day(DAYS),
        start_steps=starts_by_day(DAYS),
        jobs=jobs,
    )
    return replace(problem, **changed)  # type: ignore[arg-type]


def _minimum(*stretches: tuple[int, int, int]) -> tuple[MinimumStretch, ...]:
    return tuple(MinimumStretch(from_step=a, to_step=b, litres_per_h=n, label=f"{n}") for a, b, n in stretches)


NO_ROOM: tuple[tuple[str, Problem, str], ...] = (
    ("minimum above all pumps", _problem(_job(), minimum=_minimum((0, 96, 500))), "would be broken"),
    ("longer than any opening", _problem(_job(work_steps=60)), "would not be finished"),
    ("no pumps", _problem(_job(), pumps=()), ""),
    ("one pump that is needed", _problem(_job(), pumps=(PumpCapacity(pump="P1", litres_per_h=60),)), "would be broken"),
    ("nobody ever", _problem(_job(), crew=()), "nobody is at work"),
    ("more hands than there ever are", _problem(_job(hands=9)), "never has more than 2 hands"),
    ("no start hours", _problem(_job(), start_steps=()), "no start is allowed"),
    ("a horizon of a day", _problem(_job(work_steps=12), steps=24), "would not be finished"),
    ("a horizon of nothing", _problem(_job(), steps=0), ""),
    ("a horizon below nothing", _problem(_job(), steps=-5), ""),
    ("blocks that contradict", _problem(_job(), minimum=_minimum((0, 96, 50), (0, 96, 200))), "(200)"),
    ("a window after the end", _problem(_job(earliest=5000)), "no start is allowed"),
    ("a pump nobody knows", _problem(_job(pump="P9"), minimum=_minimum((0, 96, 0))), ""),
)


@pytest.mark.parametrize(("problem", "says"), [(p, s) for _, p, s in NO_ROOM], ids=[what for what, _, _ in NO_ROOM])
@pytest.mark.parametrize("make", [stagger, greedy_plan])
def test_what_leaves_no_room_is_answered_in_words(
    make: Callable[[Problem], object], problem: Problem, says: str
) -> None:
    """A lawful plan in which the job has a slot or a reason; cover and reliefs answer too."""
    plan = stagger(problem) if make is stagger else greedy_plan(problem)
    assert judge(problem, plan).lawful
    (reason,) = [shortfall_words(s, words_for(problem)) for s in plan.shortfalls if s.key] or [""]
    assert len(plan.slots) + bool(reason) == 1
    assert says in reason
    assert cover_words(cover_of(problem, plan), words_for(problem))
    for key in lateness(problem, plan):
        assert isinstance(reliefs(problem, plan, key, solve=greedy_plan), tuple)


def test_two_pins_that_clash_leave_one_and_name_the_other() -> None:
    """Two jobs pinned into one pump at once: one keeps its date, the other is told which one stands in its way."""
    problem = _problem(_job(fixed_start=8), _job("seal:P1:1", fixed_start=9))
    plan = stagger(problem)
    (slot,) = plan.slots
    (short,) = plan.shortfalls
    assert judge(problem, plan).lawful
    said = shortfall_words(short, words_for(problem))
    assert "cannot keep its date Mon 30 Nov" in said
    assert f"VP1 is open for its {slot.key.partition(':')[0]}" in said


def test_a_ring_of_turns_and_a_turn_after_itself_do_no_harm() -> None:
    """Jobs that each come after the other, or after themselves, get an answer; the judge finds no fault."""
    ring = _problem(
        _job("a:P1:1", after="b:P1:1", interval_steps=5), _job("b:P1:1", after="a:P1:1", interval_steps=5),
        _job("c:P2:1", "P2", after="c:P2:1", interval_steps=5),
    )  # fmt: skip
    plan = stagger(ring)
    assert judge(ring, plan).lawful
    assert len(plan.slots) + len(plan.shortfalls) == 3


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: _problem(pumps=(PumpCapacity(pump="P1", litres_per_h=-1),)), "pump P1: litres_per_h: 0 or more"),
        (
            lambda: _problem(
                pumps=(
                    PumpCapacity(
                        pump="P1", litres_per_h=1, derated=(Derated(from_step=0, to_step=1, litres_per_h=-2),)
                    ),
                )
            ),
            "pump P1 while it counts for less",
        ),
        (lambda: _problem(minimum=_minimum((0, 5, -4))), "0 or more was expected, -4 came"),
        (lambda: _problem(crew=(CrewStretch(from_step=0, to_step=5, hands=-1),)), "crew from step 0: hands"),
        (lambda: _problem(_job(hands=-1)), "job knife:P1:1: hands"),
        (lambda: _problem(_job(hands_by_step=(1, 2))), "hands for each of 3 steps"),
        (lambda: _problem(person_hours=0), "person_hours: 1 to 24"),
        (lambda: _problem(_job(), _job()), "knife:P1:1 came more than once"),
    ],
)
def test_figures_that_cannot_be_are_refused_in_words(make: Callable[[], Problem], says: str) -> None:
    """Below 0, or of the wrong number: what, which one, what was expected."""
    with pytest.raises(ValueError, match=says):
        make()


def test_a_frame_of_a_day_and_of_no_days_is_planned() -> None:
    """Horizons of a day, of none and below none give a problem and a plan."""
    for days in (1, 0, -30):
        problem = framed(due(days=0.5), horizon_days=days)
        plan = stagger(problem)
        assert judge(problem, plan).lawful
        assert len(plan.slots) + len([s for s in plan.shortfalls if s.key]) == len(problem.jobs)


@pytest.mark.long
def test_hundreds_of_jobs_thirty_years_overdue_each_have_an_answer() -> None:
    """Six hundred of them on eight pumps in a month: as many placed as there is room for, the rest told why, lawfully."""
    base = ship(8, days=30)
    long_ago = -30 * 365 * 24
    jobs = tuple(
        PlanJob(key=f"knife:P{1 + n % 8}:{n}", pump=f"P{1 + n % 8}", work_steps=4, hands=1, earliest=0, ideal=long_ago,
                due=long_ago, limit=long_ago)
        for n in range(600)
    )  # fmt: skip
    problem = replace(base, jobs=jobs)
    plan = greedy_plan(problem)
    assert judge(problem, plan).lawful
    assert len(plan.slots) == 30 * 2
    assert len(plan.slots) + len([short for short in plan.shortfalls if short.key]) == 600
    said = shortfalls_said(problem, plan)
    assert all(" is open for its knife" in one or "the hands are at other jobs" in one for one in said)
    days = max(days or 0 for days in lateness(problem, plan).values())
    assert days >= 30 * 365
