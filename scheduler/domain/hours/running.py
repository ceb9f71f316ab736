"""Running hours of a position, a pump and a part at any instant (rule R21), and how they went day by day.

A counter's total runs between its entries and is pro-rated there; opening balances and adjustments are steps and are
not. A database answers both by seeks (`Totals`), memory by `Curves`.
"""

from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from types import MappingProxyType
from typing import NamedTuple, Protocol, Self

from scheduler.domain.base.enums import Subject
from scheduler.domain.hours.ledger_values import Entry, LedgerVerdict
from scheduler.domain.hours.sources import Change, Changes, counting, sources_of
from scheduler.domain.vessel.document import Plant

DAY_S = 86_400
GIVEN = (LedgerVerdict.ADJUSTMENT, LedgerVerdict.OPENING)
"""Verdicts whose credit is a step that a person gave."""

Point = tuple[int, int]
"""(epoch seconds, running seconds)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunningHours:
    """Running hours of one subject at an instant.

    seconds: whole seconds run, opening balance included. as_of: instant up to which readings account for them: the one
    asked for when there is a later reading too, else that of the newest counted reading, none when there is none.
    estimated: some of it is pro-rated, projected, or rests on something held or missing.
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

    def changes(self, position: str) -> Sequence[Change]:
        """When another counter of the position began to count for it; empty when it was always the same."""


class TotalsAround(NamedTuple):
    """How a counter's ledger stands around an instant: its last total at or before it and its first after, each none when there is
    none; seconds given by opening balances and adjustments up to and at it."""

    before: Point | None
    after: Point | None
    given_s: int


_NOWHERE = TotalsAround(None, None, 0)


class SoughtTotals:
    """`Totals` looked up instant by instant: of all counters at once, since who asks about one asks about its sisters next.

    Args:
        seek: by epoch second, how each counter's ledger stands around it, by id. known: what was looked up already.
    """

    def __init__(
        self,
        changed: Changes,
        seek: Callable[[int], Mapping[str, TotalsAround]],
        known: Mapping[int, Mapping[str, TotalsAround]] = MappingProxyType({}),
    ) -> None:
        self._changed, self._seek, self._known = changed, seek, dict(known)

    def around(self, counter_id: str, at_s: int) -> tuple[Point | None, Point | None]:
        """As `Totals.around`."""
        found = self._at(at_s).get(counter_id, _NOWHERE)
        return found.before, found.after

    def given(self, counter_id: str, at_s: int) -> int:
        """As `Totals.given`."""
        return self._at(at_s).get(counter_id, _NOWHERE).given_s

    def changes(self, position: str) -> Sequence[Change]:
        """As `Totals.changes`."""
        return self._changed.get(position, ())

    def _at(self, at_s: int) -> Mapping[str, TotalsAround]:
        if at_s not in self._known:
            self._known[at_s] = self._seek(at_s)
        return self._known[at_s]


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
    changed: Changes = field(default_factory=dict)

    def around(self, counter_id: str, at_s: int) -> tuple[Point | None, Point | None]:
        """As `Totals.around`."""
        curve = self.curves.get(counter_id)
        return (None, None) if curve is None else curve.around(at_s)

    def given(self, counter_id: str, at_s: int) -> int:
        """As `Totals.given`."""
        curve = self.curves.get(counter_id)
        return 0 if curve is None else curve.given(at_s)

    def changes(self, position: str) -> Sequence[Change]:
        """As `Totals.changes`."""
        return self.changed.get(position, ())


def running_hours(plant: Plant, totals: Totals, subject: Subject, subject_id: str, at: datetime) -> RunningHours:
    """Running hours of a position, pump or part at an instant.

    A position's are those of the counter that counts for it, one at any time; a pump's those its positions ran during its
    stays, on top of what the stays say it had run before; a part's those its pumps ran while it was fitted. Between two
    readings the run is pro-rated and marked estimated; after the newest reading the hours stay where it left them.

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
            parts = []
            for fitting in plant.fittings:
                from_s, to_s = _second(fitting.from_at), _until(fitting.to_at, at_s)
                if fitting.part == subject_id and from_s <= at_s:
                    sits = fitting.to_at is None or at < fitting.to_at
                    ran = _sum(list(_runs(plant, totals, fitting.pump, from_s, to_s, open_end=sits)))
                    parts.append(_on_top_of(fitting.opening_running_hours, ran))
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
    if not points:
        return [0] * days
    ran, place, many = [], 0, len(points)
    early: int | None = None
    for end_s in range(first_day * DAY_S, (first_day + days) * DAY_S + 1, DAY_S):
        while place < many and points[place][0] <= end_s:
            place += 1
        if place == 0:
            late = points[0][1]
        elif place == many:
            late = points[-1][1]
        else:
            late = total_between(points[place - 1], points[place], end_s)
        if early is not None:
            ran.append(late - early if late > early else 0)
        early = late
    return ran


def pump_daily_seconds(
    plant: Plant,
    points: Mapping[str, Sequence[Point]],
    pump: str,
    first_day: int,
    days: int,
    changes: Changes = MappingProxyType({}),
) -> list[int]:
    """Seconds a pump ran on each UTC day, over its stays; a day belongs to the stay and the counter that hold its noon.

    Args:
        points: (instant, total) of each counter by id, in order.
    """
    ran = [0] * days
    for stay in plant.stays:
        if stay.pump != pump:
            continue
        sources = sources_of(plant, stay.position, changes.get(stay.position, ()))
        alone = sources[0][1] if len(sources) == 1 else None
        from_s, to_s = _second(stay.from_at), None if stay.to_at is None else _second(stay.to_at)
        for counter in plant.counters:
            if counter.position != stay.position or not points.get(counter.id):
                continue
            noon_s = first_day * DAY_S + DAY_S // 2
            first = min(max(0, -((noon_s - from_s) // DAY_S)), days)  # of the days whose noon the stay holds
            last = days if to_s is None else min(max(first, -((noon_s - to_s) // DAY_S)), days)
            seconds = daily_seconds(points[counter.id], first_day + first, last - first)
            for day, run in enumerate(seconds, first):
                if run and counter.id == (alone or counting(sources, noon_s + day * DAY_S)):
                    ran[day] += run
    return ran


def daily_by_pump(
    plant: Plant, points: Mapping[str, Sequence[Point]], changes: Changes, at: datetime
) -> dict[str, list[int]]:
    """Seconds each pump ran on each UTC day up to yesterday, newest last, as far back as the points go.

    Args:
        points: (instant, total) of each counter by id, in order.
    """
    today = _second(at) // DAY_S
    first = min((days[0][0] // DAY_S + 1 for days in points.values() if days), default=today)
    days = max(0, today - first)
    return {pump.id: pump_daily_seconds(plant, points, pump.id, first, days, changes) for pump in plant.pumps}


def _position(plant: Plant, totals: Totals, position: str, at_s: int) -> RunningHours:
    """What each counter counted while it was the one that counts; hours go on over a change without a step."""
    sources = sources_of(plant, position, totals.changes(position))
    parts: list[RunningHours] = []
    for n, (from_s, counter) in enumerate(sources):
        if n and from_s > at_s:
            break
        ends_s = sources[n + 1][0] if n + 1 < len(sources) else None
        until_s = at_s if ends_s is None else min(at_s, ends_s)
        now = _counted(totals, counter, until_s)
        if n:
            was = _counted(totals, counter, from_s)
            now = RunningHours(
                seconds=now.seconds - was.seconds,
                as_of=now.as_of if now.as_of is not None and _second(now.as_of) >= from_s else None,
                estimated=now.estimated or was.estimated or was.as_of is None,
            )
        short = ends_s is not None and ends_s <= at_s and (now.as_of is None or _second(now.as_of) < ends_s)
        parts.append(replace(now, estimated=now.estimated or short))
    return _sum(parts)


def _counted(totals: Totals, counter: str, at_s: int) -> RunningHours:
    before, after = totals.around(counter, at_s)
    total, estimated = total_at(before, after, at_s)
    as_of_s = None if before is None else before[0] if after is None else at_s
    return RunningHours(
        seconds=(total or 0) + totals.given(counter, at_s), as_of=_instant(as_of_s), estimated=estimated
    )


def _pump(plant: Plant, totals: Totals, pump: str, at_s: int) -> RunningHours:
    return _on_top_of(
        opening_hours(plant, pump, at_s), _sum(list(_runs(plant, totals, pump, None, at_s, open_end=True)))
    )


def opening_hours(plant: Plant, pump: str, at_s: int) -> float:
    """Running hours that a pump's stays up to and at an instant say it had run before them."""
    return sum(s.opening_running_hours for s in plant.stays if s.pump == pump and _second(s.from_at) <= at_s)


def _runs(
    plant: Plant, totals: Totals, pump: str, from_s: int | None, to_s: int, *, open_end: bool
) -> Iterator[RunningHours]:
    """What a pump ran in each of its stays between two instants (from none: from the first on).

    Before a position's first reading nothing is known to have run. A stay that has ended and that no reading reaches the
    end of lacks something: estimated, and so it is when `open_end` is false.
    """
    for stay in plant.stays:
        if stay.pump != pump:
            continue
        start = _second(stay.from_at) if from_s is None else max(from_s, _second(stay.from_at))
        end = _until(stay.to_at, to_s)
        if start > end:
            continue
        was, now = (_position(plant, totals, stay.position, at_s) for at_s in (start, end))
        ended = not open_end or (stay.to_at is not None and _second(stay.to_at) <= to_s)
        short = ended and start < end and (now.as_of is None or _second(now.as_of) < end)
        yield RunningHours(
            seconds=now.seconds - was.seconds,
            as_of=None if now.as_of is None else _instant(max(start, _second(now.as_of))),
            estimated=was.estimated or now.estimated or short,
        )


def _on_top_of(opening_running_hours: float, ran: RunningHours) -> RunningHours:
    seconds = ran.seconds + round(opening_running_hours * 3600)
    return RunningHours(seconds=seconds, as_of=ran.as_of, estimated=ran.estimated)


def _sum(parts: Sequence[RunningHours]) -> RunningHours:
    known = [part.as_of for part in parts if part.as_of is not None]
    return RunningHours(
        seconds=sum(part.seconds for part in parts),
        as_of=max(known, default=None),
        estimated=any(part.estimated for part in parts),
    )


def total_at(before: Point | None, after: Point | None, at_s: int) -> tuple[int | None, bool]:
    """The total at an instant between two entries (none: before the first), and whether it is pro-rated."""
    if before is None:
        return None, False
    if after is None or at_s == before[0] or before[1] == after[1]:
        return before[1], False
    return total_between(before, after, at_s), True


def total_between(before: Point, after: Point, at_s: int) -> int:
    """The total at an instant between two entries, pro-rated."""
    return before[1] + (at_s - before[0]) * (after[1] - before[1]) // (after[0] - before[0])


def _until(to_at: datetime | None, at_s: int) -> int:
    return at_s if to_at is None else min(at_s, _second(to_at))


def _instant(at_s: int | None) -> datetime | None:
    return None if at_s is None else datetime.fromtimestamp(at_s, UTC)


def _second(at: datetime) -> int:
    return int(at.timestamp() // 1)
