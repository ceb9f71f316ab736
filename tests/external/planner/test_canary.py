"""The solver's canaries: programmes on which published versions of HiGHS answer falsely.

`ship51_n1.mps` was made from a generated ship with this kind of model (November 2026); the true
optimum, 1, was confirmed by a second, independent solver (CP-SAT). highspy 1.16.0 with the start reports another value.
`spoiled_by_presolve.json` holds two tiers of invented rough ships: of the first highspy 1.14.0 and 1.15.1, with presolve, claim
an answer that breaks a row (and fail), of the second that it has none, though their own search met its optimum, 49. 1.12.0 and
1.13.1 solve both; 1.14.0 and 1.15.1 do without presolve.
"""

import json
from collections.abc import Callable
from dataclasses import replace
from math import inf
from pathlib import Path
from typing import Any

import highspy
import pytest

from scheduler.planning.search import highs
from scheduler.planning.search.model import Model, ModelRow, Solution, SolveEnd

HERE = Path(__file__).parent


@pytest.mark.parametrize("presolve", ["choose", "off"])
def test_the_installed_solver_finds_the_true_optimum_without_a_start(presolve: str) -> None:
    """HiGHS, solved as this project solves (no start, one thread, exact gap), reports the optimum 1 and means it."""
    solver = highspy.Highs()
    for option, value in {
        "output_flag": False,
        "threads": 1,
        "presolve": presolve,
        "mip_rel_gap": 0.0,
        "mip_abs_gap": 0.999,
    }.items():
        solver.setOptionValue(option, value)
    solver.readModel(str(HERE / "ship51_n1.mps"))
    cost = list(solver.getLp().col_cost_)
    solver.run()
    values = list(solver.getSolution().col_value)
    assert solver.getModelStatus() == highspy.HighsModelStatus.kOptimal
    assert round(solver.getInfo().objective_function_value) == 1
    assert round(sum(a * b for a, b in zip(cost, values, strict=True))) == 1


def test_no_start_is_ever_passed_to_the_solver() -> None:
    """The project's own solver module never hands HiGHS a solution to start from."""
    source = (HERE.parents[2] / "scheduler" / "planning" / "search" / "highs.py").read_text(encoding="utf-8")
    assert "setSolution" not in source


def _spoiled() -> list[tuple[Model, int]]:
    """The two programmes, and what their cheapest answers cost."""

    def model(told: dict[str, Any]) -> Model:
        rows = tuple(ModelRow(columns=tuple(c), coefficients=tuple(a), at_most=most) for c, a, most in told["rows"])
        choices = tuple(tuple(choice) for choice in told["choices"])
        return Model(
            cost=tuple(told["cost"]), upper=tuple(told["upper"]), choices=choices, rows=rows, known=told["known"]
        )

    told = json.loads((HERE / "spoiled_by_presolve.json").read_text(encoding="utf-8"))
    return [(model(one), one["best"]) for one in told]


def _costs(model: Model, answer: Solution) -> int:
    return sum(cost * round(value) for cost, value in zip(model.cost, answer.values, strict=True))


@pytest.mark.parametrize("number", [0, 1])
def test_the_installed_solver_solves_what_presolve_spoils_in_others(number: int) -> None:
    """With presolve as the project leaves it, asked once: the optimum. A version that fails here must not be pinned."""
    model, best = _spoiled()[number]
    lp = highs._lp(model)
    lp.integrality_ = [highspy.HighsVarType.kInteger] * len(model.cost)
    solver = highs._tried(lp, inf, "choose")
    assert solver is not None
    assert solver.getModelStatus() == highspy.HighsModelStatus.kOptimal
    assert round(solver.getInfo().objective_function_value) == best


def _fails(_lp: highspy.HighsLp, _seconds: float, _presolve: str) -> None:
    return None


def _has_none(lp: highspy.HighsLp, seconds: float, _presolve: str) -> highspy.Highs | None:
    none = highspy.HighsLp()
    none.num_col_, none.num_row_ = 1, 0
    none.col_cost_, none.col_lower_, none.col_upper_ = [0.0], [2.0], [1.0]
    none.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    none.a_matrix_.start_ = [0]
    return TRIED(none, seconds, "off") if len(lp.integrality_) else TRIED(lp, seconds, "off")


TRIED = highs._tried


@pytest.mark.parametrize("spoils", [_fails, _has_none])
@pytest.mark.parametrize("number", [0, 1])
def test_a_solve_that_presolve_spoils_is_done_again_without_it(
    monkeypatch: pytest.MonkeyPatch, number: int, spoils: Callable[..., highspy.Highs | None]
) -> None:
    """A version whose presolve fails, or finds no answer where one is known: the project asks again, and has the optimum."""
    model, best = _spoiled()[number]

    def tried(lp: highspy.HighsLp, seconds: float, presolve: str) -> highspy.Highs | None:
        return TRIED(lp, seconds, presolve) if presolve == "off" else spoils(lp, seconds, presolve)

    monkeypatch.setattr(highs, "_tried", tried)
    answer = highs.optimise(replace(model, known=best))
    assert answer.outcome is SolveEnd.OPTIMAL
    assert _costs(model, answer) == best
