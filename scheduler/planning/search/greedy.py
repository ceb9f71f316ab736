"""The plain rule that always answers: earliest due first, then the largest capacity x duration, at its best start."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from scheduler.planning.problem.values import PlanJob
from scheduler.planning.search.board import Board
from scheduler.planning.search.ground import Ground, Start, legal_candidates, legal_starts, work_of
from scheduler.planning.search.tiers import chain_days, days_past, limit_after

MOST_TRIES = 12
"""So often jobs without a place are given the first choice."""

Offers = Mapping[str, Iterable[Start]]


def legal_offers(ground: Ground, *, days_late: int | Mapping[str, int] | None = None) -> dict[str, tuple[Start, ...]]:
    """Every job's legal starts, each job looked at alone; those alone that end so many days past its limit at most, where that is
    given for all, or for each by its key."""
    of_each = days_late if isinstance(days_late, Mapping) else dict.fromkeys(ground.by_key, days_late)
    return {job.key: legal_candidates(ground, job, days_late=of_each[job.key]) for job in ground.jobs}


@dataclass(frozen=True, slots=True)
class LaterStarts(Iterable[Start]):
    """A job's legal starts that end no more than so many days past its limit, each found when somebody comes to it."""

    ground: Ground
    job: PlanJob
    days_late: int

    def __iter__(self) -> Iterator[Start]:
        return legal_starts(self.ground, self.job, self.days_late)


def greedy_in_time(ground: Ground, offers: Mapping[str, tuple[Start, ...]]) -> dict[str, Start] | None:
    """A lawful placement of every job among these offers, none late for its chain, by rule; jobs that got no place, and those that
    are late with the ones they follow, come first the next time. None where one has no offer at all, or where this leads nowhere.
    """
    if not all(offers[job.key] for job in ground.jobs):
        return None
    first: tuple[str, ...] = ()
    for _ in range(MOST_TRIES):
        placed = greedy(ground, offers, first)
        wrong = [
            key
            for job in ground.jobs
            if job.key not in placed or chain_days(ground, job, placed)
            for key in (ground.previous.get(job.key), job.key)
            if key is not None
        ]
        if not wrong:
            return placed
        if set(wrong) <= set(first[: len(wrong)]):
            return None
        first = tuple(dict.fromkeys((*wrong, *first)))
    return None


def greedy(ground: Ground, offers: Offers, first: Sequence[str] = ()) -> dict[str, Start]:
    """A lawful placement: pinned jobs first, then frozen and published dates that still hold, then the rest by rule.

    first: jobs that are placed before published dates are kept, in that order.
    """
    board = Board(ground)
    order = sorted(ground.jobs, key=lambda job: _turn(ground, job))
    for job in order:
        if job.fixed_start is not None:
            _place_first(board, job, offers[job.key])
    for job in order:
        if job.kept_start is not None and job.key not in board.placed:
            _place_first(board, job, (c for c in offers[job.key] if c.start == job.kept_start))
    for key in first:
        if key not in board.placed:
            job = ground.by_key[key]
            _place_first(board, job, _best_first(job, _limit(ground, board, job), offers[key]))
    for job in order:
        if job.published_start is not None and job.key not in board.placed:
            published = tuple(
                c
                for c in offers[job.key]
                if c.start == job.published_start and not days_past(_limit(ground, board, job), c.end)
            )
            _place_first(board, job, published)
    for job in order:
        if job.key not in board.placed:
            _place_first(board, job, _best_first(job, _limit(ground, board, job), offers[job.key]))
    return board.placed


def lawful(ground: Ground, placement: Mapping[str, Start]) -> bool:
    """True when the slots, put down one by one, are never forbidden."""
    board = Board(ground)
    for key in sorted(placement):
        job, candidate = ground.by_key[key], placement[key]
        if board.bar(job, candidate) is not None:
            return False
        board.place(job, candidate)
    return True


def _place_first(board: Board, job: PlanJob, candidates: Iterable[Start]) -> None:
    for candidate in candidates:
        if board.bar(job, candidate) is None:
            board.place(job, candidate)
            return


def _turn(ground: Ground, job: PlanJob) -> tuple[int, int, str]:
    row = ground.capacity_of(job.pump)
    return (job.due, -(max(row, default=0) if row else 0) * work_of(job), job.key)


def _limit(ground: Ground, board: Board, job: PlanJob) -> int:
    before = board.placed.get(ground.previous.get(job.key, ""))
    return limit_after(job, None if before is None else before.end)


def _best_first(job: PlanJob, limit: int, candidates: Iterable[Start]) -> Iterator[Start]:
    """Rising starts by days past the limit, those as late by their distance from the ideal date. Most often few are asked."""
    for _, as_late in groupby(candidates, key=lambda c: days_past(limit, c.end)):
        yield from sorted(as_late, key=lambda c: (abs(c.start - job.ideal), c.start))
