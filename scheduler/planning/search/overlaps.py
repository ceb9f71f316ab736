"""Where pumps may be out together, and what the evenest margin loses there: convex, so bounded from below by straight lines."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from scheduler.planning.search.by_step import whole_m3
from scheduler.planning.search.ground import Ground
from scheduler.planning.search.model import ModelRow
from scheduler.planning.search.offers import OpenOffers
from scheduler.planning.search.rows import Columns, columns_by_entry

MOST_LINES = 64
"""Lines from below for one overlap: enough for every sum of six pumps. Where there are more sums the lines lie between them, and
the bound a little below what is true."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Overlap:
    """Hours in which the same columns, of two pumps or more, may be open: each with what its pump gives, whole m3/h."""

    hours: int
    out: Mapping[int, int]
    of_pump: Mapping[int, str]

    @property
    def by_pump(self) -> tuple[int, ...]:
        """What each of its pumps gives at most."""
        most: dict[str, int] = {}
        for column, own in self.out.items():
            most[self.of_pump[column]] = max(own, most.get(self.of_pump[column], 0))
        return tuple(most[pump] for pump in sorted(most))

    @property
    def most(self) -> int:
        """What all of them out together add, (m3/h)2."""
        own = self.by_pump
        return sum(own) ** 2 - sum(one * one for one in own)


def overlaps_of(ground: Ground, field: OpenOffers) -> tuple[Overlap, ...]:
    """Every set of columns of two pumps or more that may be open in one hour, with the hours for which that is so."""
    columns = columns_by_entry(field).tolist() if field.entries else []
    opens: dict[int, list[tuple[int, str]]] = {}
    closes: dict[int, list[int]] = {}
    for column, (index, candidate) in zip(columns, field.entries, strict=True):
        pump = field.offers[index].job.pump
        if pump is not None and ground.capacity_of(pump) is not None:
            opens.setdefault(max(0, candidate.start), []).append((column, pump))
            closes.setdefault(candidate.end, []).append(column)
    hours: dict[tuple[tuple[int, str, int], ...], int] = {}
    there: dict[int, str] = {}
    for first, last in pairwise(sorted({*opens, *closes, *ground.turns})):
        for column in closes.get(first, ()):
            there.pop(column, None)
        there.update(opens.get(first, ()))
        given = {pump: whole_m3(ground.capacity[pump][first]) for pump in set(there.values())}
        if sum(own > 0 for own in given.values()) > 1:
            open_now = tuple(sorted((column, pump, given[pump]) for column, pump in there.items() if given[pump]))
            hours[open_now] = hours.get(open_now, 0) + last - first
    return tuple(
        Overlap(
            hours=many,
            out={column: own for column, _, own in open_now},
            of_pump={column: pump for column, pump, _ in open_now},
        )
        for open_now, many in sorted(hours.items())
    )


def overlap_rows(overlaps: Sequence[Overlap], columns: Columns) -> Iterator[ModelRow]:
    """What each overlap adds is no less than any of its lines says."""
    for column, overlap in zip(columns.together, overlaps, strict=True):
        for slope, less in _lines(overlap.by_pump):
            weights = {one: slope * own - own * own for one, own in overlap.out.items()}
            used = sorted(one for one, weight in weights.items() if weight)
            if used:
                yield ModelRow(
                    columns=(*used, column),
                    coefficients=(*(weights[one] for one in used), -1),
                    at_most=less,
                )


def _lines(own: Sequence[int]) -> Iterator[tuple[int, int]]:
    """(slope, less) of lines slope x s - less that are no higher than s2 at any sum s of these: through neighbours among the sums,
    or touching at some of them where they are many."""
    sums = {0}
    for one in own:
        sums |= {one + other for other in sums}
    rising = sorted(sums)
    if len(rising) <= MOST_LINES + 1:
        yield from ((low + high, low * high) for low, high in pairwise(rising) if high > min(own))
        return
    for number in range(MOST_LINES):
        at = rising[-1] * (number + 1) // MOST_LINES
        yield 2 * at - 1, at * (at - 1)
