"""The stagger planner: a frozen problem in, always a plan out, tier by tier, with what was proven.

Greedy gives the first witness. For each tier the solver is asked only where the witness is above what every job could
reach alone; its answer is checked and counted anew, and an answer that fails, breaks a rule or is worse keeps the
witness and leaves the tier "not proven".
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil, isfinite
from typing import TYPE_CHECKING

from scheduler.planning.problem.values import Plan, Problem, Remark, RemarkCode, TierResult
from scheduler.planning.search.assemble import assemble
from scheduler.planning.search.greedy import LaterStarts, greedy, greedy_in_time, lawful, legal_offers
from scheduler.planning.search.ground import WEEK_DAYS, Ground, Start, hands_needed, legal_starts, survey
from scheduler.planning.search.model import ROUNDING, Effort, Model, Optimise, Solution, SolveEnd
from scheduler.planning.search.offers import Entry, OpenOffers, field_of, least_late, lost
from scheduler.planning.search.tiers import TIERS, KeptTier, Placement, Tier, days_past, tier_value, tiers_of, values_of

if TYPE_CHECKING:
    from scheduler.planning.search.rows import Columns

SLIP = 1e-6
"""Share of a value by which a solver's bound may lie above it by rounding alone; more than that contradicts itself."""

NOISE = 1e-9
"""Share of a bound by which it may lie off a whole number by rounding alone; a millionth in any case."""

NO_LIMIT = 2**52
"""A value that none is above."""

NEAR_DAYS = 14
"""Days past the limit, or past what no place spares a job, that are looked at first; the whole grid only if that is not enough."""

LITTLE_ROOM = 1
"""Days by which a plan may be late beyond what no place spares it, for bounds to be taken on trust. Measured: with more, some
plans take longer so."""


def stagger(
    problem: Problem,
    *,
    optimise: Optimise | None = None,
    up_to: int = TIERS[-1].tier,
    trust: bool = True,
    digest: str = "",
) -> Plan:
    """The best plan of the problem: slots, and a shortfall for each job that has none.

    Args:
        problem: the frozen problem; nothing else is known.
        optimise: the solver; HiGHS when none is given.
        up_to: the last tier that is searched for; those after it are as they come, not proven.
        trust: bounds may stand for values until an answer confirms them, where the plain rule is hardly later than must be; the
            plan is the same.
        digest: of the problem, where the caller knows it.

    Returns:
        A plan whose tiers are proven best, or one that says which are not. It never raises for a problem that can be
        made: what cannot be done is a shortfall, and a solver that fails leaves the greedy plan, by "greedy".
    """
    ground = survey(problem)
    search, hardly_late = _Search.begin(ground, optimise or _highs)
    tiers = [tier for tier in tiers_of(problem) if tier.tier <= up_to]
    trusting = trust and hardly_late and not problem.even_margin  # what pumps out together add is far above its bound
    return (_trusting(search, tiers) if trusting else _one_by_one(search, tiers)).plan(digest)


def _one_by_one(search: "_Search", tiers: Sequence[Tier]) -> "_Search":
    """Every tier settled before the next is looked at."""
    for tier in tiers:
        search = search.settle(tier)
    return search


def _trusting(search: "_Search", tiers: Sequence[Tier]) -> "_Search":
    """Bounds are taken for the tiers' values until one lawful answer keeps them all, which proves them all.

    Where none does, the newest tier taken on trust is searched near its bound, then the one before it; the first that has
    an answer settles those before it. All columns are searched only while nothing is taken on trust.
    """
    before: list[tuple[int, _Search]] = []  # the tiers taken on trust, each with the search as it was before
    number, plainly = 0, -1
    while number < len(tiers):
        last = number == len(tiers) - 1
        if not before and (last or number == plainly or tiers[number].tier <= 1):
            search, number = search.settle(tiers[number]), number + 1
            continue
        found = search.looked_for(tiers[number], Effort.AT_BOUND if last else Effort.BOUND, alone=not before)
        if found is not None and not found.confirmed and not before and number == len(tiers) - 2:
            found = None  # the last tier alone confirms next to nothing
        if found is not None:
            before = [] if found.confirmed else [*before, (number, search)] if found.trusted else before
            search, number = found.search, number + 1
            continue
        while found is None and before:
            number, search = before.pop()
            plainly = number + 1
            if before:  # else nothing is on trust any more: it is settled
                near = Effort.NEAR if tiers[number].tier < 5 else Effort.AT_BOUND
                found = search.looked_for(tiers[number], near, alone=False)
        before, search, number = [], search.settle(tiers[number]) if found is None else found.search, number + 1
    return search


def greedy_plan(problem: Problem, *remarks: Remark) -> Plan:
    """The plan by the plain rule alone, never proven; `remarks` say why it was used."""
    ground = survey(problem)
    placement = greedy(ground, legal_offers(ground))
    tiers = [_unproven(ground, tier, placement) for tier in tiers_of(problem)]
    return assemble(ground, placement, tiers=tiers, by="greedy", solver="", remarks=remarks)


def _unproven(ground: Ground, tier: Tier, placement: Placement) -> TierResult:
    least = float(tier.least_of_a_job * len(ground.jobs))
    value = tier_value(ground, tier, placement)
    return TierResult(tier=tier.tier, name=tier.name, value=value, bound=least, proven=False)


def _a_little_late(ground: Ground) -> tuple[Placement, dict[str, int], int] | None:
    """The plain rule, by job the most days that it is past its limit in any plan as good: those that no place spares it, and
    what all are late together by the rule beyond that, which comes last. None where a job has no place or a given date moves.
    """
    first = {job.key: next(legal_starts(ground, job), None) for job in ground.jobs}
    ends = {key: one.end for key, one in first.items() if one is not None}
    if len(ends) < len(ground.jobs):
        return None
    late = {job.key: days_past(job.limit, ends[job.key]) + NEAR_DAYS for job in ground.jobs}
    placed = greedy(ground, {job.key: LaterStarts(ground, job, late[job.key]) for job in ground.jobs})
    *given, by_rule = (tier_value(ground, tier, placed) for tier in TIERS if tier.tier <= 1)
    if len(placed) < len(ground.jobs) or any(given):
        return None
    least = least_late(ground, ends)
    spare = by_rule - sum(least.values())
    return placed, {key: days + spare for key, days in least.items()}, spare


def _highs(model: Model) -> Solution:
    from scheduler.planning.search.highs import optimise  # here: the greedy plan must not pay for it

    return optimise(model)


def _asked(optimise: Optimise, model: Model) -> tuple[Solution, str]:
    """The solver's answer and how it ended; a solver that raises has failed like any other."""
    try:
        answer = optimise(model)
    except Exception as error:
        return Solution(outcome=SolveEnd.FAILED), f"{SolveEnd.FAILED}: {type(error).__name__}"
    return answer, str(answer.outcome)


def whole_bound(bound: float) -> float:
    """The bound as the whole number it stands for: costs are whole, so none lies between; a solver's rounding must not reach a
    plan's digest."""
    if not isfinite(bound):
        return bound
    near = round(bound)
    return float(near if abs(bound - near) <= max(1e-6, NOISE * abs(bound)) else ceil(bound))


def _bound(floor: int, said: float, value: int) -> tuple[float, bool]:
    """The bound to record, and whether the solver's own can be believed: none lies above a value that was reached."""
    if said > value + max(1.0, SLIP * value):
        return float(floor), False
    return (min(max(float(floor), said), float(value)) if isfinite(said) else float(floor)), True


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """A search one tier on. confirmed: an answer has the values of all its tiers, so none is on trust; trusted: this one is."""

    search: "_Search"
    confirmed: bool = False
    trusted: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class _Search:
    """Where the search stands after some tiers. field: the starts still open; witness: the best placement known."""

    ground: Ground
    optimise: Optimise
    field: OpenOffers
    witness: Placement
    kept: tuple[KeptTier, ...] = ()
    results: tuple[TierResult, ...] = ()
    remarks: tuple[Remark, ...] = ()
    solver: str = ""
    answered: bool = False
    failed: bool = False
    given_up: bool = False

    @staticmethod
    def begin(ground: Ground, optimise: Optimise) -> "tuple[_Search, bool]":
        """The greedy witness, and every legal start still open; whether the witness keeps given dates, hardly later than must be.

        First among starts that end by the limit: where the plain rule keeps every given date and is in time with these
        alone, no plan is better there, and a later start is in none as good. Else among those so far past it as a job can be in
        a plan no later than the rule's.
        """
        legal = legal_offers(ground, days_late=0)
        placed = greedy_in_time(ground, legal)
        if placed is not None and not any(tier_value(ground, tier, placed) for tier in TIERS if tier.tier <= 1):
            return _Search(ground=ground, optimise=optimise, field=field_of(ground, legal), witness=placed), True
        near = _a_little_late(ground)
        legal = legal_offers(ground, days_late=None if near is None else near[1])
        witness = greedy(ground, legal) if near is None else near[0]
        return _Search(
            ground=ground, optimise=optimise, field=field_of(ground, legal), witness=witness
        ), near is not None and near[2] <= LITTLE_ROOM

    def settle(self, tier: Tier) -> "_Search":
        """The search with this tier's value made as small as can be, or kept where the solver failed."""
        if self.given_up:
            return self
        value = tier_value(self.ground, tier, self.witness)
        search = self._within(tier, value) if value > self._floor(tier) else self
        floor = search._floor(tier)
        if value <= floor:
            return search._keep(tier, value, float(floor), proven=True)
        near = search._near(tier)
        if near is not None:
            trial = near._solve(tier, floor)
            if trial.results[-1].proven and trial.results[-1].value == floor:
                return replace(trial, field=search.field)._within(tier, floor)
        return search._solve(tier, floor)

    def looked_for(self, tier: Tier, effort: Effort, *, alone: bool) -> "_Found | None":
        """The search with the tier's value as its bound says, or as an answer near it has; none when there is no such answer.

        An answer that is lawful and worth just what was taken for the tiers before confirms them all. Without one, when no
        more than the bound was asked for, the bound is taken on trust.

        Args:
            alone: nothing before is on trust, so that no value above the witness's can be the best.
        """
        from scheduler.planning.search.build import build  # here: the greedy plan must not pay for numpy

        ground, floor, value = self.ground, self._floor(tier), tier_value(self.ground, tier, self.witness)
        if self.given_up:
            return None
        if (alone and value <= floor) or self.field.all_cost_the_same(ground, tier):
            return _Found(search=self._keep(tier, floor, float(floor), proven=True), confirmed=alone)
        most = sum(max(hands_needed(job)) for job in ground.jobs) * WEEK_DAYS if tier.peak else NO_LIMIT
        model, columns = build(ground, self.field, self.kept, tier, value if alone else floor + most)
        answer, _ = _asked(self.optimise, replace(model, effort=effort))
        if answer.outcome not in (SolveEnd.OPTIMAL, SolveEnd.LIMIT) or not isfinite(answer.bound):
            return None
        search, said = replace(self, solver=answer.solver or self.solver), floor + answer.bound
        found = self._chosen(answer, columns)
        for one in (found if found is not None and self._confirms(found) else None, self.witness if alone else None):
            value = NO_LIMIT if one is None else tier_value(ground, tier, one)
            _, believed = _bound(floor, said, value)
            if one is not None and believed and value <= max(floor, ceil(said - ROUNDING)):
                search = replace(search, witness=one, answered=True)._without_dear(answer, columns, value - floor)
                return _Found(search=search._keep(tier, value, float(value), proven=True), confirmed=True)
        if effort is not Effort.BOUND or answer.outcome is not SolveEnd.OPTIMAL or said > NO_LIMIT:
            return None
        value = max(floor, ceil(said - ROUNDING))
        search = search._without_dear(answer, columns, value - floor, but_witness=False)
        return _Found(search=search._keep(tier, value, float(value), proven=True), trusted=True)

    def _confirms(self, found: Placement) -> bool:
        """Whether a placement is lawful, whole, worth just what is kept of the tiers before, and no worse than the witness."""
        if len(found) < len(self.ground.jobs) or not lawful(self.ground, found):
            return False
        values = [tier_value(self.ground, k.tier, found) for k in self.kept]
        exact = all(
            v == k.value or (v < k.value and not r.proven)
            for v, k, r in zip(values, self.kept, self.results, strict=True)
        )
        return exact and self._better(found) is found

    def plan(self, digest: str = "") -> Plan:
        """The plan of the witness."""
        tiers = tiers_of(self.ground.problem)
        left = [_unproven(self.ground, tier, self.witness) for tier in tiers[len(self.results) :]]
        return assemble(
            self.ground,
            self.witness,
            tiers=[*(self._recounted(t, r) for t, r in zip(tiers, self.results, strict=False)), *left],
            by="greedy" if self.failed and not self.answered else "solver",
            solver=self.solver,
            remarks=self.remarks,
            digest=digest,
        )

    def _recounted(self, tier: Tier, result: TierResult) -> TierResult:
        """The result with the value of the plan as it is: a tier that was not proven may have become better since."""
        value = tier_value(self.ground, tier, self.witness)
        return replace(result, value=value, bound=min(result.bound, float(value)))

    def _solve(self, tier: Tier, floor: int) -> "_Search":
        from scheduler.planning.search.build import build  # here: the greedy plan must not pay for numpy

        value = tier_value(self.ground, tier, self.witness)
        model, columns = build(self.ground, self.field, self.kept, tier, value)
        answer, how = _asked(self.optimise, replace(model, effort=Effort.BETTER))
        search = replace(self, solver=answer.solver or self.solver)
        found = self._placement(answer, columns)
        if not answer.values and answer.outcome is SolveEnd.OPTIMAL and floor + answer.bound > value - 1.0 + ROUNDING:
            found = self.witness  # none is better
        if found is None or self._worse(found, tier, value):
            why = Remark(code=RemarkCode.UNUSABLE, tier=tier.tier, name=tier.name, value=value, ended=how)
            stop = tier.tier <= 1 and not self.answered
            search = replace(search, failed=True, given_up=stop, remarks=(*self.remarks, why))
            return search._keep(tier, value, floor, proven=False)
        value = tier_value(self.ground, tier, found)
        base = self._floor(tier)
        bound, believed = _bound(floor, base + answer.bound, value)
        proven = believed and answer.outcome is SolveEnd.OPTIMAL and value < bound + 1.0
        search = replace(search, witness=self._better(found), answered=True)
        if not proven:
            why = Remark(code=RemarkCode.STOPPED, tier=tier.tier, name=tier.name, value=value, bound=bound)
            search = replace(search, failed=True, remarks=(*self.remarks, why))
        if believed:
            search = search._without_dear(answer, columns, value - base)
        return search._keep(tier, value, bound, proven=proven)

    def _without_dear(self, answer: Solution, columns: "Columns", cost: int, *, but_witness: bool = True) -> "_Search":
        """Drops the starts that the answer's bounds leave to no plan as cheap as `cost`; the witness keeps its own."""
        if len(answer.bound_if_used) != columns.count:
            return self
        dear = {c for c, bound in enumerate(answer.bound_if_used) if bound > cost + ROUNDING}
        offers = self.field.offers

        def stays(column: int, place: tuple[Entry, ...]) -> bool:
            return column not in dear or (
                but_witness and all(self.witness.get(offers[i].job.key) == c for i, c in place)
            )

        field = self.field.keeping([stays(column, place) for column, place in enumerate(self.field.places)])
        return replace(
            self, field=field.with_must(lambda job: columns.unplaced.get(job.key) in dear and job.key in self.witness)
        )

    def _placement(self, answer: Solution, columns: "Columns") -> Placement | None:
        """The placement an answer says, or none when it says none or breaks a rule."""
        found = self._chosen(answer, columns)
        return found if found is not None and lawful(self.ground, found) else None

    def _chosen(self, answer: Solution, columns: "Columns") -> Placement | None:
        """The starts that an answer chooses; none when it says none, or two of one job."""
        if len(answer.values) != columns.count or answer.outcome not in (SolveEnd.OPTIMAL, SolveEnd.LIMIT):
            return None
        found: dict[str, Start] = {}
        for column, place in enumerate(self.field.places):
            for index, candidate in place if answer.values[column] > 0.5 else ():
                key = self.field.offers[index].job.key
                if key in found:
                    return None
                found[key] = candidate
        return found

    def _better(self, found: Placement) -> Placement:
        """The better of the answer and the witness over all tiers: one that only ties here must not spoil a later tier."""
        return min(self.witness, found, key=lambda placement: values_of(self.ground, placement))

    def _worse(self, found: Placement, tier: Tier, value: int) -> bool:
        """True when the answer is worse than the witness in this tier or spoils one that is kept."""
        if tier_value(self.ground, tier, found) > value:
            return True
        return any(tier_value(self.ground, k.tier, found) > k.value for k in self.kept)

    def _keep(self, tier: Tier, value: int, bound: float, *, proven: bool) -> "_Search":
        result = TierResult(tier=tier.tier, name=tier.name, value=value, bound=whole_bound(bound), proven=proven)
        kept = replace(self, kept=(*self.kept, KeptTier(tier=tier, value=value)), results=(*self.results, result))
        return kept._within(tier, value)

    def _within(self, tier: Tier, value: int) -> "_Search":
        """Drops each start that no plan worth `value` or better in the tier can use."""
        if tier.peak:
            return self
        least = self.field.least(self.ground, tier)
        room = value - sum(least) - self._lost(tier)
        own = {offer.job.key: n for offer, n in zip(self.field.offers, least, strict=True)}
        field = self.field
        if not tier.flat:
            field = field.keeping([above <= room for above in field.above_least(self.ground, tier)])
        return replace(self, field=field.with_must(lambda job: tier.unplaced(job) - own[job.key] > room))

    def _floor(self, tier: Tier) -> int:
        """The value that no plan among the starts still open goes below."""
        return self.field.floor(self.ground, tier) + self._lost(tier)

    def _lost(self, tier: Tier) -> int:
        return lost(self.ground, self.field, tier)

    def _near(self, tier: Tier) -> "_Search | None":
        """The same search among starts not far past the limit, for a tier that counts places and not days."""
        if tier.tier > 1 or tier.chained:
            return None
        limits = [offer.job.limit for offer in self.field.offers]
        field = self.field.keeping(
            [all(days_past(limits[i], c.end) <= NEAR_DAYS for i, c in place) for place in self.field.places]
        )
        return replace(self, field=field) if field is not self.field else None
