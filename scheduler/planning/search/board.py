"""A placement as it grows: what is out, who works, and the first thing that forbids one more slot."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from scheduler.planning.problem.facts import Bar, BarCode, Because
from scheduler.planning.problem.values import PlanJob
from scheduler.planning.search.ground import Ground, Start


@dataclass(frozen=True, slots=True, kw_only=True)
class Barred:
    """What forbids a start, and the litres/h that lack when it is capacity."""

    bar: Bar
    lacking_litres_per_h: int = 0

    @property
    def because(self) -> Because:
        """What kind of thing it is."""
        return self.bar.code.because


class Board:
    """Slots placed so far on one ground. Only `place` changes it."""

    def __init__(self, ground: Ground, placement: Mapping[str, Start] = MappingProxyType({})) -> None:
        self.ground = ground
        self.placed: dict[str, Start] = {}
        self._removed = [0] * ground.steps
        self._gone = [0] * ground.steps
        self._used = [0] * ground.steps
        self._by_day: dict[int, int] = {}
        self._by_pump: dict[str, list[str]] = {}
        self._open: dict[int, list[tuple[str, str]]] = {}
        self._tests: list[str] = []
        self._closed: list[str] = []
        for key in sorted(placement):
            self.place(ground.by_key[key], placement[key])

    def place(self, job: PlanJob, candidate: Start) -> None:
        """Takes the job's pump and hands; asks nothing."""
        self.placed[job.key] = candidate
        if job.pump is not None:
            self._by_pump.setdefault(job.pump, []).append(job.key)
        row = self.ground.capacity_of(job.pump)
        if row is not None:
            for t in range(max(0, candidate.start), candidate.end):
                self._removed[t] += row[t]
                if row[t] > 0:
                    self._gone[t] += 1
                    self._open.setdefault(t, []).append((str(job.pump), job.key))
        for t, hands in candidate.work.hands.items():
            self._used[t] += hands
        for day, hours in candidate.work.man_hours.items():
            self._by_day[day] = self._by_day.get(day, 0) + hours
        if job.stop_minutes > 0:
            self._tests.append(job.key)
        if job.all_closed:
            self._closed.append(job.key)

    def on(self, ground: Ground) -> "Board":
        """The same slots on another ground of the same jobs."""
        return Board(ground, self.placed)

    def bar(self, job: PlanJob, candidate: Start) -> Barred | None:
        """The first thing that forbids the job there, or none."""
        return next(self.bars(job, candidate), None)

    def bars(self, job: PlanJob, candidate: Start) -> Iterator[Barred]:
        """Everything that forbids the job there, one bar a kind of rule."""
        for rule in (
            self._pump_bar,
            self._capacity_bar,
            self._number_bar,
            self._together_bar,
            self._test_bar,
            self._closed_bar,
            self._crew_bar,
            self._chain_bar,
        ):
            bar = rule(job, candidate)
            if bar is not None:
                yield bar

    def lacking(self, job: PlanJob, candidate: Start) -> dict[int, int]:
        """The steps in which the plant would be below its minimum, and the litres/h that lack in each."""
        row = self.ground.capacity_of(job.pump)
        if row is None:
            return {}
        steps = range(max(0, candidate.start), candidate.end)
        short = {t: row[t] + self._removed[t] - self.ground.slack[t] for t in steps if row[t] > 0}
        return {t: litres for t, litres in short.items() if litres > 0}

    def hands_short(self, candidate: Start) -> dict[int, int]:
        """The steps in which hands lack, and how many."""
        short = {t: self._used[t] + hands - self.ground.hands[t] for t, hands in candidate.work.hands.items()}
        return {t: hands for t, hands in short.items() if hands > 0}

    def _pump_bar(self, job: PlanJob, candidate: Start) -> Barred | None:
        for key in self._by_pump.get(job.pump, ()) if job.pump is not None else ():
            other = self.placed[key]
            if other.start < candidate.end and candidate.start < other.end:
                return _barred(BarCode.PUMP_OPEN, keys=(key,), pumps=(str(job.pump),))
        return None

    def _capacity_bar(self, job: PlanJob, candidate: Start) -> Barred | None:
        short, row = self.lacking(job, candidate), self.ground.capacity_of(job.pump)
        if not short or row is None:
            return None
        worst = max(short.values())
        at = next(t for t, litres in short.items() if litres == worst)
        alone = any(row[t] > self.ground.slack[t] for t in short)
        pumps, keys = ((), ()) if alone else self._open_at(at)
        bar = Bar(code=BarCode.MINIMUM, label=self.ground.label[at], pumps=pumps, keys=keys)
        return Barred(bar=bar, lacking_litres_per_h=worst)

    def _number_bar(self, job: PlanJob, candidate: Start) -> Barred | None:
        row, spare = self.ground.capacity_of(job.pump), self.ground.spare
        steps = range(max(0, candidate.start), candidate.end)
        few = [t for t in steps if row is not None and row[t] > 0 and self._gone[t] + 1 > spare[t]]
        if not few:
            return None
        alone = any(spare[t] < 1 for t in few)
        pumps, keys = ((), ()) if alone else self._open_at(few[0])
        return _barred(BarCode.NUMBER, pumps=pumps, keys=keys)

    def _open_at(self, step: int) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """Pumps that are open at a step, and the jobs they are open for."""
        there = sorted(self._open.get(step, ()))
        return tuple(pump for pump, _ in there), tuple(key for _, key in there)

    def _together_bar(self, job: PlanJob, candidate: Start) -> Barred | None:
        for rule in self.ground.problem.not_together:
            if job.pump not in rule.pumps:
                continue
            others = [
                slot
                for pump in sorted(set(rule.pumps) - {job.pump})
                for slot in (self.placed[key] for key in self._by_pump.get(pump, ()))
                if slot.start < candidate.end and candidate.start < slot.end
            ]
            starts = {candidate.start, *(slot.start for slot in others if slot.start > candidate.start)}
            if any(sum(s.start <= t < s.end for s in others) >= rule.most_out for t in starts):
                return _barred(BarCode.BRANCH, pumps=tuple(sorted(set(rule.pumps))), needed=rule.most_out)
        return None

    def _test_bar(self, job: PlanJob, candidate: Start) -> Barred | None:
        def meets(key: str) -> bool:
            other = self.placed[key]
            return other.start < candidate.end and candidate.start < other.end

        if job.stop_minutes > 0:
            for key in self._tests:
                if meets(key):
                    return _barred(BarCode.TEST_ON, keys=(key,))
            for key in self._by_pump.get(job.tested or "", ()):
                if meets(key):
                    return _barred(BarCode.PUMP_OPEN, keys=(key,), pumps=(str(job.tested),))
        if job.pump is not None:
            for key in self._tests:
                if self.ground.by_key[key].tested == job.pump and meets(key):
                    return _barred(BarCode.UNDER_TEST, keys=(key,), pumps=(job.pump,))
        return None

    def _closed_bar(self, job: PlanJob, candidate: Start) -> Barred | None:
        def meets(key: str) -> bool:
            other = self.placed[key]
            return other.start < candidate.end and candidate.start < other.end

        if job.all_closed:
            for pump, keys in sorted(self._by_pump.items()):
                for key in keys:
                    if meets(key):
                        return _barred(BarCode.PUMP_OPEN, keys=(key,), pumps=(pump,))
        if job.pump is not None:
            for key in self._closed:
                if meets(key):
                    return _barred(BarCode.ALL_CLOSED, keys=(key,))
        return None

    def _crew_bar(self, _job: PlanJob, candidate: Start) -> Barred | None:
        ground = self.ground
        if self.hands_short(candidate):
            return _barred(BarCode.HANDS_ELSEWHERE)
        for day, hours in candidate.work.man_hours.items():
            if self._by_day.get(day, 0) + hours > ground.problem.person_hours * ground.most_hands[day]:
                return _barred(BarCode.DAY_WORKED, needed=ground.problem.person_hours)
        return None

    def _chain_bar(self, job: PlanJob, candidate: Start) -> Barred | None:
        before = self.ground.previous.get(job.key)
        if before in self.placed and candidate.start < self.placed[before].end:
            return _barred(BarCode.BEFORE, keys=(before,))
        for after in self.ground.following.get(job.key, ()):
            if after in self.placed and self.placed[after].start < candidate.end:
                return _barred(BarCode.AFTER, keys=(after,))
        return None


def _barred(code: BarCode, *, keys: tuple[str, ...] = (), pumps: tuple[str, ...] = (), needed: int = 0) -> Barred:
    return Barred(bar=Bar(code=code, keys=keys, pumps=pumps, needed=needed))
