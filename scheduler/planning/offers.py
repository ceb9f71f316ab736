"""What is still open to the search: the starts of each job, and the pairs of jobs that may share one isolation."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

from scheduler.planning.ground import Candidate, Ground, candidate_at, fact_against, may_be_open
from scheduler.planning.problem import PlanJob
from scheduler.planning.tiers import GROUP_PAST_DAYS, WEEK_DAYS, Tier, days_past, man_days, may_share, set_up_saved


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """A job with the starts still open to it. must: it has a place in every plan that counts."""

    job: PlanJob
    candidates: tuple[Candidate, ...]
    must: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairing:
    """Two jobs of one pump, by their number among the offers, and the places where the second goes on from the first."""

    first: int
    second: int
    places: tuple[tuple[Candidate, Candidate], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """The offers of all jobs that have a place at all, and the pairings between them."""

    offers: tuple[Offer, ...]
    pairings: tuple[Pairing, ...] = ()
    known_least: dict[str, list[int]] = field(default_factory=dict, compare=False, repr=False)
    """What `least` found before, by tier."""

    def candidates(self) -> Iterator[tuple[int, Candidate]]:
        """Every candidate with the number of its job, those in pairings too."""
        for index, offer in enumerate(self.offers):
            for candidate in offer.candidates:
                yield index, candidate
        for pairing in self.pairings:
            for one, other in pairing.places:
                yield pairing.first, one
                yield pairing.second, other

    def where(self, keep: Callable[[PlanJob, Candidate], bool]) -> "Field":
        """The field with only the candidates to keep; a pair stays when both of its members do."""
        jobs = [offer.job for offer in self.offers]
        offers = tuple(replace(o, candidates=tuple(c for c in o.candidates if keep(o.job, c))) for o in self.offers)
        pairings = (
            replace(p, places=tuple((a, b) for a, b in p.places if keep(jobs[p.first], a) and keep(jobs[p.second], b)))
            for p in self.pairings
        )
        return Field(offers=offers, pairings=tuple(p for p in pairings if p.places))

    def least(self, ground: Ground, tier: Tier) -> list[int]:
        """For each job the smallest cost that any of its candidates, or having no place, has in the tier."""
        known_least = self.known_least.get(tier.name)
        if known_least is not None:
            return known_least
        least = [None if offer.must else tier.unplaced(offer.job) for offer in self.offers]
        for index, candidate in self.candidates():
            cost, known = tier.cost(ground, self.offers[index].job, candidate), least[index]
            least[index] = cost if known is None else min(known, cost)
        self.known_least[tier.name] = [n or 0 for n in least]
        return self.known_least[tier.name]

    def floor(self, ground: Ground, tier: Tier) -> int:
        """The value no plan of the field can go below in the tier: each job at its own best, or a week that none avoids."""
        return self._floor_of_weeks(ground) if tier.peak else sum(self.least(ground, tier))

    def _floor_of_weeks(self, ground: Ground) -> int:
        loads: list[list[Mapping[int, int]]] = [[] for _ in self.offers]
        for index, candidate in self.candidates():
            loads[index].append(man_days(ground, self.offers[index].job, candidate))
        weeks: dict[int, int] = {}
        for offer, own in zip(self.offers, loads, strict=True):
            if not offer.must or not own:
                continue
            touched = {day - n for day in own[0] for n in range(WEEK_DAYS)}
            for first in touched:
                surely = min(sum(load.get(first + n, 0) for n in range(WEEK_DAYS)) for load in own)
                weeks[first] = weeks.get(first, 0) + surely
        return max(weeks.values(), default=0)


def field_of(ground: Ground, legal: Mapping[str, Sequence[Candidate]]) -> Field:
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
            if may_share(offers[first].job, offers[second].job):
                places = tuple(_places(ground, offers[first], offers[second].job))
                if places:
                    pairings.append(Pairing(first=first, second=second, places=places))
    seconds = {pairing.second for pairing in pairings}
    kept = [index for index, offer in enumerate(offers) if offer.candidates or index in seconds]
    number = {index: n for n, index in enumerate(kept)}
    return Field(
        offers=tuple(offers[index] for index in kept),
        pairings=tuple(replace(p, first=number[p.first], second=number[p.second]) for p in pairings),
    )


def _places(ground: Ground, first: Offer, job: PlanJob) -> Iterator[tuple[Candidate, Candidate]]:
    saved = set_up_saved(first.job, job)
    for one in first.candidates:
        if one.end < job.earliest or days_past(first.job.limit, one.end) > GROUP_PAST_DAYS:
            continue
        if days_past(job.limit, one.end) > GROUP_PAST_DAYS:
            break
        other = candidate_at(ground, job, one.end, saved)
        if other is None or days_past(job.limit, other.end) > GROUP_PAST_DAYS:
            continue
        if fact_against(ground, job, other) is None and may_be_open(ground, job, other):
            yield replace(one, pair=job.key), replace(other, pair=first.job.key, second=True)


def lost(ground: Ground, field: Field, tier: Tier) -> int:
    """What the jobs without any place cost in the tier; they have no column, so no row may leave room for them."""
    offered = {offer.job.key for offer in field.offers}
    return sum(tier.unplaced(job) for job in ground.jobs if job.key not in offered)
