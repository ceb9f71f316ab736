"""How a plan leaves its plant, in a few figures: what it places, and what it could not give."""

from dataclasses import dataclass

from scheduler.planning.explain.reliefs import lateness
from scheduler.planning.problem.values import Plan, Problem


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanFigures:
    """slots: jobs with a place. without_place: jobs without one. past_limit: jobs placed past their limit, or past the one
    that the turn before them sets. hours_below_minimum: hours below the minimum whatever is planned."""

    slots: int
    without_place: int
    past_limit: int
    hours_below_minimum: int

    @property
    def good(self) -> bool:
        """True when every job has its place in time and the plant is never below its minimum."""
        return not (self.without_place or self.past_limit or self.hours_below_minimum)


def plan_figures(problem: Problem, plan: Plan) -> PlanFigures:
    """The figures of a plan and the problem it answers."""
    late = lateness(problem, plan)
    without_place = sum(days is None for days in late.values())
    return PlanFigures(
        slots=len(plan.slots),
        without_place=without_place,
        past_limit=len(late) - without_place,
        hours_below_minimum=sum(b - a for short in plan.shortfalls if short.key is None for a, b in short.steps),
    )
