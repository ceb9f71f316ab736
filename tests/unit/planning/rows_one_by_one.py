"""The rows of the programme, step by step and row by row: what the rows in arrays are compared with."""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from itertools import chain

from scheduler.planning.problem.values import PlanJob
from scheduler.planning.search.ground import Ground
from scheduler.planning.search.model import ModelRow
from scheduler.planning.search.offers import OpenOffers
from scheduler.planning.search.rows import Columns

Group = Sequence[tuple[int, int]]
"""(column, weight) of columns of which one at most is used."""


Places = Mapping[int, Sequence[tuple[int, int]]]
"""By job number its columns that have a slot over a step, with the hands each takes there."""


def plant_rows_of_each_step(ground: Ground, field: OpenOffers, columns: Columns) -> list[ModelRow]:
    """What the plant and its crew can bear, at the steps where the set of possible slots is largest."""
    marks = _marks(ground, field)
    active: list[dict[int, list[tuple[int, int]]]] = [defaultdict(list) for _ in marks]
    for index, own in enumerate(columns.of_job):
        for column, candidate in own:
            hands = candidate.work.hands
            first = bisect_left(marks, max(0, candidate.start))
            for i in range(first, bisect_left(marks, candidate.end, first)):
                active[i][index].append((column, hands.get(marks[i], 0)))
    jobs = [offer.job for offer in field.offers]
    least: dict[tuple[tuple[int, ...], tuple[int, ...]], int] = {}
    found = [
        row
        for step, present in zip(marks, active, strict=True)
        if sum(map(len, present.values())) > 1
        for row in _rows_at(ground, jobs, step, present)
    ]
    for row in found + _day_rows(ground, columns):
        shape = (row.columns, row.coefficients)
        least[shape] = min(row.at_most, least.get(shape, row.at_most))
    return [ModelRow(columns=c, coefficients=a, at_most=most) for (c, a), most in least.items()]


def week_rows_of_each_day(columns: Columns, at_most: int) -> list[ModelRow]:
    """No WEEK_DAYS days have more man-days than `at_most`, and what the peak column adds."""
    weeks: dict[int, dict[int, dict[int, int]]] = defaultdict(lambda: defaultdict(dict))
    for index, own in enumerate(columns.of_job):
        for column, candidate in own:
            for first, hands in candidate.work.man_weeks.items():
                weeks[first][index][column] = hands
    rows: dict[tuple[tuple[int, ...], tuple[int, ...]], ModelRow] = {}
    for _, by_job in sorted(weeks.items()):
        if _most(by_job) <= at_most:
            continue
        weights = _together(by_job)
        if columns.peak is not None:
            weights[columns.peak] = -1
        row = _row_of(sorted(weights.items()), at_most)
        rows[row.columns, row.coefficients] = row
    return list(rows.values())


def _most(by_job: Mapping[int, Mapping[int, int]]) -> int:
    """The most that jobs can weigh together, each in one of its columns."""
    return sum(max(own.values()) for own in by_job.values())


def _together(by_job: Mapping[int, Mapping[int, int]]) -> dict[int, int]:
    """What each column weighs, for all its jobs."""
    weights: dict[int, int] = {}
    for own in by_job.values():
        for column, weight in own.items():
            weights[column] = weights.get(column, 0) + weight
    return weights


def _marks(ground: Ground, field: OpenOffers) -> list[int]:
    """Steps at which a slot, or a stretch of its work, may begin or a fact changes: between them there is only less."""
    marks = set(ground.turns)
    for _, candidate in field.entries:
        marks.add(max(0, candidate.start))
        marks.update(candidate.work.begins)
    return sorted(marks)


def _rows_at(ground: Ground, jobs: Sequence[PlanJob], step: int, present: Places) -> list[ModelRow]:
    by_pump: dict[str, list[int]] = defaultdict(list)
    tests: dict[str | None, list[int]] = defaultdict(list)
    jobs_of: dict[str, set[int]] = defaultdict(set)
    testing = 0
    for index, places in present.items():
        job = jobs[index]
        if job.pump is not None:
            by_pump[job.pump] += [column for column, _ in places]
            jobs_of[job.pump].add(index)
        if job.stop_minutes > 0:
            testing += 1
            tests[job.tested] += [column for column, _ in places]
            if job.tested is not None:
                jobs_of[job.tested].add(index)
    rows: list[ModelRow] = []
    weights: list[Group] = []
    for pump, out in by_pump.items():
        row = ground.capacity_of(pump)
        if row is not None and row[step] > 0:
            weights.append([(c, row[step]) for c in out])
    for name, numbers in jobs_of.items():
        if len(numbers) > 1:
            rows.append(_count_row([*by_pump.get(name, ()), *tests.get(name, ())], 1))
    if testing > 1:
        rows.append(_count_row([c for own in tests.values() for c in own], 1))
    for rule in ground.problem.not_together:
        groups = [by_pump[pump] for pump in sorted(set(rule.pumps)) if pump in by_pump]
        if len(groups) > rule.most_out:
            rows.append(_count_row([c for own in groups for c in own], rule.most_out))
    rows += _closed_rows(jobs, present, by_pump)
    rows += _limit_rows(weights, max(0, ground.slack[step]))
    rows += _limit_rows([[(c, 1) for c, _ in group] for group in weights], max(0, ground.spare[step]))
    at_work = ([place for place in places if place[1]] for places in present.values())
    return rows + _limit_rows([places for places in at_work if places], ground.hands[step])


def _closed_rows(jobs: Sequence[PlanJob], present: Places, by_pump: Mapping[str, list[int]]) -> list[ModelRow]:
    """A job that needs every pump closed is not on while one is open."""
    return [
        _count_row([*open_here, *(column for column, _ in places)], 1)
        for index, places in present.items()
        if jobs[index].all_closed
        for open_here in by_pump.values()
    ]


def _day_rows(ground: Ground, columns: Columns) -> list[ModelRow]:
    """Nobody works longer in a day than a person may; only for days that are longer than that."""
    long = {day for day, hours in ground.hours_at_work.items() if hours > ground.problem.person_hours}
    days: dict[int, dict[int, dict[int, int]]] = defaultdict(lambda: defaultdict(dict))
    for index, own in enumerate(columns.of_job) if long else ():
        for column, candidate in own:
            for day, hours in candidate.work.man_hours.items():
                if day in long:
                    days[day][index][column] = hours
    rows = []
    for day, by_job in sorted(days.items()):
        limit = ground.problem.person_hours * ground.most_hands[day]
        if _most(by_job) > limit:
            rows.append(_row_of(sorted(_together(by_job).items()), limit))
    return rows


def _limit_rows(groups: Sequence[Group], limit: int) -> list[ModelRow]:
    """Rows for groups of columns, of each group one at most, that together may weigh no more than the limit.

    When only so many of them fit whatever they are, a row that counts them is tighter than the weights; where that row
    says it all (no two fit, or all weigh the same) it stands alone.
    """
    heaviest = sorted([max([w for _, w in group]) for group in groups])
    if sum(heaviest) <= limit:
        return []
    fit, total = 0, 0
    for size in sorted([min([w for _, w in group]) for group in groups]):
        total += size
        if total > limit:
            break
        fit += 1
    entries = sorted(chain.from_iterable(groups))
    count = _count_row([c for c, _ in entries], fit)
    if sum(heaviest[len(heaviest) - fit :]) <= limit:
        return [count]
    return [count, _row_of(entries, limit)]


def _count_row(columns: Iterable[int], at_most: int) -> ModelRow:
    used = tuple(sorted(set(columns)))
    return ModelRow(columns=used, coefficients=(1,) * len(used), at_most=at_most)


def _row_of(entries: Iterable[tuple[int, int]], at_most: int) -> ModelRow:
    columns, weights = zip(*entries, strict=True)
    return ModelRow(columns=columns, coefficients=weights, at_most=at_most)
