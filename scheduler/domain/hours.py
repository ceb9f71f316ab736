"""Running hours of a position, a pump and a part at any instant (rule R21), and how they went day by day.

A counter's total runs between its entries and is pro-rated there; opening balances and adjustments are steps and are
not. A database answers both by seeks (`Totals`), memory by `Curves`.
"""

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from typing import Protocol, Self

from scheduler.domain.fleet import Plant
from scheduler.domain.ledger_words import Entry, Verdict
from scheduler.domain.words import Subject

DAY_S = 86_400
GIVEN = (Verdict.ADJUSTMENT, Verdict.OPENING)
"""Verdicts whose credit is a step that a person gave."""

Point = tuple[int, int]
"""(epoch seconds, running seconds)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunningHours:
    """Running hours of one subject at an instant.

    seconds: whole seconds run, opening balance included. as_of: instant of the last credited reading that this rests
    on, none when there is none. estimated: some of it is pro-rated, projected, or rests on something held or missing.
    """

    seconds: int
    as_of: datetime | None
    estimated: bool = False

    @property
    def hours(self) -> float:
        """Running hours."""
        return self.seconds / 3600


class Totals(Protocol):
    """What is asked of the ledger's entries of all counters."""

    def around(self, counter_id: str, at_s: int) -> tuple[Point | None, Point | None]:
        """The counter's last total at or before an instant and its first after; each none when there is none."""

    def given(self, counter_id: str, at_s: int) -> int:
        """Seconds that opening balances and adjustments gave up to and at an instant."""


@dataclass(frozen=True, slots=True)
class Curve:
    """One counter's totals in memory: instants, running seconds, and the steps (instant, sum so far)."""

    instants: Sequence[int]
    totals: Sequence[int]
    steps: Sequence[Point] = ()

    @classmethod
    def of(cls, entries: Iterable[Entry]) -> Self:
        """The curve of a counter's entries in ledger order; of several totals at one instant the last counts."""
        points: dict[int, int] = {}
        steps: list[Point] = []
        for entry in entries:
            if entry.total_s is not None:
                points[entry.at_s] = entry.total_s
            if entry.verdict in GIVEN:
                steps.append((entry.at_s, entry.credit_s + (steps[-1][1] if steps else 0)))
        return cls(tuple(points), tuple(points.values()), tuple(steps))

    def around(self, at_s: int) -> tuple[Point | None, Point | None]:
        """As `Totals.around`."""
        after = bisect_right(self.instants, at_s)
        before = (self.instants[after - 1], self.totals[after - 1]) if after else None
        return before, (self.instants[after], self.totals[after]) if after < len(self.instants) else None

    def given(self, at_s: int) -> int:
        """As `Totals.given`."""
        place = bisect_right(self.steps, at_s, key=lambda step: step[0])
        return self.steps[place - 1][1] if place else 0


@dataclass(frozen=True, slots=True)
class Curves:
    """`Totals` in memory, by counter id."""

    curves: Mapping[str, Curve]

    def around(self, counter_id: str, at_s: int) -> tuple[Point | None, Point | None]:
        """As `Totals.around`."""
        curve = self.curves.get(counter_id)
        return (None, None) if curve is None else curve.around(at_s)

    def given(self, counter_id: str, at_s: int) -> int:
        """As `Totals.given`."""
        curve = self.curves.get(counter_id)
        return 0 if curve is None else curve.given(at_s)


def running_hours(plant: Plant, totals: Totals, subject: Subject, subject_id: str, at: datetime) -> RunningHours:
    """Running hours of a position, pump or part at an instant.

    A position's are those of its counters; a pump's those its positions ran during its stays, on top of what the stays
    say it had run before; a part's those its pumps ran while it was fitted. Between two readings the run is pro-rated
    and marked estimated; after the newest reading the hours stay where it left them.

    Args:
        subject: not PLANT, which has no hours.

    Raises:
        ValueError: asked of a plant.
    """
    at_s = _second(at)
    match subject:
        case Subject.POSITION:
            return _position(plant, totals, subject_id, at_s)
        case Subject.PUMP:
            return _pump(plant, totals, subject_id, at_s)
        case Subject.PART:
            parts = [
                _gained(
                    _pump(plant, totals, fitting.pump, start),
                    _pump(plant, totals, fitting.pump, max(start, _until(fitting.to_at, at_s))),
                    fitting.opening_running_hours,
                )
                for fitting in plant.fittings
                if fitting.part == subject_id and (start := _second(fitting.from_at)) <= at_s
            ]
            return _sum(parts)
        case Subject.PLANT:
            raise ValueError("a plant has no running hours of its own")


def projected(hours: RunningHours, h_per_day: float, at: datetime) -> RunningHours:
    """The hours carried on from `as_of` to `at` at a rate (rule R23: a silent counter lets no date drift late).

    Args:
        h_per_day: 0 to 24.
    """
    if hours.as_of is None or at <= hours.as_of:
        return hours
    more = (at - hours.as_of).total_seconds() / DAY_S * h_per_day * 3600
    return RunningHours(seconds=hours.seconds + round(more), as_of=hours.as_of, estimated=True)


def daily_seconds(points: Sequence[Point], first_day: int, days: int) -> list[int]:
    """Seconds run on each UTC day, gaps pro-rated; 0 outside the points.

    Args:
        points: in order. first_day: epoch seconds // 86400 of the first day wanted. days: how many.
    """
    curve = Curve([at for at, _ in points], [total for _, total in points])
    ends = [(first_day + day) * DAY_S for day in range(days + 1)]
    marks = [_total_at(*curve.around(end), end)[0] for end in ends]
    first = points[0][1] if points else 0
    known = [first if mark is None else mark for mark in marks]
    return [max(0, late - early) for early, late in pairwise(known)]


def pump_daily_seconds(
    plant: Plant, points: Mapping[str, Sequence[Point]], pump: str, first_day: int, days: int
) -> list[int]:
    """Seconds a pump ran on each UTC day, over its stays; a day belongs to the stay that holds its noon.

    Args:
        points: (instant, total) of each counter by id, in order.
    """
    ran = [0] * days
    for stay in plant.stays:
        if stay.pump != pump:
            continue
        for counter in plant.counters:
            if counter.position != stay.position or not points.get(counter.id):
                continue
            for day, run in enumerate(daily_seconds(points[counter.id], first_day, days)):
                noon = (first_day + day) * DAY_S + DAY_S // 2
                if _second(stay.from_at) <= noon and (stay.to_at is None or noon < _second(stay.to_at)):
                    ran[day] += run
    return ran


def _position(plant: Plant, totals: Totals, position: str, at_s: int) -> RunningHours:
    parts = []
    for counter in plant.counters:
        if counter.position == position:
            before, after = totals.around(counter.id, at_s)
            total, estimated = _total_at(before, after, at_s)
            as_of = None if before is None else datetime.fromtimestamp(before[0], UTC)
            seconds = (total or 0) + totals.given(counter.id, at_s)
            parts.append(RunningHours(seconds=seconds, as_of=as_of, estimated=estimated))
    return _sum(parts)


def _pump(plant: Plant, totals: Totals, pump: str, at_s: int) -> RunningHours:
    parts = [
        _gained(
            _position(plant, totals, stay.position, start),
            _position(plant, totals, stay.position, max(start, _until(stay.to_at, at_s))),
            stay.opening_running_hours,
        )
        for stay in plant.stays
        if stay.pump == pump and (start := _second(stay.from_at)) <= at_s
    ]
    return _sum(parts)


def _gained(start: RunningHours, end: RunningHours, opening_running_hours: float) -> RunningHours:
    """What was run from start to end, on top of an opening figure. Before the first reading nothing is known to have run."""
    return RunningHours(
        seconds=end.seconds - start.seconds + round(opening_running_hours * 3600),
        as_of=end.as_of,
        estimated=start.estimated or end.estimated,
    )


def _sum(parts: Sequence[RunningHours]) -> RunningHours:
    known = [part.as_of for part in parts if part.as_of is not None]
    return RunningHours(
        seconds=sum(part.seconds for part in parts),
        as_of=max(known, default=None),
        estimated=any(part.estimated for part in parts),
    )


def _total_at(before: Point | None, after: Point | None, at_s: int) -> tuple[int | None, bool]:
    """The total at an instant between two entries, and whether it is pro-rated."""
    if before is None:
        return None, False
    if after is None or at_s == before[0] or before[1] == after[1]:
        return before[1], False
    share = (at_s - before[0]) * (after[1] - before[1])
    return before[1] + share // (after[0] - before[0]), True


def _until(to_at: datetime | None, at_s: int) -> int:
    return at_s if to_at is None else min(at_s, _second(to_at))


def _second(at: datetime) -> int:
    return int(at.timestamp() // 1)
