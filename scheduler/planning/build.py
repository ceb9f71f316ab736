"""The stagger problem as an integer programme: one 0/1 column a legal start, rows only where they can bind."""

from bisect import bisect_left
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from scheduler.planning.ground import STEPS_A_DAY, Candidate, Ground
from scheduler.planning.model import Model, Row
from scheduler.planning.problem import PlanJob
from scheduler.planning.tiers import Tier, days_past


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """A job with the starts still open to it. must: it has a place in every plan that counts."""

    job: PlanJob
    candidates: tuple[Candidate, ...]
    must: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A tier already settled: no later answer may be worth more than `value` in it."""

    tier: Tier
    value: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """Which column means what. starts: (job index, candidate) from column 0; unplaced, late: column of a job key."""

    starts: tuple[tuple[int, Candidate], ...]
    of_job: tuple[tuple[int, ...], ...]
    unplaced: Mapping[str, int]
    late: Mapping[str, int]
    count: int


def columns_of(ground: Ground, offers: Sequence[Offer], late_allowed: bool) -> Columns:
    """A column for each open start, for each job that may stay without a place, and for the days a chain may add."""
    starts: list[tuple[int, Candidate]] = []
    of_job = []
    for index, offer in enumerate(offers):
        of_job.append(tuple(range(len(starts), len(starts) + len(offer.candidates))))
        starts.extend((index, candidate) for candidate in offer.candidates)
    count = len(starts)
    unplaced: dict[str, int] = {}
    late: dict[str, int] = {}
    for offer in offers:
        if not offer.must:
            unplaced[offer.job.key] = count
            count += 1
    if late_allowed:
        for offer in offers:
            if offer.job.key in ground.previous and offer.job.interval_steps is not None:
                late[offer.job.key] = count
                count += 1
    return Columns(starts=tuple(starts), of_job=tuple(of_job), unplaced=unplaced, late=late, count=count)


def build(
    ground: Ground, offers: Sequence[Offer], kept: Sequence[Kept], tier: Tier, value: int
) -> tuple[Model, Columns]:
    """The programme whose optimum is the tier's best value while every kept tier stays as good as it is.

    Its cost counts from `floor_of` the same offers and what is `lost`; `value` is the tier's value so far.
    """
    late_days = _late_days_left(offers, kept)
    columns = columns_of(ground, offers, late_days > 0)
    rows = _plant_rows(ground, offers, columns) + _chain_rows(ground, offers, columns)
    rows += [row for k in kept if (row := _kept_row(ground, offers, columns, k)) is not None]
    choices = [
        (*columns.of_job[i], columns.unplaced[offer.job.key])
        if offer.job.key in columns.unplaced
        else columns.of_job[i]
        for i, offer in enumerate(offers)
    ]
    upper = [1] * columns.count
    for column in columns.late.values():
        upper[column] = late_days
    model = Model(
        cost=_costs(offers, columns, tier, less_least=True),
        upper=tuple(upper),
        choices=tuple(choices),
        rows=tuple(rows),
        known=value - floor_of(offers, tier) - lost(ground, offers, tier),
    )
    return model, columns


def floor_of(offers: Sequence[Offer], tier: Tier) -> int:
    """The value no plan can go below in that tier: every job at its own best start."""
    return sum(min(_own_costs(offer, tier), default=0) for offer in offers)


def lost(ground: Ground, offers: Sequence[Offer], tier: Tier) -> int:
    """What the jobs without any legal start cost in the tier; they have no column, so no row may leave room for them."""
    offered = {offer.job.key for offer in offers}
    return sum(tier.unplaced(job) for job in ground.jobs if job.key not in offered)


def _own_costs(offer: Offer, tier: Tier) -> list[int]:
    own = [tier.cost(offer.job, candidate) for candidate in offer.candidates]
    return own if offer.must else [*own, tier.unplaced(offer.job)]


def _late_days_left(offers: Sequence[Offer], kept: Sequence[Kept]) -> int:
    """Days of lateness not yet spoken for: bounds what chains may add."""
    for k in kept:
        if k.tier.chained:
            return k.value - floor_of(offers, k.tier)
    return 10_000


def _costs(offers: Sequence[Offer], columns: Columns, tier: Tier, *, less_least: bool) -> tuple[int, ...]:
    """Cost of each column; with less_least a job's smallest cost is taken off all of its columns."""
    cost = [0] * columns.count
    for index, offer in enumerate(offers):
        own = {c: tier.cost(offer.job, columns.starts[c][1]) for c in columns.of_job[index]}
        if offer.job.key in columns.unplaced:
            own[columns.unplaced[offer.job.key]] = tier.unplaced(offer.job)
        least = min(own.values(), default=0) if less_least else 0
        for column, value in own.items():
            cost[column] = value - least
    if tier.chained:
        for column in columns.late.values():
            cost[column] = 1
    return tuple(cost)


def _kept_row(ground: Ground, offers: Sequence[Offer], columns: Columns, kept: Kept) -> Row | None:
    cost = _costs(offers, columns, kept.tier, less_least=False)
    most = 0
    for index, offer in enumerate(offers):
        own = [
            *columns.of_job[index],
            *([columns.unplaced[offer.job.key]] if offer.job.key in columns.unplaced else []),
        ]
        most += max((cost[c] for c in own), default=0)
    at_most = kept.value - lost(ground, offers, kept.tier)
    if most <= at_most and not (kept.tier.chained and columns.late):
        return None
    used = tuple(c for c, value in enumerate(cost) if value)
    return Row(columns=used, coefficients=tuple(cost[c] for c in used), at_most=at_most)


def _plant_rows(ground: Ground, offers: Sequence[Offer], columns: Columns) -> list[Row]:
    """Capacity, hands and one job at a time in a pump, at the steps where the set of possible slots is largest."""
    marks = _marks(ground, columns)
    active: list[list[int]] = [[] for _ in marks]
    for column, (_, candidate) in enumerate(columns.starts):
        first = bisect_left(marks, max(0, candidate.start))
        for i in range(first, bisect_left(marks, candidate.end)):
            active[i].append(column)
    least: dict[tuple[tuple[int, ...], tuple[int, ...]], int] = {}
    for step, present in zip(marks, active, strict=True):
        if len(present) < 2:
            continue
        for row in _rows_at(ground, offers, columns, step, present):
            shape = (row.columns, row.coefficients)
            least[shape] = min(row.at_most, least.get(shape, row.at_most))
    return [Row(columns=c, coefficients=a, at_most=most) for (c, a), most in least.items()]


def _marks(ground: Ground, columns: Columns) -> list[int]:
    """Steps at which a slot may begin or a fact changes: between them the possible slots only become fewer."""
    marks = {max(0, candidate.start) for _, candidate in columns.starts}
    for facts in (ground.slack, ground.hands, *ground.capacity.values()):
        marks.update(t for t in range(1, ground.steps) if facts[t] != facts[t - 1])
    return sorted(marks)


def _rows_at(ground: Ground, offers: Sequence[Offer], columns: Columns, step: int, present: Sequence[int]) -> list[Row]:
    by_pump: dict[str, list[int]] = {}
    by_job: dict[int, list[int]] = {}
    for column in present:
        index = columns.starts[column][0]
        by_job.setdefault(index, []).append(column)
        pump = offers[index].job.pump
        if pump is not None:
            by_pump.setdefault(pump, []).append(column)
    rows: list[Row] = []
    weights: list[tuple[Sequence[int], int]] = []
    for pump, columns_out in by_pump.items():
        row = ground.capacity_of(pump)
        if row is not None and row[step] > 0:
            weights.append((columns_out, row[step]))
        if len({columns.starts[c][0] for c in columns_out}) > 1:
            rows.append(Row(columns=tuple(columns_out), coefficients=(1,) * len(columns_out), at_most=1))
    rows += _limit_rows(weights, max(0, ground.slack[step]))
    hands = ground.hands[step]
    at_work = [(own, n) for i, own in by_job.items() if 0 < (n := offers[i].job.hands) <= hands]
    return rows + _limit_rows(at_work, hands)


def _limit_rows(weights: Sequence[tuple[Sequence[int], int]], limit: int) -> list[Row]:
    """Rows for groups of columns, of each group one at most, that together may weigh no more than the limit.

    When only so many of them fit whatever they are, a row that counts them is tighter than the weights; where that row
    says it all (no two fit, or all weigh the same) it stands alone.
    """
    if sum(w for _, w in weights) <= limit:
        return []
    sizes = sorted(w for _, w in weights)
    fit, total = 0, 0
    for size in sizes:
        total += size
        if total > limit:
            break
        fit += 1
    entries = sorted((column, w) for group, w in weights for column in group)
    chosen = tuple(c for c, _ in entries)
    count = Row(columns=chosen, coefficients=(1,) * len(chosen), at_most=fit)
    if sum(sizes[len(sizes) - fit :]) <= limit:
        return [count]
    return [count, Row(columns=chosen, coefficients=tuple(w for _, w in entries), at_most=limit)]


def _chain_rows(ground: Ground, offers: Sequence[Offer], columns: Columns) -> list[Row]:
    index_of = {offer.job.key: i for i, offer in enumerate(offers)}
    rows = []
    for key, before in ground.previous.items():
        if key not in index_of or before not in index_of:
            continue
        this, that = index_of[key], index_of[before]
        if not columns.of_job[this] or not columns.of_job[that]:
            continue
        rows += _order_row(offers, columns, this, that)
        rows += _lateness_row(offers, columns, this, that)
    return rows


def _order_row(offers: Sequence[Offer], columns: Columns, this: int, that: int) -> list[Row]:
    """This job starts no earlier than the end of the one before it."""
    first_start = min(c.start for c in offers[this].candidates)
    last_end = max(c.end for c in offers[that].candidates)
    if first_start >= last_end:
        return []
    terms = _terms(columns, that, lambda c: c.end - first_start)
    terms |= _terms(columns, this, lambda c: first_start - c.start)
    if offers[this].job.key in columns.unplaced:
        terms[columns.unplaced[offers[this].job.key]] = first_start - last_end
    return [_row(terms, 0)]


def _lateness_row(offers: Sequence[Offer], columns: Columns, this: int, that: int) -> list[Row]:
    """Own days late + days the chain adds cover what this job is past the limit that the one before it sets."""
    job = offers[this].job
    if job.interval_steps is None:
        return []
    allowed = job.interval_steps + max(0, job.limit - job.due)
    first_end = min(c.end for c in offers[that].candidates)
    past = {c: c.end - first_end - allowed - STEPS_A_DAY * days_past(job.limit, c.end) for c in offers[this].candidates}
    most = max(past.values())
    if most <= 0:
        return []
    terms = _terms(columns, this, lambda c: past[c])
    terms |= _terms(columns, that, lambda c: first_end - c.end)
    if offers[that].job.key in columns.unplaced:
        terms[columns.unplaced[offers[that].job.key]] = -most
    if job.key in columns.late:
        terms[columns.late[job.key]] = -STEPS_A_DAY
    return [_row(terms, 0)]


def _terms(columns: Columns, index: int, weight: Callable[[Candidate], int]) -> dict[int, int]:
    return {column: weight(columns.starts[column][1]) for column in columns.of_job[index]}


def _row(terms: Mapping[int, int], at_most: int) -> Row:
    used = sorted(c for c, weight in terms.items() if weight)
    return Row(columns=tuple(used), coefficients=tuple(terms[c] for c in used), at_most=at_most)
