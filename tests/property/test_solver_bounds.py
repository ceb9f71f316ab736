"""The solver's answers on small random programmes against trying every answer."""

from dataclasses import replace
from itertools import product
from math import inf

from hypothesis import given
from hypothesis import strategies as st

from scheduler.planning.search.highs import optimise
from scheduler.planning.search.model import ROUNDING, Model, ModelRow, Solution, SolveEnd


@st.composite
def models(draw: st.DrawFn) -> Model:
    """Up to four jobs with two to four starts each, and rows that limit weighted groups of them."""
    choices, cost = [], []
    for _ in range(draw(st.integers(1, 4))):
        size = draw(st.integers(2, 4))
        choices.append(tuple(range(len(cost), len(cost) + size)))
        cost += [draw(st.integers(0, 9)) for _ in range(size)]
    rows = []
    for _ in range(draw(st.integers(0, 4))):
        columns = tuple(c for c in range(len(cost)) if draw(st.booleans()))
        weights = tuple(draw(st.integers(1, 5)) for _ in columns)
        rows.append(ModelRow(columns=columns, coefficients=weights, at_most=draw(st.integers(0, 8))))
    return Model(cost=tuple(cost), upper=(1,) * len(cost), choices=tuple(choices), rows=tuple(rows), known=10_000)


def _answers(model: Model) -> list[tuple[int, frozenset[int]]]:
    found = []
    for choice in product(*model.choices):
        used = frozenset(choice)
        weigh = (sum(a for c, a in zip(r.columns, r.coefficients, strict=True) if c in used) <= r.at_most
                 for r in model.rows)  # fmt: skip
        if all(weigh):
            found.append((sum(model.cost[c] for c in used), used))
    return found


@given(models(), st.integers(0, 3))
def test_the_optimum_and_its_bounds_hold_for_every_answer(model: Model, above: int) -> None:
    """The answer is the cheapest there is, however well it is known before; no answer is below the bound, nor below the
    bound of a column it uses."""
    every = _answers(model)
    if every:
        model = replace(model, known=min(cost for cost, _ in every) + above)
    answer = optimise(model)
    if not every:
        assert answer.outcome in (SolveEnd.INFEASIBLE, SolveEnd.FAILED)
        return
    assert answer.outcome is SolveEnd.OPTIMAL
    used = {column for column, value in enumerate(answer.values) if value > 0.5}
    least = min(cost for cost, _ in every)
    assert sum(model.cost[column] for column in used) == least
    assert least - 1 < answer.bound <= least + ROUNDING
    for cost, columns in every:
        assert all(answer.bound_if_used[column] <= cost + ROUNDING for column in columns)


@given(models())
def test_no_time_left_is_an_answer_too(model: Model) -> None:
    """With the brake at once the solver answers all the same, and never claims more than it has."""
    answer = optimise(model, seconds=0.0)
    assert isinstance(answer, Solution)
    assert answer.bound < inf
    assert answer.outcome is not SolveEnd.OPTIMAL or len(answer.values) == len(model.cost)
