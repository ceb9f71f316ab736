"""What is still open to the search: the starts of each job, and the pairs of jobs that may share one isolation."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import combinations, compress
from operator import add

from scheduler.planning.problem.values import PlanJob
from scheduler.planning.search.ground import Ground, Start, candidate_at, fact_against, may_be_open, own_dates, work_of
from scheduler.planning.search.tiers import GROUP_PAST_DAYS, Tier, days_past, may_share, set_up_saved

Entry = tuple[int, Start]
"""A candidate with the number of its job among the offers."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """A job with the starts still open to it. must: it has a place in every plan that counts."""

    job: PlanJob
    candidates: tuple[Start, ...]
    must: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairing:
    """Two jobs of one pump, by their number among the offers, and the places where the second goes on from the first."""

    first: int
    second: int
    places: tuple[tuple[Start, Start], ...]


@dataclass(frozen=True, kw_only=True)  # no slots: what is reckoned from it is kept with it
class OpenOffers:
    """The offers of all jobs that have a place at all, and the pairings between them."""

    offers: tuple[Offer, ...]
    pairings: tuple[Pairing, ...] = ()
    known_costs: dict[str, list[int]] = field(default_factory=dict, compare=False, repr=False)
    """What each entry costs, by tier: found once, and handed on to the fields made of this one."""
    known_least: dict[str, list[int]] = field(default_factory=dict, init=False, compare=False, repr=False)
    """What `least` found before, by tier; each field has its own."""

    @cached_property
    def entries(self) -> tuple[Entry, ...]:
        """Every candidate with the number of its job: first those alone, offer by offer, then both of each pair."""
        alone = [(index, candidate) for index, offer in enumerate(self.offers) for candidate in offer.candidates]
        pairs = [
            entry
            for pairing in self.pairings
            for one, other in pairing.places
            for entry in ((pairing.first, one), (pairing.second, other))
        ]
        return (*alone, *pairs)

    @cached_property
    def alone(self) -> int:
        """How many entries, from the first on, stand alone."""
        return sum(len(offer.candidates) for offer in self.offers)

    @cached_property
    def places(self) -> tuple[tuple[Entry, ...], ...]:
        """What can be chosen: an entry alone, or both of a pair."""
        pairs = iter(self.entries[self.alone :])
        return (*((entry,) for entry in self.entries[: self.alone]), *zip(pairs, pairs, strict=True))

    def keeping(self, stays: Sequence[bool]) -> "OpenOffers":
        """The field with only those of its places that stay."""
        if all(stays):
            return self
        by_entry = [*stays[: self.alone], *(stay for stay in stays[self.alone :] for _ in range(2))]
        left = iter(stays)
        offers = tuple(replace(o, candidates=tuple(compress(o.candidates, left))) for o in self.offers)
        pairings = [replace(p, places=tuple(compress(p.places, left))) for p in self.pairings]
        return OpenOffers(
            offers=offers,
            pairings=tuple(p for p in pairings if p.places),
            known_costs={tier: list(compress(costs, by_entry)) for tier, costs in self.known_costs.items()},
        )

    def with_must(self, must: Callable[[PlanJob], bool]) -> "OpenOffers":
        """The field in which those jobs too have a place in every plan that counts."""
        offers = tuple(o if o.must or not must(o.job) else replace(o, must=True) for o in self.offers)
        return self if offers == self.offers else replace(self, offers=offers)

    def costs(self, ground: Ground, tier: Tier) -> list[int]:
        """What each entry costs in the tier."""
        if tier.name not in self.known_costs:
            jobs = [offer.job for offer in self.offers]
            self.known_costs[tier.name] = [tier.cost(ground, jobs[index], one) for index, one in self.entries]
        return self.known_costs[tier.name]

    def place_costs(self, ground: Ground, tier: Tier) -> list[int]:
        """What each place costs in the tier, both jobs of a pair together."""
        return self._by_place(self.costs(ground, tier))

    def above_least(self, ground: Ground, tier: Tier) -> list[int]:
        """What each place costs in the tier above the smallest cost of its job, or of both."""
        least, costs = self.least(ground, tier), self.costs(ground, tier)
        return self._by_place([cost - least[index] for (index, _), cost in zip(self.entries, costs, strict=True)])

    def _by_place(self, figures: list[int]) -> list[int]:
        pairs = figures[self.alone :]
        return [*figures[: self.alone], *map(add, pairs[::2], pairs[1::2])]

    def least(self, ground: Ground, tier: Tier) -> list[int]:
        """For each job the smallest cost that any of its candidates, or having no place, has in the tier."""
        if tier.name not in self.known_least:
            self.known_least[tier.name] = self._least(ground, tier)
        return self.known_least[tier.name]

    def _least(self, ground: Ground, tier: Tier) -> list[int]:
        if tier.flat:
            paired = {index for index, _ in self.entries[self.alone :]}
            return [
                0 if offer.must or offer.candidates or index in paired else tier.unplaced(offer.job)
                for index, offer in enumerate(self.offers)
            ]
        return [min(own, default=0) for own in self._by_job(ground, tier)]

    def most(self, ground: Ground, tier: Tier) -> list[int]:
        """For each job the largest of these costs."""
        return [max(own, default=0) for own in self._by_job(ground, tier)]

    def _by_job(self, ground: Ground, tier: Tier) -> list[list[int]]:
        costs = self.costs(ground, tier)
        found, first = [], 0
        for offer in self.offers:
            last = first + len(offer.candidates)
            found.append(costs[first:last] if offer.must else [tier.unplaced(offer.job), *costs[first:last]])
            first = last
        for (index, _), cost in zip(self.entries[first:], costs[first:], strict=True):
            found[index].append(cost)
        return found

    def all_cost_the_same(self, ground: Ground, tier: Tier) -> bool:
        """True when every plan of the field is worth the same in the tier: every job has a place, and one is like the other."""
        return not tier.peak and all(offer.must for offer in self.offers) and not any(self.above_least(ground, tier))

    def floor(self, ground: Ground, tier: Tier) -> int:
        """The value no plan of the field can go below in the tier: each job at its own best, or a week that none avoids."""
        return self._floor_of_weeks() if tier.peak else sum(self.least(ground, tier))

    def _floor_of_weeks(self) -> int:
        loads: list[list[Mapping[int, int]]] = [[] for _ in self.offers]
        for index, candidate in self.entries:
            loads[index].append(candidate.work.man_weeks)
        weeks: dict[int, int] = {}
        for offer, own in zip(self.offers, loads, strict=True):
            for first in own[0] if offer.must and own else ():
                weeks[first] = weeks.get(first, 0) + min(load.get(first, 0) for load in own)
        return max(weeks.values(), default=0)


def field_of(ground: Ground, legal: Mapping[str, Sequence[Start]]) -> OpenOffers:
    """The field of every job's legal starts, with every pairing that the rules allow.

    A job that has no legal start of its own may still have a place on another's isolation.
    """
    offers = [Offer(job=j, candidates=tuple(legal[j.key]), must=False) for j in ground.jobs]
    by_pump: dict[str, list[int]] = {}
    for index, offer in enumerate(offers):
        if offer.job.pump is not None:
            by_pump.setdefault(offer.job.pump, []).append(index)
    pairings = []
    for indices in by_pump.values():
        in_order = sorted(indices, key=lambda i: (offers[i].job.ideal, offers[i].job.key))
        for first, second in combinations(in_order, 2):
            if not may_share(offers[first].job, offers[second].job):
                continue
            for one, other in ((first, second), (second, first)):
                places = tuple(_places(ground, offers[one], offers[other].job))
                if places:
                    pairings.append(Pairing(first=one, second=other, places=places))
    seconds = {pairing.second for pairing in pairings}
    kept = [index for index, offer in enumerate(offers) if offer.candidates or index in seconds]
    number = {index: n for n, index in enumerate(kept)}
    return OpenOffers(
        offers=tuple(offers[index] for index in kept),
        pairings=tuple(replace(p, first=number[p.first], second=number[p.second]) for p in pairings),
    )


def _places(ground: Ground, first: Offer, job: PlanJob) -> Iterator[tuple[Start, Start]]:
    saved, own = set_up_saved(first.job, job), own_dates(ground, job)
    for one in first.candidates:
        if (one.end < job.earliest and one.end not in own) or days_past(first.job.limit, one.end) > GROUP_PAST_DAYS:
            continue
        if days_past(job.limit, one.end) > GROUP_PAST_DAYS:
            break
        other = candidate_at(ground, job, one.end, saved)
        if other is None or days_past(job.limit, other.end) > GROUP_PAST_DAYS:
            continue
        if fact_against(ground, job, other) is None and may_be_open(ground, job.pump, other):
            yield replace(one, pair=job.key), replace(other, pair=first.job.key, second=True)


def least_late(ground: Ground, ends: Mapping[str, int]) -> dict[str, int]:
    """By job the days past its own limit that no place spares it, alone or going on from another's. ends: of its first start."""
    found = {job.key: days_past(job.limit, ends[job.key]) for job in ground.jobs}
    for job in ground.jobs:
        if found[job.key] and job.pump is not None:
            opens = min(job.earliest, *own_dates(ground, job), ends[job.key])
            for other in ground.jobs:
                if may_share(other, job):
                    end = max(opens, ends[other.key]) + work_of(job) - set_up_saved(other, job)
                    found[job.key] = min(found[job.key], days_past(job.limit, end))
    return found


def lost(ground: Ground, field: OpenOffers, tier: Tier) -> int:
    """What the jobs without any place cost in the tier; they have no column, so no row may leave room for them."""
    offered = {offer.job.key for offer in field.offers}
    return sum(tier.unplaced(job) for job in ground.jobs if job.key not in offered)
