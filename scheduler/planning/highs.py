"""HiGHS as the solver of a `Model`: one thread, exact gap, limits by nodes, never a start, a fresh instance a solve.

A start is never passed because one published version then claims a false proven optimum; `tests/external/planner`
keeps the example. Threads stay at 1 because HiGHS shares one scheduler in a process.
"""

import highspy
import numpy as np

from scheduler.planning.model import Answer, Model, Outcome

NODE_ALLOWANCE = 20_000
"""Branch-and-bound nodes a solve may use: work, not seconds, so that a slower machine gives the same plan."""

_OPTIONS: dict[str, bool | int | float] = {
    "output_flag": False,
    "threads": 1,
    "random_seed": 0,
    "mip_rel_gap": 0.0,
    "mip_abs_gap": 0.999,
    "mip_max_nodes": NODE_ALLOWANCE,
}


def optimise(model: Model) -> Answer:
    """The best values of the columns, proven, or how far it came. Never raises for a well-formed model."""
    solver = highspy.Highs()  # type: ignore[no-untyped-call]
    name = f"HiGHS {solver.version()}"
    for option, value in _OPTIONS.items():
        if solver.setOptionValue(option, value) != highspy.HighsStatus.kOk:
            return Answer(outcome=Outcome.FAILED, solver=name)
    if solver.passModel(_lp(model)) == highspy.HighsStatus.kError or solver.run() == highspy.HighsStatus.kError:
        return Answer(outcome=Outcome.FAILED, solver=name)
    outcome = _OUTCOMES.get(solver.getModelStatus(), Outcome.FAILED)
    info = solver.getInfo()
    has_values = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
    values = tuple(solver.getSolution().col_value) if has_values else ()
    if outcome is Outcome.OPTIMAL and not values:
        outcome = Outcome.FAILED
    return Answer(outcome=outcome, values=values, bound=float(info.mip_dual_bound), solver=name)


_OUTCOMES = {
    highspy.HighsModelStatus.kOptimal: Outcome.OPTIMAL,
    highspy.HighsModelStatus.kInfeasible: Outcome.INFEASIBLE,
    highspy.HighsModelStatus.kSolutionLimit: Outcome.LIMIT,
    highspy.HighsModelStatus.kIterationLimit: Outcome.LIMIT,
    highspy.HighsModelStatus.kTimeLimit: Outcome.LIMIT,
}


def _lp(model: Model) -> highspy.HighsLp:
    columns = [*model.choices, *(row.columns for row in model.rows)]
    coefficients = [*((1,) * len(choice) for choice in model.choices), *(row.coefficients for row in model.rows)]
    ones, free = len(model.choices), len(model.rows)
    lp = highspy.HighsLp()
    lp.num_col_ = len(model.cost)
    lp.num_row_ = ones + free
    lp.col_cost_ = np.array(model.cost, dtype=np.double)
    lp.col_lower_ = np.zeros(len(model.cost))
    lp.col_upper_ = np.array(model.upper, dtype=np.double)
    lp.row_lower_ = np.concatenate([np.ones(ones), np.full(free, -highspy.kHighsInf)])
    lp.row_upper_ = np.concatenate([np.ones(ones), np.array([r.at_most for r in model.rows], dtype=np.double)])
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = np.concatenate([[0], np.cumsum([len(c) for c in columns])]).astype(np.int32)
    lp.a_matrix_.index_ = np.array([c for row in columns for c in row], dtype=np.int32)
    lp.a_matrix_.value_ = np.array([c for row in coefficients for c in row], dtype=np.double)
    lp.integrality_ = [highspy.HighsVarType.kInteger] * len(model.cost)
    return lp
