"""The stagger problem as an integer programme: one 0/1 column a legal start or shared isolation, rows where they bind."""

from collections.abc import Iterator, Mapping, Sequence

from scheduler.planning.search.ground import STEPS_A_DAY, Ground, Start
from scheduler.planning.search.model import Model, ModelRow
from scheduler.planning.search.offers import OpenOffers, lost
from scheduler.planning.search.overlaps import Overlap, overlap_rows, overlaps_of
from scheduler.planning.search.row_table import RowTable
from scheduler.planning.search.rows import Columns, plant_rows, week_rows
from scheduler.planning.search.tiers import KeptTier, Tier, days_past


def columns_of(ground: Ground, field: OpenOffers, *, late_allowed: bool, peak: bool, overlaps: int = 0) -> Columns:
    """A column for each open start and shared isolation, for each job that may stay without a place, for the days a
    chain may add, for what the busiest week has above its floor, and for what is added in each overlap."""
    of_job: list[list[tuple[int, Start]]] = [[] for _ in field.offers]
    for column, place in enumerate(field.places):
        for index, candidate in place:
            of_job[index].append((column, candidate))
    count = len(field.places)
    unplaced: dict[str, int] = {}
    late: dict[str, int] = {}
    for offer in field.offers:
        if not offer.must:
            unplaced[offer.job.key] = count
            count += 1
    if late_allowed:
        for offer in field.offers:
            if offer.job.key in ground.previous and offer.job.interval_steps is not None:
                late[offer.job.key] = count
                count += 1
    return Columns(
        of_job=tuple(tuple(own) for own in of_job),
        unplaced=unplaced,
        late=late,
        peak=count if peak else None,
        count=count + peak + overlaps,
        together=tuple(range(count + peak, count + peak + overlaps)),
    )


def build(ground: Ground, field: OpenOffers, kept: Sequence[KeptTier], tier: Tier, value: int) -> tuple[Model, Columns]:
    """The programme whose optimum is the tier's best value while every kept tier stays as good as it is.

    Its cost counts from the field's floor and what is `lost`; `value` is the tier's value so far.
    """
    late_days = _late_days_left(ground, field, kept)
    floor = field.floor(ground, tier)
    crossed = tier.crossed or any(k.tier.crossed for k in kept)
    overlaps = overlaps_of(ground, field) if crossed else ()
    columns = columns_of(ground, field, late_allowed=late_days > 0, peak=tier.peak, overlaps=len(overlaps))
    tables = [plant_rows(ground, field), RowTable.of(_chain_rows(ground, field, columns))]
    tables += [
        week_rows(field, columns, k.value)
        if k.tier.peak
        else RowTable.of(_kept_rows(ground, field, columns, k, overlaps))
        for k in kept
    ]
    tables.append(RowTable.of(tuple(overlap_rows(overlaps, columns))))
    if tier.peak:
        tables.append(week_rows(field, columns, floor))
    choices = []
    for offer, own in zip(field.offers, columns.of_job, strict=True):
        without = columns.unplaced.get(offer.job.key)
        choices.append((*(column for column, _ in own), *(() if without is None else (without,))))
    upper = [1] * columns.count
    for column in columns.late.values():
        upper[column] = 0
    most_late = min(late_days, max(0, value - floor)) if tier.chained else late_days
    for this, that in _chains(ground, field, columns):
        late = columns.late.get(field.offers[this].job.key)
        if late is not None:
            upper[late] = min(most_late, _most_added(field, columns, this, that))
    for column, overlap in zip(columns.together, overlaps, strict=True):
        upper[column] = overlap.most
    if columns.peak is not None:
        upper[columns.peak] = max(0, value - floor)
    model = Model(
        cost=_costs(ground, field, columns, tier, overlaps, less_least=True),
        upper=tuple(upper),
        choices=tuple(choices),
        rows=RowTable.joined(tables),
        known=value - floor - lost(ground, field, tier),
    )
    return model, columns


def _late_days_left(ground: Ground, field: OpenOffers, kept: Sequence[KeptTier]) -> int:
    """Days of lateness not yet spoken for: bounds what chains may add."""
    for k in kept:
        if k.tier.chained:
            return k.value - field.floor(ground, k.tier)
    return 10_000


def _costs(
    ground: Ground, field: OpenOffers, columns: Columns, tier: Tier, overlaps: Sequence[Overlap], *, less_least: bool
) -> tuple[int, ...]:
    """Cost of each column; with less_least a job's smallest cost is taken off all of its columns."""
    least = field.least(ground, tier) if less_least else [0] * len(field.offers)
    cost = field.above_least(ground, tier) if less_least else field.place_costs(ground, tier)
    cost += [0] * (columns.count - len(cost))
    for offer, own in zip(field.offers, least, strict=True):
        if offer.job.key in columns.unplaced:
            cost[columns.unplaced[offer.job.key]] = tier.unplaced(offer.job) - own
    if tier.chained:
        for column in columns.late.values():
            cost[column] = 1
    if tier.crossed:
        for column, overlap in zip(columns.together, overlaps, strict=True):
            cost[column] = overlap.hours
    if tier.peak and columns.peak is not None:
        cost[columns.peak] = 1
    return tuple(cost)


def _kept_rows(
    ground: Ground, field: OpenOffers, columns: Columns, kept: KeptTier, overlaps: Sequence[Overlap]
) -> list[ModelRow]:
    tier = kept.tier
    at_most = kept.value - lost(ground, field, tier)
    more = (tier.chained and columns.late) or (tier.crossed and columns.together)
    if sum(field.most(ground, tier)) <= at_most and not more:
        return []
    cost = _costs(ground, field, columns, tier, overlaps, less_least=False)
    used = tuple(c for c, value in enumerate(cost) if value)
    return [ModelRow(columns=used, coefficients=tuple(cost[c] for c in used), at_most=at_most)]


def _chains(ground: Ground, field: OpenOffers, columns: Columns) -> Iterator[tuple[int, int]]:
    """(this, that): numbers of two jobs of the field with a place, this one to be done after that one."""
    index_of = {offer.job.key: i for i, offer in enumerate(field.offers)}
    for key, before in ground.previous.items():
        this, that = index_of.get(key), index_of.get(before)
        if this is not None and that is not None and columns.of_job[this] and columns.of_job[that]:
            yield this, that


def _chain_rows(ground: Ground, field: OpenOffers, columns: Columns) -> list[ModelRow]:
    rows = []
    for this, that in _chains(ground, field, columns):
        rows += _order_row(field, columns, this, that)
        rows += _lateness_row(field, columns, this, that)
    return rows


def _order_row(field: OpenOffers, columns: Columns, this: int, that: int) -> list[ModelRow]:
    """This job starts no earlier than the end of the one before it."""
    first_start = min(c.start for _, c in columns.of_job[this])
    last_end = max(c.end for _, c in columns.of_job[that])
    if first_start >= last_end:
        return []
    terms = {column: c.end - first_start for column, c in columns.of_job[that]}
    terms |= {column: first_start - c.start for column, c in columns.of_job[this]}
    if field.offers[this].job.key in columns.unplaced:
        terms[columns.unplaced[field.offers[this].job.key]] = first_start - last_end
    return [_row(terms, 0)]


def _most_added(field: OpenOffers, columns: Columns, this: int, that: int) -> int:
    """The most days that the chain can add to this job. With 10,000 as the bound HiGHS 1.13.1 was seen to claim a false optimum."""
    return max(0, -(-max(_past_chain(field, columns, this, that).values()) // STEPS_A_DAY))


def _past_chain(field: OpenOffers, columns: Columns, this: int, that: int) -> dict[int, int]:
    """By column of this job the steps, beyond its own days late, that it is past the limit the earliest end before it sets."""
    job = field.offers[this].job
    allowed = (job.interval_steps or 0) + max(0, job.limit - job.due)
    first_end = min(c.end for _, c in columns.of_job[that])
    return {
        column: c.end - first_end - allowed - STEPS_A_DAY * days_past(job.limit, c.end)
        for column, c in columns.of_job[this]
    }


def _lateness_row(field: OpenOffers, columns: Columns, this: int, that: int) -> list[ModelRow]:
    """Own days late + days the chain adds cover what this job is past the limit that the one before it sets."""
    job = field.offers[this].job
    if job.interval_steps is None:
        return []
    first_end = min(c.end for _, c in columns.of_job[that])
    terms = _past_chain(field, columns, this, that)
    most = max(terms.values())
    if most <= 0:
        return []
    terms |= {column: first_end - c.end for column, c in columns.of_job[that]}
    if field.offers[that].job.key in columns.unplaced:
        terms[columns.unplaced[field.offers[that].job.key]] = -most
    if job.key in columns.late:
        terms[columns.late[job.key]] = -STEPS_A_DAY
    return [_row(terms, 0)]


def _row(terms: Mapping[int, int], at_most: int) -> ModelRow:
    used = sorted(c for c, weight in terms.items() if weight)
    return ModelRow(columns=tuple(used), coefficients=tuple(terms[c] for c in used), at_most=at_most)
