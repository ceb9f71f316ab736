"""A small integer programme and its answer, as values; knows nothing of ships."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum


class Outcome(StrEnum):
    """How a solve ended. LIMIT: stopped by its allowance of nodes, perhaps with a usable answer."""

    OPTIMAL = "optimal"
    LIMIT = "limit"
    INFEASIBLE = "infeasible"
    FAILED = "failed"


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Row:
    """coefficients . columns <= at_most. Columns rise."""

    columns: tuple[int, ...]
    coefficients: tuple[int, ...]
    at_most: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """Minimise cost over whole columns 0..upper under the rows; `choices` are columns of which exactly one is 1."""

    cost: tuple[int, ...]
    upper: tuple[int, ...]
    choices: tuple[tuple[int, ...], ...]
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What a solver says: the columns' values (empty when it has none) and its bound on the cost."""

    outcome: Outcome
    values: tuple[float, ...] = ()
    bound: float = 0.0
    solver: str = ""


Optimise = Callable[[Model], Answer]
"""A solver. It may lie or fail: whoever calls it recomputes."""
