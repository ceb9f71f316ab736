"""What a plan did with dates given before, and what rests on a return that nobody told; and the sentences of it."""

from dataclasses import replace
from datetime import timedelta

from scheduler.planning.explain.dates import FactKind, PlanFact, plan_facts
from scheduler.planning.problem.facts import Because
from scheduler.planning.problem.values import Derated, MinimumStretch, PlanJob, Problem, PumpCapacity
from scheduler.planning.search.stagger import stagger
from scheduler.shiptime import ShipOffset
from scheduler.wording.reasons import fact_words
from tests.unit.planning.cases import STARTS_AT, crew_by_day, starts_by_day, words_for

DAYS = 30


def _problem(*jobs: PlanJob, pumps: int = 3, derated: tuple[Derated, ...] = (), need: int = 100) -> Problem:
    return Problem(
        starts_at=STARTS_AT,
        steps=24 * DAYS,
        pumps=tuple(
            PumpCapacity(pump=f"P{n}", litres_per_h=60, derated=derated if n == 2 else ()) for n in range(1, pumps + 1)
        ),
        minimum=(MinimumStretch(from_step=0, to_step=24 * DAYS, litres_per_h=need),),
        crew=crew_by_day(DAYS),
        start_steps=starts_by_day(DAYS),
        jobs=jobs,
    )


def _job(key: str, pump: str, day: int, **changed: object) -> PlanJob:
    at = 24 * day + 8
    job = PlanJob(key=key, pump=pump, work_steps=3, hands=1, earliest=0, ideal=at, due=at + 48, limit=at + 240)
    return replace(job, **changed)  # type: ignore[arg-type]


def _facts(problem: Problem) -> list[PlanFact]:
    return list(plan_facts(problem, stagger(problem)))


def test_a_frozen_date_that_moved_is_told_with_what_forbade_it() -> None:
    """P2 is out over the date of P1: the minimum; with parts to come: a fact; kept: nothing."""
    down = Derated(from_step=0, to_step=24 * 5, litres_per_h=0, back="expected")
    job = _job("knife:P1:1", "P1", 2, kept_start=56)
    (moved, rests) = _facts(_problem(job, derated=(down,)))
    assert (moved.code, moved.from_step, moved.because) == (FactKind.FROZEN_MOVED, 56, Because.CAPACITY)
    assert moved.to_step is not None
    assert moved.to_step >= 24 * 5
    assert (rests.code, rests.keys, rests.assumed) == (FactKind.RESTS_ON_RETURN, ("knife:P1:1",), False)
    (parts,) = _facts(_problem(replace(job, parts_from=100)))
    assert (parts.code, parts.because) == (FactKind.FROZEN_MOVED, Because.FACT)
    assert _facts(_problem(job)) == []


def test_a_date_kept_before_its_window_says_by_how_many_hours() -> None:
    """Shown at 08:00, the window opening an hour, a day, and 25 hours later: told, told, and moved without a word."""
    for later, told in ((1, [1]), (24, [24]), (25, [])):
        job = _job("knife:P1:1", "P1", 2, published_start=56, earliest=56 + later)
        facts = _facts(_problem(job))
        assert [one.hours for one in facts] == told
        assert all(one.code is FactKind.KEPT_EARLY for one in facts)


def test_only_dates_that_would_break_the_minimum_rest_on_a_return() -> None:
    """With four pumps the dates hold whether it comes back or not; with three they do not; dates before it rest on nothing."""
    down = Derated(from_step=0, to_step=24 * 10, litres_per_h=0, back="assumed")
    job = _job("knife:P1:1", "P1", 12)
    (three,) = _facts(_problem(job, derated=(down,)))
    assert (three.keys, three.assumed) == (("knife:P1:1",), True)
    (four,) = _facts(_problem(job, pumps=4, derated=(down,)))
    assert four.keys == ()
    (own,) = _facts(_problem(_job("knife:P2:1", "P2", 12), derated=(down,)))
    assert own.keys == ()


def test_two_pumps_one_needed_is_said_once() -> None:
    """Two pumps and a minimum that either meets; not where both are needed, nor with three pumps."""
    jobs = (_job("knife:P1:1", "P1", 2), _job("knife:P2:1", "P2", 5))
    assert [one.code for one in _facts(_problem(*jobs, pumps=2, need=60))] == [FactKind.ONE_NEEDED_OF_TWO]
    assert _facts(_problem(*jobs, pumps=2, need=61)) == []
    assert _facts(_problem(*jobs, pumps=2, need=0)) == []
    assert _facts(_problem(*jobs, need=60)) == []


def test_every_fact_is_a_sentence_with_names_and_ship_time() -> None:
    """No key, no id, no UTC in it, and every figure of the fact is said."""
    clock = ShipOffset(60, ((STARTS_AT + timedelta(days=3), 120),))
    words = words_for(_problem(), clock)
    facts = (
        PlanFact(code=FactKind.FROZEN_MOVED, key="knife:P1:1", from_step=56, to_step=104, because=Because.HANDS),
        PlanFact(code=FactKind.FROZEN_MOVED, key="knife:P1:1", from_step=56, because=None),
        PlanFact(code=FactKind.KEPT_EARLY, key="knife:P1:1", hours=7),
        PlanFact(code=FactKind.RESTS_ON_RETURN, pump="P2", to_step=240, keys=("knife:P1:1",), assumed=True),
        PlanFact(code=FactKind.RESTS_ON_RETURN, pump="P2", to_step=240, keys=("knife:P1:1",) * 6),
        PlanFact(code=FactKind.RESTS_ON_RETURN, pump="P2", to_step=240, assumed=True),
        PlanFact(code=FactKind.ONE_NEEDED_OF_TWO),
    )
    said = [fact_words(one, words) for one in facts]
    assert said[0] == "VP1 knife cannot keep Wed 2 Dec 09:00: hands lack. It moves to Fri 4 Dec 10:00."
    assert said[1].endswith("another date serves better. It has no place.")
    assert "7 h" in said[2]
    assert said[3] == (
        "VP2's return is not known; the plan assumes Thu 10 Dec. If VP2 is back by Thu 10 Dec: VP1 knife."
    )
    assert said[4].endswith("and 2 more.")
    assert said[5].endswith("No date rests on it.")
    for one in said:
        assert "P1:1" not in one
        assert "UTC" not in one
