"""From a placement to a plan: slots with their margins, and a shortfall for all that the plan cannot give."""

from collections.abc import Mapping, Sequence

from scheduler.planning.problem.digest import problem_digest
from scheduler.planning.problem.facts import merged
from scheduler.planning.problem.values import Plan, PlanJob, Remark, ShortCode, Shortfall, Slot, TierResult
from scheduler.planning.search.blockers import blockers
from scheduler.planning.search.ground import Ground, Start, work_of

_MOST_REASONS = 3


def assemble(
    ground: Ground,
    placement: Mapping[str, Start],
    *,
    tiers: Sequence[TierResult],
    by: str,
    solver: str,
    remarks: Sequence[Remark],
    digest: str = "",
) -> Plan:
    """The plan that says this placement. Proven when every tier is. digest: of the problem, where it is known."""
    unplaced = [job for job in ground.jobs if job.key not in placement]
    shortfalls = [*_deficits(ground), *(_without_place(ground, job, placement) for job in unplaced)]
    return Plan(
        problem_digest=digest or problem_digest(ground.problem),
        slots=slots_of(ground, placement),
        shortfalls=tuple(shortfalls),
        tiers=tuple(tiers),
        by=by,
        proven=bool(tiers) and all(t.proven for t in tiers),
        solver=solver,
        remarks=tuple(remarks),
    )


def slots_of(ground: Ground, placement: Mapping[str, Start]) -> tuple[Slot, ...]:
    """The slots that say this placement, each with the least margin in it, by start."""
    margin = list(ground.slack)
    for key, candidate in placement.items():
        row = ground.capacity_of(ground.by_key[key].pump)
        if row is not None:
            for t in range(max(0, candidate.start), candidate.end):
                margin[t] -= row[t]
    slots = [
        Slot(
            key=key,
            pump=ground.by_key[key].pump,
            start=candidate.start,
            end=candidate.end,
            least_margin_litres_per_h=min(margin[max(0, candidate.start) : candidate.end]),
            isolation_of=candidate.pair if candidate.second else None,
        )
        for key, candidate in placement.items()
    ]
    return tuple(sorted(slots, key=lambda s: (s.start, s.end, s.key)))


def _deficits(ground: Ground) -> list[Shortfall]:
    """Steps below the minimum with no slot in them, one shortfall for each set of pumps that count for less."""
    rated = {p.pump: p.litres_per_h for p in ground.problem.pumps}
    by_cause: dict[tuple[str, ...], list[tuple[int, int]]] = {}
    for t, slack in enumerate(ground.slack):
        if slack >= 0:
            continue
        cause = tuple(pump for pump, row in ground.capacity.items() if row[t] < rated[pump])
        runs = by_cause.setdefault(cause, [])
        if runs and runs[-1][1] == t:
            runs[-1] = (runs[-1][0], t + 1)
        else:
            runs.append((t, t + 1))
    return [_deficit(ground, cause, tuple(runs)) for cause, runs in by_cause.items()]


def _deficit(ground: Ground, cause: tuple[str, ...], runs: tuple[tuple[int, int], ...]) -> Shortfall:
    worst = min((t for a, b in runs for t in range(a, b)), key=lambda t: ground.slack[t])
    return Shortfall(
        key=None,
        pump=cause[0] if len(cause) == 1 else None,
        steps=runs,
        lacking_litres_per_h=-ground.slack[worst],
        code=ShortCode.BELOW,
        causes=cause,
        minimum_litres_per_h=ground.minimum[worst],
        label=ground.label[worst],
    )


def _without_place(ground: Ground, job: PlanJob, placement: Mapping[str, Start]) -> Shortfall:
    found = blockers(ground, job, placement)
    ranked, most_hands = merged(found), max(ground.hands, default=0)
    return Shortfall(
        key=job.key,
        pump=job.pump,
        steps=tuple((b.from_step, b.to_step) for b in found),
        lacking_litres_per_h=max((b.lacking_litres_per_h for b in found), default=0),
        work_steps=work_of(job),
        hands=job.hands,
        most_hands=most_hands if ground.steps and job.hands > most_hands else None,
        blockers=ranked[:_MOST_REASONS],
        more=max(0, len(ranked) - _MOST_REASONS),
        start=job.fixed_start,
    )
