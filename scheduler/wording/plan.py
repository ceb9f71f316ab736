"""What a plan did with dates given before, in words, in ship time, with the names people use."""

from collections.abc import Callable
from datetime import timedelta

from scheduler.planning.explain.dates import FactKind, PlanFact
from scheduler.planning.problem.shiphours import ShipClock
from scheduler.planning.problem.values import Problem
from scheduler.planning.search.board import Because
from scheduler.wording.figures import listed, ship_day, ship_moment

Namer = Callable[[str], str]
_BECAUSE = {
    Because.CAPACITY: "the minimum would break",
    Because.HANDS: "hands lack",
    Because.NO_WORK: "nobody is at work",
    Because.PUMP: "a pump or branch is in use",
    Because.ORDER: "the turn before it is not finished",
    Because.FACT: "its parts, what it needs, or a quiet hour lack",
}
MOST_NAMED = 4


def fact_words(fact: PlanFact, problem: Problem, clock: ShipClock, *, job: Namer, pump: Namer) -> str:
    """One fact as a sentence.

    Args:
        job, pump: what a person calls the job of a key, and a pump.
    """

    def minutes(step: int) -> int:
        return clock.offset_at(problem.starts_at + timedelta(hours=step)) // timedelta(minutes=1)

    def when(step: int) -> str:
        return ship_moment(problem.starts_at + timedelta(hours=step), minutes(step))

    match fact.code:
        case FactKind.FROZEN_MOVED:
            why = "another date serves better" if fact.because is None else _BECAUSE[fact.because]
            before = when(fact.from_step or 0)
            now = "has no place" if fact.to_step is None else f"moves to {when(fact.to_step)}"
            return f"{job(fact.key or '')} cannot keep {before}: {why}. It {now}."
        case FactKind.KEPT_EARLY:
            return f"{job(fact.key or '')} keeps its date {fact.hours} h before its window as reckoned now."
        case FactKind.RESTS_ON_RETURN:
            return _return_words(fact, ship_day(problem.starts_at + timedelta(hours=fact.to_step or 0), minutes(fact.to_step or 0)),
                                 job, pump)  # fmt: skip
        case FactKind.FITS_NO_STAY:
            over = "No lay-over is known" if fact.to_step is None else f"The next lay-over begins {when(fact.to_step)}"
            return f"{job(fact.key or '')} takes {fact.hours} h and fits no stay. {over}."
        case FactKind.ONE_NEEDED_OF_TWO:
            return "Two pumps, one needed: while one is open the other runs alone."


def _return_words(fact: PlanFact, day: str, job: Namer, pump: Namer) -> str:
    name = pump(fact.pump or "")
    known = (
        f"{name}'s return is not known; the plan assumes {day}" if fact.assumed else f"{name} is expected back by {day}"
    )
    if not fact.keys:
        return f"{known}. No date rests on it."
    named = [job(key) for key in fact.keys[:MOST_NAMED]]
    more = [f"{len(fact.keys) - MOST_NAMED} more"] if len(fact.keys) > MOST_NAMED else []
    return f"{known}. If {name} is back by {day}: {listed([*named, *more])}."
