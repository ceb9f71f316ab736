"""Why a job has no other place: for each start of its window the first thing that forbids it. No solver."""

from collections.abc import Mapping

from scheduler.planning.problem.facts import Bar, BarCode, Blocker
from scheduler.planning.problem.values import Plan, PlanJob
from scheduler.planning.search.board import Barred, Board
from scheduler.planning.search.ground import Ground, Start, candidate_at, fact_against, hands_needed, window_starts
from scheduler.planning.search.tiers import set_up_saved


def companions(plan: Plan, key: str) -> frozenset[str]:
    """The jobs that share their isolation with that one: they go where it goes, and stand in nobody's way."""
    first = next((slot.isolation_of for slot in plan.slots if slot.key == key), None)
    return frozenset(slot.key for slot in plan.slots if slot.isolation_of == key) | ({first} if first else frozenset())


def placement_of(ground: Ground, plan: Plan) -> dict[str, Start]:
    """Where the plan's slots are on the ground; those that cannot be finished there are left out."""
    found = {}
    for slot in plan.slots:
        job, first = ground.by_key[slot.key], ground.by_key.get(slot.isolation_of or "")
        placed = candidate_at(ground, job, slot.start, 0 if first is None else set_up_saved(first, job))
        if placed is not None:
            found[slot.key] = placed
    return found


def blockers(ground: Ground, job: PlanJob, placement: Mapping[str, Start]) -> tuple[Blocker, ...]:
    """The job's starts that the facts or the other slots forbid, in time order; starts that are free are left out.

    A window without any allowed start gives one blocker over what is left of the grid.
    """
    starts = window_starts(ground, job)
    if not starts:
        first = min(max(0, job.earliest), ground.steps)
        return (Blocker(from_step=first, to_step=ground.steps, starts=0, bar=Bar(code=BarCode.NO_START)),)
    board = Board(ground, {key: at for key, at in placement.items() if key != job.key})
    runs: list[Blocker] = []
    open_run = False
    for start in starts:
        found = _bar_at(board, job, start)
        if found is None:
            open_run = False
            continue
        first, count, lacking = start, 1, found.lacking_litres_per_h
        if open_run and runs[-1].bar == found.bar:
            last = runs.pop()
            first, count, lacking = last.from_step, last.starts + 1, max(last.lacking_litres_per_h, lacking)
        runs.append(
            Blocker(from_step=first, to_step=start + 1, starts=count, bar=found.bar, lacking_litres_per_h=lacking)
        )
        open_run = True
    return tuple(runs)


def _bar_at(board: Board, job: PlanJob, start: int) -> Barred | None:
    ground = board.ground
    hands, needed = ground.hands[start] if 0 <= start < ground.steps else 0, hands_needed(job)[0]
    if job.fixed_start is None and hands < needed:
        if not hands:
            closed = next((c.label for c in ground.problem.closed if c.from_step <= start < c.to_step), "")
            return Barred(bar=Bar(code=BarCode.NOBODY, label=closed))
        return Barred(bar=Bar(code=BarCode.FEW_HANDS, needed=needed, there=hands))
    candidate = candidate_at(ground, job, start)
    if candidate is None:
        return Barred(bar=Bar(code=BarCode.NOT_FINISHED))
    fact = fact_against(ground, job, candidate)
    return Barred(bar=fact) if fact is not None else board.bar(job, candidate)
