"""One more failure: the three numbers of hours against a plain recount, and what is said about them."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from scheduler.planning.judge.cover import cover_of
from scheduler.planning.problem.values import Derated, MinimumStretch, Plan, Problem, PumpCapacity, Slot
from scheduler.wording.reasons import cover_words
from tests.unit.planning.cases import STARTS_AT, words_for


@st.composite
def plants(draw: st.DrawFn) -> tuple[Problem, Plan]:
    """Up to four unequal pumps over 30 hours, some down for a while, with any slots."""
    steps = 30
    pumps = []
    for number in range(draw(st.integers(0, 4))):
        down = draw(st.integers(0, 29))
        derated = (Derated(from_step=down, to_step=down + 6, litres_per_h=0),) if draw(st.booleans()) else ()
        litres = draw(st.sampled_from([40, 50, 60]))
        pumps.append(PumpCapacity(pump=f"P{number}", litres_per_h=litres, derated=derated))
    cut = draw(st.integers(1, 29))
    problem = Problem(
        starts_at=STARTS_AT,
        steps=steps,
        pumps=tuple(pumps),
        minimum=(
            MinimumStretch(from_step=0, to_step=cut, litres_per_h=draw(st.integers(0, 120))),
            MinimumStretch(from_step=cut, to_step=steps, litres_per_h=draw(st.integers(0, 120))),
        ),
        crew=(),
        start_steps=(),
        jobs=(),
    )
    slots = []
    for number, pump in enumerate(pumps):
        start = draw(st.integers(-3, 28))
        if draw(st.booleans()):
            end = start + draw(st.integers(1, 9))
            slots.append(Slot(key=f"job:{number}:1", pump=pump.pump, start=start, end=end, least_margin_litres_per_h=0))
    return problem, Plan(problem_digest="", slots=tuple(slots), shortfalls=())


@given(plants())
def test_the_three_numbers_equal_a_recount_that_trips_every_pump_in_turn(case: tuple[Problem, Plan]) -> None:
    """Hour by hour: as planned, with each pump left lost in turn, and the same with nothing open."""
    problem, plan = case
    at_n = at_less = by_plan = anyway = 0
    for hour in range(problem.steps):
        gives = {
            p.pump: min([p.litres_per_h, *(d.litres_per_h for d in p.derated if d.from_step <= hour < d.to_step)])
            for p in problem.pumps
        }
        need = next(m.litres_per_h for m in problem.minimum if m.from_step <= hour < m.to_step)
        out = {s.pump for s in plan.slots if s.start <= hour < s.end}

        def survives(left: dict[str, int], need: int = need) -> bool:
            total = sum(left.values())
            return total >= need and all(total - lost >= need for lost in left.values())

        left = {pump: litres for pump, litres in gives.items() if pump not in out}
        at_n += sum(left.values()) >= need
        at_less += survives(left)
        anyway += not survives(gives)
        by_plan += survives(gives) and not survives(left)
    cover = cover_of(problem, plan)
    assert (cover.at_n, cover.at_n_less_1) == (at_n, at_less)
    assert (cover.hours_uncovered_by_plan, cover.hours_uncovered_anyway) == (by_plan, anyway)
    assert cover.hours == problem.steps


@given(plants())
def test_the_words_promise_nothing_and_say_when(case: tuple[Problem, Plan]) -> None:
    """Plain sentences with dates where cover lacks; the word that promises never appears."""
    problem, plan = case
    cover = cover_of(problem, plan)
    text = " ".join(cover_words(cover, words_for(problem, 120)))
    assert "guarantee" not in text
    assert (" Nov" in text or " Dec" in text) == bool(cover.uncovered_by_plan or cover.uncovered_anyway)
    assert ("no date can help" in text) == bool(cover.uncovered_anyway)


def test_no_hours_and_no_pumps_are_said_plainly() -> None:
    """An empty grid says so; a plant without pumps has no cover wherever something is asked of it."""
    problem = Problem(starts_at=STARTS_AT, steps=0, pumps=(), minimum=(), crew=(), start_steps=(), jobs=())
    empty = Plan(problem_digest="", slots=(), shortfalls=())
    assert cover_words(cover_of(problem, empty), words_for(problem)) == ("No hours are planned.",)
    asks = replace(problem, steps=2, minimum=(MinimumStretch(from_step=0, to_step=2, litres_per_h=1),))
    assert cover_of(asks, empty).uncovered_anyway == ((0, 2),)
