"""The rows of the programme, in arrays: capacity, hands and one job a pump, only where they can bind; the crew's busiest week.

What lies over a mark (a step at which the set of possible slots may be largest) is found for all marks at once.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np
import numpy.typing as npt

from scheduler.planning.search.ground import Ground, Start
from scheduler.planning.search.offers import OpenOffers
from scheduler.planning.search.row_table import Floats, Ints, RowTable, slices

Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """Which column means what. The field's places come first, in their order. of_job: by job number its columns with what
    they mean for it; unplaced, late: column of a job key; peak: column of what the busiest week has above its floor; together: those
    of what pumps out together add, one for each of the overlaps.
    """

    of_job: tuple[tuple[tuple[int, Start], ...], ...]
    unplaced: Mapping[str, int]
    late: Mapping[str, int]
    peak: int | None
    count: int
    together: tuple[int, ...] = ()


def plant_rows(ground: Ground, field: OpenOffers) -> RowTable:
    """What the plant and its crew can bear, at the steps where the set of possible slots is largest."""
    if not field.entries:
        return RowTable.of(())
    over = _Incidence(ground, field)
    return RowTable.joined(
        [*over.occupied(), *over.closed(), *over.limited(), *over.at_work(), *_day_rows(ground, field)]
    ).tightest()


def week_rows(field: OpenOffers, columns: Columns, at_most: int) -> RowTable:
    """No WEEK_DAYS days have more man-days than `at_most`, and what the peak column adds."""
    spent = _spent([one.work.man_weeks for _, one in field.entries])
    table = _at_most(field, *spent, lambda weeks: np.full(len(weeks), float(at_most)))
    if columns.peak is not None and len(table):
        ends = np.cumsum(table.sizes)
        table = RowTable(
            columns=np.insert(table.columns, ends, columns.peak),
            coefficients=np.insert(table.coefficients, ends, -1.0),
            sizes=table.sizes + 1,
            at_most=table.at_most,
        )
    return table.tightest()


def columns_by_entry(field: OpenOffers) -> Ints:
    """The column of each of the field's entries: both of a pair have one."""
    alone, count = field.alone, len(field.entries)
    return np.concatenate([np.arange(alone), alone + np.arange(count - alone) // 2])


class _Incidence:
    """The field's entries, and over which marks each lies.

    entry, mark: number of an entry, and of a mark it lies over, one such pair after the other, entries rising.
    """

    def __init__(self, ground: Ground, field: OpenOffers) -> None:
        entries = field.entries
        self._ground = ground
        self._jobs = [offer.job for offer in field.offers]
        self._job = np.array([index for index, _ in entries])
        self._column = columns_by_entry(field)
        starts = np.maximum(0, np.array([one.start for _, one in entries]))
        ends = np.array([one.end for _, one in entries])
        begins = np.fromiter(chain.from_iterable(one.work.begins for _, one in entries), dtype=np.int64)
        self._marks = np.unique(np.concatenate([np.array(ground.turns, dtype=np.int64), starts, begins]))
        first = np.searchsorted(self._marks, starts)
        sizes = np.searchsorted(self._marks, ends) - first
        self._entries = entries
        self._entry = np.repeat(np.arange(len(entries)), sizes)
        self._mark = slices(first, sizes)
        pumps = sorted({str(job.pump) for job in self._jobs if job.pump is not None})
        self._pumps = pumps
        self._pump = np.array([-1 if job.pump is None else pumps.index(job.pump) for job in self._jobs])

    def occupied(self) -> Iterator[RowTable]:
        """One job at a time in a pump, a test of it being one; one short test at a time; pumps that are not out together."""
        names: dict[str | None, int] = {pump: number for number, pump in enumerate(self._pumps)}
        names[None] = len(names)  # every short test, whatever it tests
        tested = np.full(len(self._jobs), -1)
        testing = np.full(len(self._jobs), -1)
        for index, job in enumerate(self._jobs):
            if job.stop_minutes > 0:
                testing[index] = names[None]
                if job.tested is not None and job.tested != job.pump:
                    tested[index] = names.setdefault(job.tested, len(names))
        by_job = [(named[self._job[self._entry]], self._entry) for named in (self._pump, tested, testing)]
        name = np.concatenate([names_of for names_of, _ in by_job])
        entry = np.concatenate([entries for _, entries in by_job])
        mark = np.tile(self._mark, len(by_job))
        there = name >= 0
        group = name[there] * len(self._marks) + mark[there]
        yield self._crowded(entry[there], group, self._job[entry[there]], 1)
        pump = self._pump[self._job[self._entry]]
        for rule in self._ground.problem.not_together:
            own = np.isin(pump, [names[p] for p in rule.pumps if p in self._pumps])
            yield self._crowded(self._entry[own], self._mark[own], pump[own], rule.most_out)

    def _crowded(self, entry: Ints, group: Ints, kind: Ints, most: int) -> RowTable:
        """A row for each group with more than `most` kinds in it: no more than so many of its columns are used."""
        order = np.lexsort((kind, group))
        group, kind = group[order], kind[order]
        first = _changes(group)
        kinds = np.add.reduceat(_flags(group, kind), first) if len(first) else first
        sizes = np.diff(np.append(first, len(group)))
        rows = kinds > most
        columns = self._column[entry[order]]
        return RowTable.gathered(columns, first[rows], sizes[rows], np.full(int(rows.sum()), float(most)))

    def closed(self) -> Iterator[RowTable]:
        """A job that needs every pump closed is not on while one is open."""
        alone = np.array([job.all_closed for job in self._jobs])[self._job[self._entry]]
        pump = self._pump[self._job[self._entry]]
        if not alone.any() or not (pump >= 0).any():
            return
        jobs, pumps = len(self._jobs), len(self._pumps)
        one_key, one_first, one_size, one_columns = self._grouped(alone, self._job[self._entry], jobs)
        key, first, size, columns = self._grouped(pump >= 0, pump, pumps)
        begins, ends = (np.searchsorted(key // pumps, one_key // jobs, side=side) for side in ("left", "right"))
        one, other = np.repeat(np.arange(len(one_key)), ends - begins), slices(begins, ends - begins)
        others = self._pump[one_key[one] % jobs] != key[other] % pumps  # its own pump is its own by another row
        one, other = one[others], other[others]
        sizes = one_size[one] + size[other]
        yield RowTable(
            columns=np.concatenate([one_columns, columns])[
                slices(
                    np.column_stack([one_first[one], first[other] + len(one_columns)]).ravel(),
                    np.column_stack([one_size[one], size[other]]).ravel(),
                )
            ],
            coefficients=np.ones(int(sizes.sum())),
            sizes=sizes,
            at_most=np.ones(len(sizes)),
        )

    def _grouped(self, there: Mask, kind: Ints, kinds: int) -> tuple[Ints, Ints, Ints, Ints]:
        """(mark x kinds + kind, first, size) of the groups of what is there, and the columns these are slices of."""
        key = self._mark[there] * kinds + kind[there]
        order = np.argsort(key, kind="stable")
        first = _changes(key[order])
        return key[order][first], first, np.diff(np.append(first, len(order))), self._column[self._entry[there][order]]

    def limited(self) -> Iterator[RowTable]:
        """What is open leaves the minimum, and as many pumps as must be there."""
        ground = self._ground
        if not self._pumps:
            return
        capacity = np.zeros((len(self._pumps), len(self._marks)))
        for number, name in enumerate(self._pumps):
            row = ground.capacity_of(name)
            if row is not None:
                capacity[number] = np.array(row, dtype=np.double)[self._marks]
        pump = self._pump[self._job[self._entry]]
        own = (pump >= 0) & (capacity[pump, self._mark] > 0)
        order = np.argsort(self._mark[own], kind="stable")
        mark, pump, columns = (
            self._mark[own][order],
            pump[own][order],
            self._column[self._entry[own][order]],
        )
        there = np.zeros(capacity.shape, dtype=np.bool_)
        there[pump, mark] = True
        first = np.searchsorted(mark, np.arange(len(self._marks)))
        size = np.searchsorted(mark, np.arange(len(self._marks)), side="right") - first
        slack = np.maximum(0.0, np.array(ground.slack, dtype=np.double)[self._marks])
        out = np.where(there, capacity, 0.0)
        heavy = out.sum(axis=0) > slack
        rising = np.sort(np.where(there, capacity, np.inf)[:, heavy], axis=0)
        fit = (np.cumsum(rising, axis=0) <= slack[heavy]).sum(axis=0)
        falling = np.cumsum(-np.sort(-out[:, heavy], axis=0), axis=0)
        most = np.where(fit > 0, falling[fit - 1, np.arange(len(fit))] if len(fit) else 0.0, 0.0)
        yield RowTable.gathered(columns, first[heavy], size[heavy], fit.astype(np.double))
        by_weight = np.flatnonzero(heavy)[most > slack[heavy]]
        yield RowTable.gathered(columns, first[by_weight], size[by_weight], slack[by_weight], capacity[pump, mark])
        spare = np.maximum(0.0, np.array(ground.spare, dtype=np.double)[self._marks])
        few = there.sum(axis=0) > spare
        yield RowTable.gathered(columns, first[few], size[few], spare[few])

    def at_work(self) -> Iterator[RowTable]:
        """No more hands at work than there are."""
        entries, marks, jobs = self._entries, self._marks, len(self._jobs)
        entry = np.repeat(np.arange(len(entries)), [len(one.work.hands) for _, one in entries])
        step = np.fromiter(chain.from_iterable(one.work.hands for _, one in entries), dtype=np.int64)
        hands = np.fromiter(chain.from_iterable(one.work.hands.values() for _, one in entries), dtype=np.int64)
        mark = np.searchsorted(marks, step)
        own = (hands > 0) & (marks[np.minimum(mark, len(marks) - 1)] == step)
        entry, mark, hands = entry[own], mark[own], hands[own]
        if not len(entry):
            return
        key = mark * jobs + self._job[entry]
        order = np.argsort(key, kind="stable")
        entry, mark, hands, key = entry[order], mark[order], hands[order], key[order]
        by_job = _changes(key)
        most, least = np.maximum.reduceat(hands, by_job), np.minimum.reduceat(hands, by_job)
        at = mark[by_job]
        limit = np.array(self._ground.hands, dtype=np.int64)[marks[at]]
        begins = _changes(at)
        heavy = np.add.reduceat(most, begins) > limit[begins]
        fit = _count_within(least, at, begins, limit)
        rank = np.arange(len(at)) - np.repeat(begins, np.diff(np.append(begins, len(at))))
        heaviest = most[np.lexsort((-most, at))]
        fitting = np.where(rank < np.repeat(fit, np.diff(np.append(begins, len(at)))), heaviest, 0)
        weigh = heavy & (np.add.reduceat(fitting, begins) > limit[begins])
        first = by_job[begins]
        size = np.diff(np.append(first, len(key)))
        columns = self._column[entry]
        yield RowTable.gathered(columns, first[heavy], size[heavy], fit[heavy].astype(np.double))
        limits = limit[begins][weigh].astype(np.double)
        yield RowTable.gathered(columns, first[weigh], size[weigh], limits, hands.astype(np.double))


def _count_within(sizes: Ints, group: Ints, begins: Ints, limit: Ints) -> Ints:
    """For each group how many of its sizes, smallest first, stay within its limit together."""
    rising = sizes[np.lexsort((sizes, group))]
    total = np.cumsum(rising)
    before = np.repeat(total[begins] - rising[begins], np.diff(np.append(begins, len(sizes))))
    within: Ints = np.add.reduceat((total - before <= limit).astype(np.int64), begins)
    return within


def _changes(key: Ints) -> Ints:
    """Where a key that is sorted begins to be another."""
    return np.flatnonzero(np.concatenate([[True], key[1:] != key[:-1]])) if len(key) else np.zeros(0, dtype=np.int64)


def _flags(group: Ints, kind: Ints) -> Ints:
    """1 where the kind, sorted within its group, is another than before."""
    new = np.ones(len(group), dtype=np.int64)
    new[1:] = (group[1:] != group[:-1]) | (kind[1:] != kind[:-1])
    return new


def _day_rows(ground: Ground, field: OpenOffers) -> Iterator[RowTable]:
    """Nobody works longer in a day than a person may; only for days that are longer than that."""
    long = {day for day, hours in ground.hours_at_work.items() if hours > ground.problem.person_hours}
    if long:
        entry, day, hours = _spent([one.work.man_hours for _, one in field.entries])
        own = np.isin(day, list(long))
        hours_a_person = ground.problem.person_hours
        yield _at_most(
            field,
            entry[own],
            day[own],
            hours[own],
            lambda days: np.array([hours_a_person * ground.most_hands[d] for d in days.tolist()], dtype=np.double),
        )


def _spent(by_entry: Sequence[Mapping[int, int]]) -> tuple[Ints, Ints, Ints]:
    """(entry, day or week, what it takes in it), one after the other."""
    return (
        np.repeat(np.arange(len(by_entry)), [len(own) for own in by_entry]),
        np.fromiter(chain.from_iterable(by_entry), dtype=np.int64),
        np.fromiter(chain.from_iterable(own.values() for own in by_entry), dtype=np.int64),
    )


def _at_most(field: OpenOffers, entry: Ints, day: Ints, takes: Ints, limits: Callable[[Ints], Floats]) -> RowTable:
    """A row for each day (or week) in which the jobs can take more than its limit, each in one of its columns."""
    if not len(entry):
        return RowTable.of(())
    job = np.array([index for index, _ in field.entries])[entry]
    order = np.lexsort((job, day))
    by_job = np.flatnonzero(_flags(day[order], job[order]))
    most, days = np.maximum.reduceat(takes[order], by_job), day[order][by_job]
    begins = _changes(days)
    limit = limits(days[begins])
    heavy = np.add.reduceat(most, begins) > limit
    column = columns_by_entry(field)[entry]
    order = np.lexsort((column, day))
    by_column = np.flatnonzero(_flags(day[order], column[order]))
    weight = np.add.reduceat(takes[order], by_column)
    first = _changes(day[order][by_column])
    size = np.diff(np.append(first, len(by_column)))
    return RowTable.gathered(
        column[order][by_column], first[heavy], size[heavy], limit[heavy], weight.astype(np.double)
    )
