"""The stagger planner: a frozen problem in, always a plan out, tier by tier, with what was proven.

Greedy gives the first witness. For each tier the solver is asked only where the witness is above what every job could
reach alone; its answer is checked and counted anew, and an answer that fails, breaks a rule or is worse keeps the
witness and leaves the tier "not proven".
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import isfinite

from scheduler.planning.assemble import assemble
from scheduler.planning.build import Columns, Kept, Offer, build, floor_of, lost
from scheduler.planning.greedy import Offers, greedy, lawful, legal_offers
from scheduler.planning.ground import Candidate, Ground, survey
from scheduler.planning.model import ROUNDING, Answer, Model, Optimise, Outcome
from scheduler.planning.problem import Plan, Problem, TierResult
from scheduler.planning.tiers import TIERS, Placement, Tier, days_past, tier_value, values_of

SLIP = 1e-6
"""Share of a value by which a solver's bound may lie above it by rounding alone; more than that contradicts itself."""

NEAR_DAYS = 14
"""Days past the limit that the first search for a place looks at; the whole grid only if that is not enough."""


def stagger(problem: Problem, *, optimise: Optimise | None = None) -> Plan:
    """The best plan of the problem: slots, and a shortfall for each job that has none.

    Args:
        problem: the frozen problem; nothing else is known.
        optimise: the solver; HiGHS when none is given.

    Returns:
        A plan whose tiers are proven best, or one that says which are not. It never raises for a problem that can be
        made: what cannot be done is a shortfall, and a solver that fails leaves the greedy plan, by "greedy".
    """
    ground = survey(problem)
    legal = legal_offers(ground)
    search = _Search.begin(ground, legal, optimise or _highs)
    for tier in TIERS:
        search = search.settle(tier)
    return search.plan()


def greedy_plan(problem: Problem, *remarks: str) -> Plan:
    """The plan by the plain rule alone, never proven; `remarks` say why it was used."""
    ground = survey(problem)
    placement = greedy(ground, legal_offers(ground))
    return _greedy_plan(ground, placement, solver="", remarks=remarks)


def _greedy_plan(ground: Ground, placement: Placement, *, solver: str, remarks: Sequence[str]) -> Plan:
    tiers = [
        TierResult(tier=t.tier, name=t.name, value=value, bound=0.0, proven=False)
        for t, value in zip(TIERS, values_of(ground, placement), strict=True)
    ]
    return assemble(ground, placement, tiers=tiers, by="greedy", solver=solver, remarks=remarks)


def _highs(model: Model) -> Answer:
    from scheduler.planning.highs import optimise  # here: the greedy plan must not pay for it

    return optimise(model)


def _asked(optimise: Optimise, model: Model) -> tuple[Answer, str]:
    """The solver's answer and how it ended; a solver that raises has failed like any other."""
    try:
        answer = optimise(model)
    except Exception as error:
        return Answer(outcome=Outcome.FAILED), f"{Outcome.FAILED}: {type(error).__name__}"
    return answer, str(answer.outcome)


def _bound(floor: int, said: float, value: int) -> tuple[float, bool]:
    """The bound to record, and whether the solver's own can be believed: none lies above a value that was reached."""
    if said > value + max(1.0, SLIP * value):
        return float(floor), False
    return (min(max(float(floor), said), float(value)) if isfinite(said) else float(floor)), True


@dataclass(frozen=True, slots=True, kw_only=True)
class _Search:
    """Where the search stands after some tiers. offers: the starts still open; witness: the best placement known."""

    ground: Ground
    optimise: Optimise
    offers: tuple[Offer, ...]
    witness: Placement
    kept: tuple[Kept, ...] = ()
    results: tuple[TierResult, ...] = ()
    remarks: tuple[str, ...] = ()
    solver: str = ""
    answered: bool = False
    failed: bool = False
    given_up: bool = False

    @staticmethod
    def begin(ground: Ground, legal: Offers, optimise: Optimise) -> "_Search":
        """The greedy witness, and an offer for each job that has any legal start."""
        offers = tuple(Offer(job=j, candidates=legal[j.key], must=False) for j in ground.jobs if legal[j.key])
        return _Search(ground=ground, optimise=optimise, offers=offers, witness=greedy(ground, legal))

    def settle(self, tier: Tier) -> "_Search":
        """The search with this tier's value made as small as can be, or kept where the solver failed."""
        if self.given_up:
            return self
        floor = floor_of(self.offers, tier) + self._lost(tier)
        value = tier_value(self.ground, tier, self.witness)
        if value <= floor:
            return self._keep(tier, value, float(floor), proven=True)
        near = self._near(tier)
        if near is not None:
            trial = near._solve(tier, floor)
            if trial.results[-1].proven and trial.results[-1].value == floor:
                return replace(trial, offers=self.offers)._narrow()
        return self._solve(tier, floor)

    def plan(self) -> Plan:
        """The plan of the witness."""
        if self.failed and not self.answered:
            return _greedy_plan(self.ground, self.witness, solver=self.solver, remarks=self.remarks)
        return assemble(
            self.ground,
            self.witness,
            tiers=[self._recounted(t, r) for t, r in zip(TIERS, self.results, strict=True)],
            by="solver",
            solver=self.solver,
            remarks=self.remarks,
        )

    def _recounted(self, tier: Tier, result: TierResult) -> TierResult:
        """The result with the value of the plan as it is: a tier that was not proven may have become better since."""
        value = tier_value(self.ground, tier, self.witness)
        return replace(result, value=value, bound=min(result.bound, float(value)))

    def _solve(self, tier: Tier, floor: int) -> "_Search":
        value = tier_value(self.ground, tier, self.witness)
        model, columns = build(self.ground, self.offers, self.kept, tier, value)
        answer, how = _asked(self.optimise, model)
        search = replace(self, solver=answer.solver or self.solver)
        found = self._placement(answer, columns)
        if found is None or self._worse(found, tier, value):
            why = f"tier {tier.tier} ({tier.name}): the solver's answer was not usable ({how}); kept {value}"
            stop = tier.tier <= 1 and not self.answered
            search = replace(search, failed=True, given_up=stop, remarks=(*self.remarks, why))
            return search._keep(tier, value, floor, proven=False)
        value = tier_value(self.ground, tier, found)
        base = floor_of(self.offers, tier) + self._lost(tier)
        bound, believed = _bound(floor, base + answer.bound, value)
        proven = believed and answer.outcome is Outcome.OPTIMAL and value < bound + 1.0
        search = replace(search, witness=self._better(found), answered=True)
        if not proven:
            why = f"tier {tier.tier} ({tier.name}): stopped before it was proven; {value}, at best {bound:g}"
            search = replace(search, failed=True, remarks=(*self.remarks, why))
        if believed:
            search = search._without_dear(answer, columns, value - base)
        return search._keep(tier, value, bound, proven=proven)

    def _without_dear(self, answer: Answer, columns: Columns, cost: int) -> "_Search":
        """Drops the starts that the answer's bounds leave to no plan as cheap as `cost`; the witness keeps its own."""
        if len(answer.bound_if_used) != columns.count:
            return self
        dear = {c for c, bound in enumerate(answer.bound_if_used) if bound > cost + ROUNDING}
        offers = []
        for offer, own in zip(self.offers, columns.of_job, strict=True):
            witness = self.witness.get(offer.job.key)
            open_still = (columns.starts[c][1] for c in own if c not in dear or columns.starts[c][1] == witness)
            must = offer.must or (columns.unplaced[offer.job.key] in dear and witness is not None)
            offers.append(Offer(job=offer.job, candidates=tuple(open_still), must=must))
        return replace(self, offers=tuple(offers))

    def _placement(self, answer: Answer, columns: Columns) -> Placement | None:
        """The placement an answer says, or none when it says none or breaks a rule."""
        if len(answer.values) != columns.count or answer.outcome not in (Outcome.OPTIMAL, Outcome.LIMIT):
            return None
        found: dict[str, Candidate] = {}
        for column, (index, candidate) in enumerate(columns.starts):
            if answer.values[column] > 0.5:
                key = self.offers[index].job.key
                if key in found:
                    return None
                found[key] = candidate
        return found if lawful(self.ground, found) else None

    def _better(self, found: Placement) -> Placement:
        """The better of the answer and the witness over all tiers: one that only ties here must not spoil a later tier."""
        return min(self.witness, found, key=lambda placement: values_of(self.ground, placement))

    def _worse(self, found: Placement, tier: Tier, value: int) -> bool:
        """True when the answer is worse than the witness in this tier or spoils one that is kept."""
        if tier_value(self.ground, tier, found) > value:
            return True
        return any(tier_value(self.ground, k.tier, found) > k.value for k in self.kept)

    def _keep(self, tier: Tier, value: int, bound: float, *, proven: bool) -> "_Search":
        result = TierResult(tier=tier.tier, name=tier.name, value=value, bound=float(bound), proven=proven)
        kept = replace(self, kept=(*self.kept, Kept(tier=tier, value=value)), results=(*self.results, result))
        return kept._narrow()

    def _narrow(self) -> "_Search":
        """Drops each start that no plan as good as the witness in the last tier can use."""
        last = self.kept[-1]
        room = last.value - floor_of(self.offers, last.tier) - self._lost(last.tier)
        offers = []
        for offer in self.offers:
            least = floor_of((offer,), last.tier)
            spare = last.tier.unplaced(offer.job) - least
            candidates = tuple(c for c in offer.candidates if last.tier.cost(offer.job, c) - least <= room)
            offers.append(Offer(job=offer.job, candidates=candidates, must=offer.must or spare > room))
        return replace(self, offers=tuple(offers))

    def _lost(self, tier: Tier) -> int:
        return lost(self.ground, self.offers, tier)

    def _near(self, tier: Tier) -> "_Search | None":
        """The same search among starts not far past the limit, for a tier that counts places and not days."""
        if tier.tier > 1 or tier.chained:
            return None
        offers = tuple(
            replace(o, candidates=tuple(c for c in o.candidates if days_past(o.job.limit, c.end) <= NEAR_DAYS))
            for o in self.offers
        )
        return replace(self, offers=offers) if offers != self.offers else None
