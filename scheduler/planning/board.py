"""A placement as it grows: what is out, who works, and the first thing that forbids one more slot."""

from dataclasses import dataclass

from scheduler.planning.ground import Candidate, Ground, hands_at_work
from scheduler.planning.problem import PlanJob


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """Why a start is forbidden: a reason that names no instant, and the litres/h that lack when it is capacity."""

    reason: str
    lacking_litres_per_h: int = 0


class Board:
    """Slots placed so far on one ground. Only `place` changes it."""

    def __init__(self, ground: Ground) -> None:
        self.ground = ground
        self.placed: dict[str, Candidate] = {}
        self._removed = [0] * ground.steps
        self._used = [0] * ground.steps
        self._by_day: dict[int, int] = {}
        self._by_pump: dict[str, list[str]] = {}
        self._tests: list[str] = []

    def place(self, job: PlanJob, candidate: Candidate) -> None:
        """Takes the job's pump and hands; asks nothing."""
        self.placed[job.key] = candidate
        if job.pump is not None:
            self._by_pump.setdefault(job.pump, []).append(job.key)
        row = self.ground.capacity_of(job.pump)
        if row is not None:
            for t in range(max(0, candidate.start), candidate.end):
                self._removed[t] += row[t]
        for t, hands in hands_at_work(job, candidate).items():
            self._used[t] += hands
            day = self.ground.day_of(t)
            self._by_day[day] = self._by_day.get(day, 0) + hands
        if job.stop_minutes > 0:
            self._tests.append(job.key)

    def bar(self, job: PlanJob, candidate: Candidate) -> Bar | None:
        """The first thing that forbids the job there, or none."""
        return (
            self._pump_bar(job, candidate)
            or self._together_bar(job, candidate)
            or self._test_bar(job, candidate)
            or self._crew_bar(job, candidate)
            or self._chain_bar(job, candidate)
        )

    def _pump_bar(self, job: PlanJob, candidate: Candidate) -> Bar | None:
        if job.pump is None:
            return None
        for key in self._by_pump.get(job.pump, ()):
            other = self.placed[key]
            if other.start < candidate.end and candidate.start < other.end:
                return Bar(reason=f"{job.pump} is open for {key}")
        row = self.ground.capacity_of(job.pump)
        if row is None:
            return None
        slack = self.ground.slack
        worst, at = 0, -1
        for t in range(max(0, candidate.start), candidate.end):
            lacking = row[t] + self._removed[t] - slack[t]
            if row[t] > 0 and lacking > worst:
                worst, at = lacking, t
        if at < 0:
            return None
        label = self.ground.label[at]
        what = f"the minimum ({label}) would be broken" if label else "the minimum would be broken"
        if row[at] > slack[at]:
            return Bar(reason=what, lacking_litres_per_h=worst)
        return Bar(reason=f"{what} while {self._open_at(at)}", lacking_litres_per_h=worst)

    def _open_at(self, step: int) -> str:
        names = []
        for pump in sorted(self._by_pump):
            row = self.ground.capacity_of(pump)
            for key in self._by_pump[pump]:
                slot = self.placed[key]
                if row is not None and row[step] > 0 and slot.start <= step < slot.end:
                    names.append(f"{pump} is open for {key}")
        return " and ".join(names)

    def _together_bar(self, job: PlanJob, candidate: Candidate) -> Bar | None:
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
                names = ", ".join(sorted(set(rule.pumps)))
                return Bar(reason=f"of {names} no more than {rule.most_out} may be open at once")
        return None

    def _test_bar(self, job: PlanJob, candidate: Candidate) -> Bar | None:
        def meets(key: str) -> bool:
            other = self.placed[key]
            return other.start < candidate.end and candidate.start < other.end

        if job.stop_minutes > 0:
            for key in self._tests:
                if meets(key):
                    return Bar(reason=f"the test {key} is on")
            for key in self._by_pump.get(job.tested or "", ()):
                if meets(key):
                    return Bar(reason=f"{job.tested} is open for {key}")
        if job.pump is not None:
            for key in self._tests:
                if self.ground.by_key[key].tested == job.pump and meets(key):
                    return Bar(reason=f"{job.pump} is under test for {key}")
        return None

    def _crew_bar(self, job: PlanJob, candidate: Candidate) -> Bar | None:
        ground = self.ground
        takes = hands_at_work(job, candidate)
        if any(self._used[t] + hands > ground.hands[t] for t, hands in takes.items()):
            return Bar(reason="the hands are at other jobs")
        by_day: dict[int, int] = {}
        for t, hands in takes.items():
            by_day[ground.day_of(t)] = by_day.get(ground.day_of(t), 0) + hands
        for day, hours in by_day.items():
            if self._by_day.get(day, 0) + hours > ground.problem.person_hours * ground.most_hands[day]:
                return Bar(reason=f"the hands have worked their {ground.problem.person_hours} h of the day")
        return None

    def _chain_bar(self, job: PlanJob, candidate: Candidate) -> Bar | None:
        before = self.ground.previous.get(job.key)
        if before in self.placed and candidate.start < self.placed[before].end:
            return Bar(reason=f"the one before it, {before}, is not finished")
        for after in self.ground.following.get(job.key, ()):
            if after in self.placed and self.placed[after].start < candidate.end:
                return Bar(reason=f"the one after it, {after}, has begun")
        return None
