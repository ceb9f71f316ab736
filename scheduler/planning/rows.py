"""The rows of the programme: capacity, hands and one job a pump, only where they can bind; and the crew's busiest week."""

from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from scheduler.planning.ground import Candidate, Ground, hands_at_work
from scheduler.planning.model import Row
from scheduler.planning.offers import Field
from scheduler.planning.tiers import WEEK_DAYS, man_days

Group = Sequence[tuple[int, int]]
"""(column, weight) of columns of which one at most is used."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """Which column means what. members: (job number, candidate), two for a shared isolation, from column 0; unplaced,
    late: column of a job key; peak: column of what the busiest week has above its floor."""

    members: tuple[tuple[tuple[int, Candidate], ...], ...]
    of_job: tuple[tuple[int, ...], ...]
    unplaced: Mapping[str, int]
    late: Mapping[str, int]
    peak: int | None
    count: int

    def candidate(self, column: int, index: int) -> Candidate:
        """What the column means for the job of that number."""
        return next(candidate for i, candidate in self.members[column] if i == index)

    def candidates_of(self, index: int) -> list[Candidate]:
        """What each of the job's columns means for it."""
        return [self.candidate(column, index) for column in self.of_job[index]]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Present:
    """A column that has a slot over a step: of which job, and the hands it takes there."""

    column: int
    index: int
    hands: int


def plant_rows(ground: Ground, field: Field, columns: Columns) -> list[Row]:
    """What the plant and its crew can bear, at the steps where the set of possible slots is largest."""
    takes = {
        (column, index): hands_at_work(field.offers[index].job, candidate)
        for column, members in enumerate(columns.members)
        for index, candidate in members
    }
    marks = _marks(ground, columns, takes.values())
    active: list[list[_Present]] = [[] for _ in marks]
    for column, members in enumerate(columns.members):
        for index, candidate in members:
            hands = takes[column, index]
            first = bisect_left(marks, max(0, candidate.start))
            for i in range(first, bisect_left(marks, candidate.end)):
                active[i].append(_Present(column=column, index=index, hands=hands.get(marks[i], 0)))
    least: dict[tuple[tuple[int, ...], tuple[int, ...]], int] = {}
    found = [
        row
        for step, present in zip(marks, active, strict=True)
        if len(present) > 1
        for row in _rows_at(ground, field, step, present)
    ]
    for row in found + _day_rows(ground, takes):
        shape = (row.columns, row.coefficients)
        least[shape] = min(row.at_most, least.get(shape, row.at_most))
    return [Row(columns=c, coefficients=a, at_most=most) for (c, a), most in least.items()]


def week_rows(ground: Ground, field: Field, columns: Columns, at_most: int) -> list[Row]:
    """No WEEK_DAYS days have more man-days than `at_most`, and what the peak column adds."""
    weeks: dict[int, dict[int, dict[int, int]]] = {}
    for column, members in enumerate(columns.members):
        for index, candidate in members:
            for day, hands in man_days(ground, field.offers[index].job, candidate).items():
                for first in range(day - WEEK_DAYS + 1, day + 1):
                    own = weeks.setdefault(first, {}).setdefault(index, {})
                    own[column] = own.get(column, 0) + hands
    rows: dict[tuple[tuple[int, ...], tuple[int, ...]], Row] = {}
    for _, by_job in sorted(weeks.items()):
        if sum(max(own.values()) for own in by_job.values()) <= at_most:
            continue
        weights: dict[int, int] = {} if columns.peak is None else {columns.peak: -1}
        for own in by_job.values():
            for column, hands in own.items():
                weights[column] = weights.get(column, 0) + hands
        row = _row_of(sorted(weights.items()), at_most)
        rows[row.columns, row.coefficients] = row
    return list(rows.values())


def _marks(ground: Ground, columns: Columns, takes: Iterable[Mapping[int, int]]) -> list[int]:
    """Steps at which a slot, or a stretch of its work, may begin or a fact changes: between them there is only less."""
    marks = {max(0, candidate.start) for members in columns.members for _, candidate in members}
    for hands in takes:
        marks.update(step for step, n in hands.items() if n > hands.get(step - 1, 0))
    for facts in (ground.slack, ground.hands, *ground.capacity.values()):
        marks.update(t for t in range(1, ground.steps) if facts[t] != facts[t - 1])
    return sorted(marks)


def _rows_at(ground: Ground, field: Field, step: int, present: Sequence[_Present]) -> list[Row]:
    by_pump: dict[str, list[int]] = {}
    by_job: dict[int, list[tuple[int, int]]] = {}
    tests: dict[str | None, list[int]] = {}
    jobs_of: dict[str, set[int]] = {}
    for there in present:
        job = field.offers[there.index].job
        if there.hands:
            by_job.setdefault(there.index, []).append((there.column, there.hands))
        if job.pump is not None:
            by_pump.setdefault(job.pump, []).append(there.column)
            jobs_of.setdefault(job.pump, set()).add(there.index)
        if job.stop_minutes > 0:
            tests.setdefault(job.tested, []).append(there.column)
            if job.tested is not None:
                jobs_of.setdefault(job.tested, set()).add(there.index)
    rows: list[Row] = []
    weights: list[Group] = []
    for pump, out in by_pump.items():
        row = ground.capacity_of(pump)
        if row is not None and row[step] > 0:
            weights.append([(c, row[step]) for c in out])
    for name, numbers in jobs_of.items():
        if len(numbers) > 1:
            rows.append(_count_row([*by_pump.get(name, ()), *tests.get(name, ())], 1))
    if len(tests) > 1 or (tests and len({p.index for p in present if field.offers[p.index].job.stop_minutes}) > 1):
        rows.append(_count_row([c for own in tests.values() for c in own], 1))
    for rule in ground.problem.not_together:
        groups = [by_pump[pump] for pump in sorted(set(rule.pumps)) if pump in by_pump]
        if len(groups) > rule.most_out:
            rows.append(_count_row([c for own in groups for c in own], rule.most_out))
    rows += _limit_rows(weights, max(0, ground.slack[step]))
    return rows + _limit_rows(list(by_job.values()), ground.hands[step])


def _day_rows(ground: Ground, takes: Mapping[tuple[int, int], Mapping[int, int]]) -> list[Row]:
    """Nobody works longer in a day than a person may; only for days that are longer than that."""
    at_work: dict[int, int] = {}
    for step, hands in enumerate(ground.hands):
        at_work[ground.day_of(step)] = at_work.get(ground.day_of(step), 0) + (hands > 0)
    long = {day for day, hours in at_work.items() if hours > ground.problem.person_hours}
    if not long:
        return []
    days: dict[int, dict[int, dict[int, int]]] = {}
    for (column, index), by_step in takes.items():
        for step, n in by_step.items():
            day = ground.day_of(step)
            if day in long:
                own = days.setdefault(day, {}).setdefault(index, {})
                own[column] = own.get(column, 0) + n
    rows = []
    for day, by_job in sorted(days.items()):
        limit = ground.problem.person_hours * ground.most_hands[day]
        if sum(max(own.values()) for own in by_job.values()) > limit:
            total: dict[int, int] = {}
            for own in by_job.values():
                for column, hours in own.items():
                    total[column] = total.get(column, 0) + hours
            rows.append(_row_of(sorted(total.items()), limit))
    return rows


def _limit_rows(groups: Sequence[Group], limit: int) -> list[Row]:
    """Rows for groups of columns, of each group one at most, that together may weigh no more than the limit.

    When only so many of them fit whatever they are, a row that counts them is tighter than the weights; where that row
    says it all (no two fit, or all weigh the same) it stands alone.
    """
    heaviest = sorted(max(w for _, w in group) for group in groups)
    if sum(heaviest) <= limit:
        return []
    fit, total = 0, 0
    for size in sorted(min(w for _, w in group) for group in groups):
        total += size
        if total > limit:
            break
        fit += 1
    entries = sorted(entry for group in groups for entry in group)
    count = _count_row([c for c, _ in entries], fit)
    if sum(heaviest[len(heaviest) - fit :]) <= limit:
        return [count]
    return [count, _row_of(entries, limit)]


def _count_row(columns: Sequence[int], at_most: int) -> Row:
    return _row_of([(c, 1) for c in sorted(set(columns))], at_most)


def _row_of(entries: Sequence[tuple[int, int]], at_most: int) -> Row:
    return Row(columns=tuple(c for c, _ in entries), coefficients=tuple(w for _, w in entries), at_most=at_most)
