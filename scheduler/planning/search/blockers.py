"""Why a job has no other place: for each start of its window the first thing that forbids it. No solver."""

from collections.abc import Mapping
from dataclasses import dataclass

from scheduler.planning.problem.values import PlanJob
from scheduler.planning.search.board import Barred, Because, Board
from scheduler.planning.search.ground import Ground, Start, candidate_at, fact_against, hands_needed, window_starts


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Blocker:
    """Starts from `from_step` to `to_step` (end excluded) that one and the same thing forbids.

    starts: how many there are. lacking_litres_per_h: the most that lacks, 0 when it is not capacity.
    """

    from_step: int
    to_step: int
    starts: int
    reason: str
    lacking_litres_per_h: int


def blockers(ground: Ground, job: PlanJob, placement: Mapping[str, Start]) -> tuple[Blocker, ...]:
    """The job's starts that the facts or the other slots forbid, in time order; starts that are free are left out.

    A window without any allowed start gives one blocker over what is left of the grid.
    """
    starts = window_starts(ground, job)
    if not starts:
        first = min(max(0, job.earliest), ground.steps)
        return (Blocker(from_step=first, to_step=ground.steps, starts=0, reason="no start is allowed",
                        lacking_litres_per_h=0),)  # fmt: skip
    board = Board(ground)
    for key in sorted(placement):
        if key != job.key:
            board.place(ground.by_key[key], placement[key])
    runs: list[Blocker] = []
    open_run = False
    for start in starts:
        bar = _bar_at(board, job, start)
        if bar is None:
            open_run = False
            continue
        if open_run and runs[-1].reason == bar.reason:
            last = runs.pop()
            first, count = last.from_step, last.starts + 1
            lacking = max(last.lacking_litres_per_h, bar.lacking_litres_per_h)
        else:
            first, count, lacking = start, 1, bar.lacking_litres_per_h
        runs.append(Blocker(from_step=first, to_step=start + 1, starts=count, reason=bar.reason,
                            lacking_litres_per_h=lacking))  # fmt: skip
        open_run = True
    return tuple(runs)


def _bar_at(board: Board, job: PlanJob, start: int) -> Barred | None:
    ground = board.ground
    hands, needed = ground.hands[start] if 0 <= start < ground.steps else 0, hands_needed(job)[0]
    if job.fixed_start is None and hands < needed:
        if not hands:
            closed = next((c.label for c in ground.problem.closed if c.from_step <= start < c.to_step), "")
            return Barred(
                reason=f"nobody is at work ({closed})" if closed else "nobody is at work", because=Because.NO_WORK
            )
        return Barred(reason=f"it needs {needed} hands and has {hands}", because=Because.HANDS)
    candidate = candidate_at(ground, job, start)
    if candidate is None:
        return Barred(reason="it would not be finished within the planned days", because=Because.FACT)
    fact = fact_against(ground, job, candidate)
    return Barred(reason=fact, because=Because.FACT) if fact is not None else board.bar(job, candidate)
