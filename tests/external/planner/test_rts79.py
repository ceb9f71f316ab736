"""A published maintenance-scheduling system through the same planner: generating units are pumps, weeks are steps.

Source: IEEE Reliability Test System 1979 (IEEE Trans. PAS-98, 1979; the tables read in public copies, the paper itself
not opened): 32 units of 3405 MW in all with their weeks of maintenance a year, and 52 weekly peaks of a 2850 MW year.
The largest possible smallest net reserve, 555 MW, was proven with another solver (derived, not printed in the paper).
"""

import csv
from pathlib import Path

from scheduler.planning.judge.check import judge
from scheduler.planning.problem.values import CrewStretch, MinimumStretch, PlanJob, Problem, PumpCapacity
from scheduler.planning.search.stagger import greedy_plan, stagger
from tests.unit.planning.cases import STARTS_AT

HERE = Path(__file__).parent
KW = 1000


def _rows(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def _problem(reserve_kw: int) -> Problem:
    units, weeks = _rows("rts79_units.csv"), _rows("rts79_weekly_peak.csv")
    minimum = tuple(
        MinimumStretch(
            from_step=week, to_step=week + 1, litres_per_h=round(float(row["peak_mw_at_2850"]) * KW) + reserve_kw
        )
        for week, row in enumerate(weeks)
    )
    return Problem(
        starts_at=STARTS_AT,
        steps=len(weeks),
        pumps=tuple(PumpCapacity(pump=u["unit"], litres_per_h=int(u["capacity_mw"]) * KW) for u in units),
        minimum=minimum,
        crew=(CrewStretch(from_step=0, to_step=len(weeks), hands=len(units)),),
        start_steps=tuple(range(len(weeks))),
        jobs=tuple(
            PlanJob(
                key=f"upkeep:{u['unit']}:1",
                pump=u["unit"],
                work_steps=int(u["maint_weeks"]),
                hands=1,
                earliest=0,
                ideal=number * len(weeks) // len(units),
                due=len(weeks),
                limit=len(weeks),
            )
            for number, u in enumerate(units)
        ),
    )


def test_the_tables_add_up() -> None:
    """32 units, 3405 MW, 96 unit-weeks, as the system's description says."""
    units = _rows("rts79_units.csv")
    assert len(units) == 32
    assert sum(int(u["capacity_mw"]) for u in units) == 3405
    assert sum(int(u["maint_weeks"]) for u in units) == 96


def test_all_units_find_their_weeks_with_the_greatest_reserve_kept() -> None:
    """With a reserve of 555 MW every unit has its weeks, lawfully and proven, and nothing lacks."""
    problem = _problem(555 * KW)
    plan = stagger(problem)
    verdict = judge(problem, plan)
    assert verdict.lawful
    assert plan.shortfalls == ()
    assert len(plan.slots) == 32
    assert all(tier.proven and tier.value == 0 for tier in plan.tiers if tier.tier <= 1)
    assert verdict.least_margin_litres_per_h == 0


def test_no_plan_keeps_more() -> None:
    """One kW more lacks in the week of the annual peak, 51, whatever is planned: 3405 - 2850 = 555."""
    (deficit,) = [s for s in greedy_plan(_problem(555 * KW + 1)).shortfalls if s.key is None]
    assert deficit.steps == ((50, 51),)
    assert deficit.lacking_litres_per_h == 1
