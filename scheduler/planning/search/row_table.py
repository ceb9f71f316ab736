"""Many rows of a programme in four arrays, as a solver takes them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import chain
from typing import overload

import numpy as np
import numpy.typing as npt

from scheduler.planning.search.model import ModelRow

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.double]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RowTable(Sequence[ModelRow]):
    """Rows one after the other. columns, coefficients: of all rows; sizes, at_most: of each. A sequence of `ModelRow` as well."""

    columns: Ints
    coefficients: Floats
    sizes: Ints
    at_most: Floats

    @staticmethod
    def of(rows: Iterable[ModelRow]) -> "RowTable":
        """The table of these rows."""
        own = list(rows)
        return RowTable(
            columns=np.fromiter(chain.from_iterable(row.columns for row in own), dtype=np.int64),
            coefficients=np.fromiter(chain.from_iterable(row.coefficients for row in own), dtype=np.double),
            sizes=np.array([len(row.columns) for row in own], dtype=np.int64),
            at_most=np.array([row.at_most for row in own], dtype=np.double),
        )

    @staticmethod
    def gathered(
        columns: Ints, firsts: Ints, sizes: Ints, at_most: Floats, coefficients: Floats | None = None
    ) -> "RowTable":
        """The rows whose columns are those slices; coefficients lie as the columns do, none: all are 1."""
        there = slices(firsts, sizes)
        return RowTable(
            columns=columns[there],
            coefficients=np.ones(len(there)) if coefficients is None else coefficients[there],
            sizes=sizes,
            at_most=at_most,
        )

    @staticmethod
    def joined(tables: Sequence["RowTable"]) -> "RowTable":
        """The rows of all the tables, in their order."""
        tables = [*tables, RowTable.of(())]
        return RowTable(
            columns=np.concatenate([table.columns for table in tables]),
            coefficients=np.concatenate([table.coefficients for table in tables]),
            sizes=np.concatenate([table.sizes for table in tables]),
            at_most=np.concatenate([table.at_most for table in tables]),
        )

    @property
    def starts(self) -> Ints:
        """Where each row begins, and where the last one ends."""
        return np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(self.sizes)])

    def tightest(self) -> "RowTable":
        """Of rows with the same columns and coefficients the one with the least right side, where the first of them stood.

        Rows are told apart by 64 bits made of their columns and coefficients: two that differ would be taken for one once
        in some 10^19 pairs, and a plan that came of it would be found unlawful. No row is empty.
        """
        if len(self.sizes) < 2:
            return self
        bits = _bits(int(self.columns.max()) + 1)[self.columns] + self.coefficients.view(np.uint64)
        bits ^= bits >> np.uint64(29)
        bits *= np.uint64(0x9E3779B97F4A7C15)
        bits ^= bits >> np.uint64(32)
        shapes = np.add.reduceat(bits, self.starts[:-1])
        order = np.lexsort((self.at_most, shapes))
        new = np.concatenate([[True], shapes[order][1:] != shapes[order][:-1]])
        earliest = np.minimum.reduceat(order, np.flatnonzero(new))
        return self._taking(order[new][np.argsort(earliest, kind="stable")])

    def _taking(self, rows: Ints) -> "RowTable":
        return RowTable.gathered(
            self.columns, self.starts[rows], self.sizes[rows], self.at_most[rows], self.coefficients
        )

    def __len__(self) -> int:
        return len(self.sizes)

    @overload
    def __getitem__(self, number: int) -> ModelRow: ...
    @overload
    def __getitem__(self, number: slice) -> Sequence[ModelRow]: ...
    def __getitem__(self, number: int | slice) -> ModelRow | Sequence[ModelRow]:
        """A row, its columns rising; or several."""
        if isinstance(number, slice):
            return [self[n] for n in range(*number.indices(len(self)))]
        if not 0 <= number < len(self):
            raise IndexError(number)
        own = slice(*self.starts[number : number + 2].tolist())
        order = np.argsort(self.columns[own])
        return ModelRow(
            columns=tuple(self.columns[own][order].tolist()),
            coefficients=tuple(int(c) for c in self.coefficients[own][order]),
            at_most=int(self.at_most[number]),
        )


@lru_cache(maxsize=1)
def _some_bits(count: int) -> npt.NDArray[np.uint64]:
    return np.random.Generator(np.random.PCG64(0)).integers(0, 2**64, size=count, dtype=np.uint64)


def _bits(count: int) -> npt.NDArray[np.uint64]:
    """64 random bits for each column, the same in every run."""
    return _some_bits(1 << max(10, count.bit_length()))[:count]


def slices(firsts: Ints, sizes: Ints) -> Ints:
    """The numbers first, first + 1, ... of slices that begin there and are so long, one after the other."""
    ends = np.cumsum(sizes)
    return np.arange(int(ends[-1]) if len(ends) else 0) + np.repeat(firsts - ends + sizes, sizes)
