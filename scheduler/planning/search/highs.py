"""HiGHS as the solver of a `Model`: one thread, exact gap, limits by nodes, never a start, a fresh instance a solve.

A start is never passed because one published version then claims a false proven optimum; `tests/external/planner`
keeps the example. Threads stay at 1 because HiGHS shares one scheduler in a process.
"""

import math
from dataclasses import replace
from itertools import chain

import highspy
import numpy as np
import numpy.typing as npt

from scheduler.planning.search.model import ROUNDING, Effort, Model, Solution, SolveEnd
from scheduler.planning.search.row_table import RowTable

NODE_ALLOWANCE = 2_000
"""Branch-and-bound nodes a solve may use: work, not seconds, so that a slower machine gives the same plan."""

LARGE = 2_000
"""Whole columns from which on presolve and HiGHS's jump for a first answer are worth their time, and spare memory. Measured:
in a smaller model each takes longer than what it spares."""

MORE_COLUMNS = 1.6
"""So many times the columns of an answer at the bound are searched for one near it. Measured."""

_OPTIONS: dict[str, bool | int | float | str] = {
    "output_flag": False,
    "threads": 1,
    "random_seed": 0,
    "mip_rel_gap": 0.0,
    "mip_abs_gap": 0.999,
    "mip_max_nodes": NODE_ALLOWANCE,
}


WHOLE = 1e-6
"""How far from a whole number a column may be and still count as one."""

_Floats = npt.NDArray[np.double]


def optimise(model: Model, *, seconds: float = math.inf) -> Solution:
    """The best values of the columns, proven, or how far it came. Never raises for a well-formed model.

    seconds: an emergency brake above 0, for a caller that would otherwise be left without any answer.

    First the relaxation, columns not whole: often its answer is whole already. If not, its prices say which columns no
    answer at the bound can use: without them the search is small, and most often it reaches the bound. Only if it does not
    are more columns searched: a few, where no more is asked for, else all that an answer as good as `known` can use. Each of
    these has half of the time.
    """
    lp = _lp(model)
    relaxed = _run(lp, seconds)
    if relaxed is None:
        return Solution(outcome=SolveEnd.FAILED, solver=_name())
    outcome = _OUTCOMES.get(relaxed.getModelStatus(), SolveEnd.FAILED)
    if outcome is not SolveEnd.OPTIMAL:
        return Solution(outcome=outcome, solver=_name())
    bound, if_used = _price(lp, np.array(relaxed.getSolution().row_dual))
    values = np.array(relaxed.getSolution().col_value)
    if model.effort is Effort.BOUND or np.all(np.abs(values - np.round(values)) <= WHOLE):
        return Solution(
            outcome=SolveEnd.OPTIMAL, values=tuple(values), bound=bound, bound_if_used=tuple(if_used), solver=_name()
        )
    levels, known, columns = _levels(model, bound, if_used), model.known, -1
    if model.effort is Effort.BETTER and len(levels) == 1:  # what is known already is as good as can be
        return Solution(outcome=SolveEnd.OPTIMAL, bound=bound, bound_if_used=tuple(if_used), solver=_name())
    lp.integrality_ = [highspy.HighsVarType.kInteger] * len(model.cost)
    nothing = Solution(outcome=SolveEnd.INFEASIBLE, bound=bound, bound_if_used=tuple(if_used), solver=_name())
    answer, cost = nothing, math.inf
    for level in levels:
        sure = model.effort in (Effort.BETTER, Effort.WHOLE) and level == model.known
        level = known if sure else level
        upper = np.array(model.upper, dtype=np.double)
        upper[if_used > level + ROUNDING] = 0.0
        before, columns = columns, int(np.count_nonzero(upper))
        if columns == before and cost < math.inf:  # it would be the same search again
            return replace(answer, bound=cost)
        lp.col_upper_ = upper
        answer = _whole(_run(lp, seconds / 2), bound, if_used)
        if sure and answer.outcome is SolveEnd.INFEASIBLE and _large(lp):  # it has an answer: presolve lost it
            return _whole(_tried(lp, seconds / 2, "off"), bound, if_used)
        cost = _costs(model, answer)
        if sure or cost <= level + ROUNDING:
            return answer
        if cost <= level + 1 + ROUNDING:  # none is cheaper: it would be among the columns of this level
            return replace(answer, bound=cost)
        known = int(min(known, cost))
    return nothing


def _levels(model: Model, bound: float, if_used: _Floats) -> tuple[int, ...]:
    """The costs at which an answer is looked for one after the other."""
    least = math.ceil(bound - ROUNDING)
    if model.effort is Effort.AT_BOUND:
        return (least,)
    if model.effort in (Effort.BETTER, Effort.WHOLE):
        return (least, model.known) if least < model.known else (model.known,)
    some = round(MORE_COLUMNS * int((if_used <= least + ROUNDING).sum()))
    wider = math.floor(np.sort(if_used)[min(some, len(if_used)) - 1] + ROUNDING)
    return (least, wider) if least < wider else (least,)


def _costs(model: Model, answer: Solution) -> float:
    """What an answer costs, counted from its columns rounded to whole numbers; infinite when it is not a proven one."""
    if answer.outcome is not SolveEnd.OPTIMAL:
        return math.inf
    return float(np.round(np.array(answer.values)) @ np.array(model.cost))


def _whole(solver: highspy.Highs | None, bound: float, if_used: _Floats) -> Solution:
    if solver is None:
        return Solution(outcome=SolveEnd.FAILED, solver=_name())
    outcome = _OUTCOMES.get(solver.getModelStatus(), SolveEnd.FAILED)
    info = solver.getInfo()
    has_values = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
    values = tuple(solver.getSolution().col_value) if has_values else ()
    if outcome is SolveEnd.OPTIMAL and not values:
        outcome = SolveEnd.FAILED
    return Solution(
        outcome=outcome,
        values=values,
        bound=max(bound, float(info.mip_dual_bound)),
        bound_if_used=tuple(if_used),
        solver=_name(),
    )


def _name() -> str:
    return f"HiGHS {highspy.Highs().version()}"


def _run(lp: highspy.HighsLp, seconds: float) -> highspy.Highs | None:
    """A solver that has run, or none when it would not.

    Most models of ours are solved before presolve has looked at them. For many whole columns it helps, but that of 1.14.0
    and 1.15.1 now and then fails; then the same model is solved without it.
    """
    first, second = ("choose", "off") if _large(lp) else ("off", "choose")
    return _tried(lp, seconds, first) or _tried(lp, seconds, second)


def _large(lp: highspy.HighsLp) -> bool:
    return len(lp.integrality_) >= LARGE


def _tried(lp: highspy.HighsLp, seconds: float, presolve: str) -> highspy.Highs | None:
    solver = highspy.Highs()
    options = {
        **_OPTIONS,
        "time_limit": seconds,
        "presolve": presolve,
        "mip_heuristic_run_feasibility_jump": _large(lp),
    }
    if any(solver.setOptionValue(option, value) != highspy.HighsStatus.kOk for option, value in options.items()):
        return None
    if solver.passModel(lp) == highspy.HighsStatus.kError or solver.run() == highspy.HighsStatus.kError:
        return None
    return solver


def _price(lp: highspy.HighsLp, dual: _Floats) -> tuple[float, _Floats]:
    """A bound on the cost, and for each column one on the cost of any answer that uses it, from prices of the rows.

    It holds whatever the prices are, so it does not rest on the solver's tolerances: cost >= prices . right sides +
    what is left of each column's cost when its rows are paid. Source: Lagrangian (weak) duality.
    """
    free = np.asarray(lp.row_lower_) == -highspy.kHighsInf
    price = np.where(free, np.minimum(dual, 0.0), dual)
    matrix = lp.a_matrix_
    starts = np.asarray(matrix.start_)
    paid = np.repeat(price, np.diff(starts)) * np.asarray(matrix.value_)
    left = np.asarray(lp.col_cost_) - np.bincount(np.asarray(matrix.index_), weights=paid, minlength=lp.num_col_)
    upper = np.asarray(lp.col_upper_)
    bound = float(price @ np.asarray(lp.row_upper_) + np.minimum(left, 0.0) @ upper)
    return bound, bound + np.maximum(left, 0.0)


_OUTCOMES = {
    highspy.HighsModelStatus.kOptimal: SolveEnd.OPTIMAL,
    highspy.HighsModelStatus.kInfeasible: SolveEnd.INFEASIBLE,
    highspy.HighsModelStatus.kSolutionLimit: SolveEnd.LIMIT,
    highspy.HighsModelStatus.kIterationLimit: SolveEnd.LIMIT,
    highspy.HighsModelStatus.kTimeLimit: SolveEnd.LIMIT,
}


def _lp(model: Model) -> highspy.HighsLp:
    rows = model.rows if isinstance(model.rows, RowTable) else RowTable.of(model.rows)
    ones, free = len(model.choices), len(rows)
    chosen = np.fromiter(chain.from_iterable(model.choices), dtype=np.int64)
    sizes = np.concatenate([np.array([len(choice) for choice in model.choices], dtype=np.int64), rows.sizes])
    lp = highspy.HighsLp()
    lp.num_col_ = len(model.cost)
    lp.num_row_ = ones + free
    lp.col_cost_ = np.array(model.cost, dtype=np.double)
    lp.col_lower_ = np.zeros(len(model.cost))
    lp.col_upper_ = np.array(model.upper, dtype=np.double)
    lp.row_lower_ = np.concatenate([np.ones(ones), np.full(free, -highspy.kHighsInf)])
    lp.row_upper_ = np.concatenate([np.ones(ones), rows.at_most])
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int32)
    lp.a_matrix_.index_ = np.concatenate([chosen, rows.columns]).astype(np.int32)
    lp.a_matrix_.value_ = np.concatenate([np.ones(len(chosen)), rows.coefficients])
    return lp
