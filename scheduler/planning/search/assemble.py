"""From a placement to a plan: slots with their margins, and a shortfall in words for all that the plan cannot give."""

from collections.abc import Mapping, Sequence
from datetime import timedelta

from scheduler.planning.problem.digest import problem_digest
from scheduler.planning.problem.values import Plan, PlanJob, Shortfall, Slot, TierResult
from scheduler.planning.search.blockers import Blocker, blockers
from scheduler.planning.search.ground import Ground, Start, work_of

_MOST_REASONS = 3


def assemble(
    ground: Ground,
    placement: Mapping[str, Start],
    *,
    tiers: Sequence[TierResult],
    by: str,
    solver: str,
    remarks: Sequence[str],
) -> Plan:
    """The plan that says this placement. Proven when every tier is."""
    unplaced = [job for job in ground.jobs if job.key not in placement]
    shortfalls = [*_deficits(ground), *(_without_place(ground, job, placement) for job in unplaced)]
    return Plan(
        problem_digest=problem_digest(ground.problem),
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
    lacking, need = -ground.slack[worst], ground.minimum[worst]
    label = f" ({ground.label[worst]})" if ground.label[worst] else ""
    why = f"{' and '.join(cause)} down or not proved" if cause else "all pumps together too small"
    hours = sum(b - a for a, b in runs)
    return Shortfall(
        key=None,
        pump=cause[0] if len(cause) == 1 else None,
        steps=runs,
        lacking_litres_per_h=lacking,
        says=(
            f"Capacity is below the minimum for {hours} h between {_when(ground, runs[0][0])} and "
            f"{_when(ground, runs[-1][1])} whatever is planned ({why}): at worst {_m3(need - lacking)} of "
            f"{_m3(need)} m3/h{label}, {_m3(lacking)} m3/h lacking."
        ),
    )


def _without_place(ground: Ground, job: PlanJob, placement: Mapping[str, Start]) -> Shortfall:
    found = blockers(ground, job, placement)
    who = f"{job.key} ({job.pump})" if job.pump is not None else job.key
    what = f"{work_of(job)} h of work, {job.hands} hand{'' if job.hands == 1 else 's'}"
    lead = f"{who} has no place ({what})"
    if job.fixed_start is not None:
        lead = f"{who} cannot keep its date {_when(ground, job.fixed_start)} ({what})"
    most_hands = max(ground.hands, default=0)
    if ground.steps and job.hands > most_hands:
        lead += f"; the crew never has more than {most_hands} hands"
    return Shortfall(
        key=job.key,
        pump=job.pump,
        steps=tuple((b.from_step, b.to_step) for b in found),
        lacking_litres_per_h=max((b.lacking_litres_per_h for b in found), default=0),
        says=f"{lead}: {_reasons(ground, found)}.",
    )


def _reasons(ground: Ground, found: Sequence[Blocker]) -> str:
    by_reason: dict[str, list[Blocker]] = {}
    for blocker in found:
        by_reason.setdefault(blocker.reason, []).append(blocker)
    ranked = sorted(by_reason.items(), key=lambda item: (-sum(b.starts for b in item[1]), item[1][0].from_step))
    texts = []
    for reason, runs in ranked[:_MOST_REASONS]:
        lacking = max(b.lacking_litres_per_h for b in runs)
        first, last = runs[0].from_step, runs[-1].to_step - 1
        span = f"{_when(ground, first)} to {_when(ground, last)}" if last > first else _when(ground, first)
        short = f", {_m3(lacking)} m3/h lacking" if lacking else ""
        texts.append(f"starts {span}: {reason}{short}")
    if (more := len(ranked) - _MOST_REASONS) > 0:
        texts.append(f"and {more} more reason{'' if more == 1 else 's'}")
    return "; ".join(texts) if texts else "no start is left"


def _when(ground: Ground, step: int) -> str:
    """The instant as a sign that `actions.explaining.in_words` puts ship time for, as it does names for keys."""
    return f"{ground.problem.starts_at + timedelta(hours=step):%Y-%m-%dT%H:%MZ}"


def _m3(litres: int) -> str:
    return f"{litres / 1000:g}"
