"""Other ways to the same plan, for comparison only: each runs in a process of its own and prints one line of JSON.

`python -m tests.bench.planner_rivals WHAT` reads a problem on standard input. WHAT: `planner` (this project's), `plain` (a
time-indexed model over every start of every job, a row for every hour, no reductions; jobs without a place and days late
only), `intervals` (CP-SAT with one interval a job, the same two and the days off the ideal date; 20 s of work at most,
-1 when it found nothing by then).
"""

import json
import sys
import time
from typing import Any

from scheduler.planning.problem.codec import problem_from_text
from scheduler.planning.problem.values import Problem
from tests.bench.load import peak_mb

UNPLACED = 10_000


def _planner(problem: Problem) -> dict[str, Any]:
    from scheduler.planning.search.stagger import stagger

    plan = stagger(problem)
    late = {tier.name: tier.value for tier in plan.tiers}
    return {"proven": plan.proven, "unplaced": late["jobs without a place"], "late": late["days past the limit"]}


def _plain(problem: Problem) -> dict[str, Any]:
    from scheduler.planning.search.ground import candidate_at, survey
    from scheduler.planning.search.highs import optimise
    from scheduler.planning.search.model import Model, ModelRow, SolveEnd
    from scheduler.planning.search.tiers import days_past

    ground = survey(problem)
    cost: list[int] = []
    choices: list[tuple[int, ...]] = []
    out: dict[int, dict[int, int]] = {}
    work: dict[int, dict[int, int]] = {}
    open_at: dict[tuple[str, int], list[int]] = {}
    for job in ground.jobs:
        own = []
        for start in ground.start_steps:
            candidate = candidate_at(ground, job, start)
            if candidate is None or start < job.earliest or ground.hands[start] < job.hands:
                continue
            column = len(cost)
            own.append(column)
            cost.append(days_past(job.limit, candidate.end))
            row = ground.capacity_of(job.pump)
            for t in range(start, candidate.end) if row is not None else ():
                out.setdefault(t, {})[column] = row[t] if row else 0
                open_at.setdefault((str(job.pump), t), []).append(column)
            for t, hands in candidate.work.hands.items():
                work.setdefault(t, {})[column] = hands
        cost.append(UNPLACED)
        choices.append((*own, len(cost) - 1))
    rows = []
    for t, weights in out.items():
        rows.append(_row(weights, max(0, ground.slack[t]), ModelRow))
    for t, weights in work.items():
        rows.append(_row(weights, ground.hands[t], ModelRow))
    rows += [_row(dict.fromkeys(columns, 1), 1, ModelRow) for columns in open_at.values()]
    model = Model(
        cost=tuple(cost),
        upper=(1,) * len(cost),
        choices=tuple(choices),
        rows=tuple(rows),
        known=UNPLACED * len(choices),
    )
    answer = optimise(model)
    value = round(sum(c * v for c, v in zip(cost, answer.values, strict=True))) if answer.values else -1
    return {
        "proven": answer.outcome is SolveEnd.OPTIMAL,
        "unplaced": value // UNPLACED,
        "late": value % UNPLACED,
        "columns": len(cost),
        "rows": len(rows),
    }


def _row(weights: dict[int, int], at_most: int, make: Any) -> Any:
    columns = tuple(sorted(weights))
    return make(columns=columns, coefficients=tuple(weights[c] for c in columns), at_most=at_most)


def _intervals(problem: Problem) -> dict[str, Any]:
    from ortools.sat.python import cp_model

    from tests.unit.planning.brute import Brute, up

    brute, model = Brute(problem), cp_model.CpModel()
    total = sum(pump.litres_per_h for pump in problem.pumps)
    outs, demands, crews, hands, costs = [], [], [], [], []
    by_pump: dict[str, list[cp_model.IntervalVar]] = {}
    for job in problem.jobs:
        places = list(brute.alone(job))
        there = model.new_bool_var(job.key)
        start = model.new_int_var(0, problem.steps, "")
        end = model.new_int_var(0, problem.steps, "")
        size = model.new_int_var(1, problem.steps, "")
        cost = model.new_int_var(0, UNPLACED * 100, "")
        rows = [(p.start, p.end, up(p.end - job.limit) * 100 + up(abs(p.start - job.ideal) - 72)) for p in places]
        model.add_allowed_assignments([start, end, cost], [*rows, (0, 1, UNPLACED * 100)])
        model.add(cost < UNPLACED * 100).only_enforce_if(there)
        model.add(cost == UNPLACED * 100).only_enforce_if(there.negated())
        interval = model.new_optional_interval_var(start, size, end, there, "")
        crews.append(interval)
        hands.append(job.hands)
        costs.append(cost)
        if job.pump is not None:
            outs.append(interval)
            demands.append(next(p.litres_per_h for p in problem.pumps if p.pump == job.pump))
            by_pump.setdefault(job.pump, []).append(interval)
    for stretch in problem.minimum:
        outs.append(model.new_fixed_size_interval_var(stretch.from_step, stretch.to_step - stretch.from_step, ""))
        demands.append(stretch.litres_per_h)
    model.add_cumulative(outs, demands, total)
    model.add_cumulative(crews, hands, max(c.hands for c in problem.crew))
    for own in by_pump.values():
        model.add_no_overlap(own)
    model.minimize(sum(costs))
    solver = cp_model.CpSolver()
    solver.parameters.max_deterministic_time = 20
    solver.parameters.num_workers = 1
    status = solver.solve(model)
    value = round(solver.objective_value) if status in (cp_model.OPTIMAL, cp_model.FEASIBLE) else -1
    return {
        "proven": status == cp_model.OPTIMAL,
        "unplaced": value // (UNPLACED * 100),
        "late": value % (UNPLACED * 100) // 100,
    }


if __name__ == "__main__":
    asked = problem_from_text(sys.stdin.read())
    began = time.process_time()
    answer = {"planner": _planner, "plain": _plain, "intervals": _intervals}[sys.argv[1]](asked)
    answer["cpu_seconds"] = time.process_time() - began
    answer["mb"] = peak_mb()
    print(json.dumps(answer))
