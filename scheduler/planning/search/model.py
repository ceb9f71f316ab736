"""A small integer programme and its answer, as values; knows nothing of ships."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum


class SolveEnd(StrEnum):
    """How a solve ended. LIMIT: stopped by its allowance of nodes, perhaps with a usable answer."""

    OPTIMAL = "optimal"
    LIMIT = "limit"
    INFEASIBLE = "infeasible"
    FAILED = "failed"


class Effort(StrEnum):
    """How much is asked of a solver; one that does more is right too. BOUND: the bound and what it rests on, columns perhaps
    not whole. AT_BOUND: an answer that costs no more than the bound, or none. NEAR: one that costs little more, or none;
    it is the best there is. BETTER: the best there is, no values when none is cheaper than what is known. WHOLE: the best."""

    BOUND = "bound"
    AT_BOUND = "at the bound"
    NEAR = "near the bound"
    BETTER = "better"
    WHOLE = "whole"


ROUNDING = 0.01
"""By how much a bound must pass a whole cost before anything is left out for it: far above rounding, far below 1."""


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class ModelRow:
    """coefficients . columns <= at_most. Columns rise."""

    columns: tuple[int, ...]
    coefficients: tuple[int, ...]
    at_most: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """Minimise cost over whole columns 0..upper under the rows; `choices` are columns of which exactly one is 1.

    known: dearer answers are of no use; when the best answer is asked for some answer reaches it.
    """

    cost: tuple[int, ...]
    upper: tuple[int, ...]
    choices: tuple[tuple[int, ...], ...]
    rows: Sequence[ModelRow]
    known: int
    effort: Effort = Effort.WHOLE


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """What a solver says: the columns' values (empty when it has none, or proves that none is cheaper than what is known) and its
    bound on the cost.

    bound_if_used: for each column a bound on the cost of any answer that uses it (empty when not known).
    """

    outcome: SolveEnd
    values: tuple[float, ...] = ()
    bound: float = 0.0
    bound_if_used: tuple[float, ...] = ()
    solver: str = ""


Optimise = Callable[[Model], Solution]
"""A solver. It may lie or fail: whoever calls it recomputes."""
