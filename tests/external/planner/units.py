"""A published unit-maintenance set as a planner's problem: units are pumps, weeks are steps, MW are whole kW.

What of such a set goes where:

- a unit with its capacity: a pump; a week in which it gives less or nothing of itself: `derated`
- its maintenance, once, in consecutive weeks: one job, `work_steps` weeks, hands in every week so that it is never broken up
- the earliest start and the last week by which it must be done: `earliest` and `limit`; the limit is soft, so "in its window" is
  that the tier of days past the limit is 0, and proven
- crew by week of the work: `hands_by_step`; the crew there is, week by week: `crew`
- demand and the reserve to be kept, week by week: `minimum`; the largest smallest reserve: `greatest_reserve`
- units of which only so many may be out (one station, one area, "never together"): `not_together`
- one unit after another: `after`; a start that is given: `fixed_start`; a week in which work needs something: `needs`

Not known to the planner, and so to be reckoned beside it: a least workload of a week, several kinds of crew, a sum of squared
reserves, cost or risk as the aim, a unit's maintenance that may be split.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from scheduler.planning.problem.values import (
    CrewStretch,
    MinimumStretch,
    NotTogether,
    Plan,
    PlanJob,
    Problem,
    PumpCapacity,
)
from scheduler.planning.search.stagger import stagger
from tests.unit.planning.cases import STARTS_AT

KW = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """A unit of so many MW, out for `crew` weeks with so many hands in each, first week >= `first`, done by the end of `last`.

    Weeks count from 1.
    """

    name: str
    mw: float
    crew: tuple[int, ...]
    first: int
    last: int


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitSet:
    """A set: its units, the demand in MW and the crew of each week, and groups of units of which only so many may be out."""

    units: tuple[Unit, ...]
    demand_mw: tuple[float, ...]
    crew: tuple[int, ...]
    groups: tuple[tuple[tuple[str, ...], int], ...] = ()

    def problem(self, reserve_kw: int) -> Problem:
        """The problem in which every week keeps so much reserve above its demand, in kW (it may be below 0)."""
        weeks = len(self.demand_mw)
        return Problem(
            starts_at=STARTS_AT,
            steps=weeks,
            pumps=tuple(PumpCapacity(pump=u.name, litres_per_h=round(u.mw * KW)) for u in self.units),
            minimum=tuple(
                MinimumStretch(from_step=week, to_step=week + 1, litres_per_h=max(0, round(mw * KW) + reserve_kw))
                for week, mw in enumerate(self.demand_mw)
            ),
            crew=tuple(
                CrewStretch(from_step=week, to_step=week + 1, hands=hands) for week, hands in enumerate(self.crew)
            ),
            start_steps=tuple(range(weeks)),
            jobs=tuple(_job(unit) for unit in self.units),
            not_together=tuple(NotTogether(pumps=names, most_out=most) for names, most in self.groups),
        )

    def reserves_kw(self, plan: Plan) -> list[int]:
        """What each week has above its demand, in kW, recounted from the plan's starts."""
        return [
            sum(
                round(unit.mw * KW)
                for unit in self.units
                if not any(s.pump == unit.name and s.start <= week < s.end for s in plan.slots)
            )
            - round(mw * KW)
            for week, mw in enumerate(self.demand_mw)
        ]


def _job(unit: Unit) -> PlanJob:
    return PlanJob(
        key=f"upkeep:{unit.name}:1",
        pump=unit.name,
        work_steps=len(unit.crew),
        hands=max(unit.crew),
        hands_by_step=unit.crew,
        earliest=unit.first - 1,
        ideal=(unit.first - 1 + unit.last - len(unit.crew)) // 2,
        due=unit.last,
        limit=unit.last,
    )


def is_kept(plan: Plan) -> bool | None:
    """Whether every unit has its weeks in its window: proven either way, or none when the search was cut short."""
    first = [tier for tier in plan.tiers if tier.tier <= 1]
    if all(tier.value == 0 for tier in first):
        return True
    return False if all(tier.proven for tier in first) else None


def greatest_reserve(units: UnitSet, low_kw: int, high_kw: int, *, step_kw: int) -> tuple[int, Plan]:
    """The largest reserve, in whole `step_kw` from low_kw (which can be kept) to below high_kw (which cannot), and its plan.

    Raises AssertionError where the search could not tell.
    """
    best: Plan | None = None
    while high_kw - low_kw > step_kw or best is None:
        tried = low_kw if best is None else low_kw + (high_kw - low_kw) // (2 * step_kw) * step_kw
        plan = stagger(units.problem(tried), up_to=1)
        kept = is_kept(plan)
        assert kept is not None, f"whether {tried} kW can be kept was not settled"
        if kept:
            low_kw, best = tried, plan
        else:
            assert best is not None, f"{low_kw} kW was said to be possible and is not"
            high_kw = tried
    return low_kw, best


def as_plain(units: UnitSet) -> dict[str, object]:
    """The set as JSON values, in kW, for a solver in another process."""
    rows: Sequence[dict[str, object]] = [
        {"name": u.name, "kw": round(u.mw * KW), "crew": list(u.crew), "first": u.first, "last": u.last}
        for u in units.units
    ]
    demand = [round(mw * KW) for mw in units.demand_mw]
    return {
        "units": rows,
        "demand_kw": demand,
        "crew": list(units.crew),
        "groups": [[list(n), m] for n, m in units.groups],
    }
