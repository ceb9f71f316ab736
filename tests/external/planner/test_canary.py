"""The solver's canary: a programme on which one published version of HiGHS claims a false optimum when given a start.

`ship51_n1.mps` was made from a generated ship with this kind of model (November 2026); the true
optimum, 1, was confirmed by a second, independent solver (CP-SAT). highspy 1.16.0 with the start reports another value.
"""

from pathlib import Path

import highspy
import pytest

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
    source = (HERE.parents[2] / "scheduler" / "planning" / "highs.py").read_text(encoding="utf-8")
    assert "setSolution" not in source
