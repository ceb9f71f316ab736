"""The largest smallest reserve of a unit set by another solver: Google OR-Tools CP-SAT, in a process of its own.

Reads a set (see `units.as_plain`) as JSON on standard input; writes {"kw": best, "proven": whether it is the best}. It shares no
line with the planner: every unit once, in consecutive weeks of its window, crew and groups week by week, the smallest reserve as
large as can be.
"""

import json
import sys
from typing import Any

from ortools.sat.python import cp_model


def best_reserve(told: dict[str, Any], seconds: float) -> tuple[int, bool]:
    """(kW, proven) of the set."""
    model = cp_model.CpModel()
    weeks = range(len(told["demand_kw"]))
    out: list[list[tuple[dict[str, Any], int, cp_model.IntVar]]] = [[] for _ in weeks]
    for unit in told["units"]:
        lasts = len(unit["crew"])
        starts = {
            s: model.new_bool_var(f"{unit['name']} {s}") for s in range(unit["first"] - 1, unit["last"] - lasts + 1)
        }
        model.add_exactly_one(starts.values())
        for start, used in starts.items():
            for n in range(lasts):
                out[start + n].append((unit, unit["crew"][n], used))
    whole = sum(unit["kw"] for unit in told["units"])
    reserve = model.new_int_var(-whole, whole, "smallest reserve")
    for week in weeks:
        model.add(sum(hands * used for _, hands, used in out[week]) <= told["crew"][week])
        model.add(whole - sum(unit["kw"] * used for unit, _, used in out[week]) - told["demand_kw"][week] >= reserve)
        for names, most in told["groups"]:
            model.add(sum(used for unit, _, used in out[week] if unit["name"] in names) <= most)
    model.maximize(reserve)
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = 2
    status = solver.solve(model)
    return round(solver.objective_value), status == cp_model.OPTIMAL


if __name__ == "__main__":
    kw, proven = best_reserve(json.loads(sys.stdin.read()), float(sys.argv[1]))
    print(json.dumps({"kw": kw, "proven": proven}))
