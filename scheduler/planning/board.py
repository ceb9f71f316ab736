"""A placement as it grows: what is out, who works, and the first thing that forbids one more slot."""

from dataclasses import dataclass

from scheduler.planning.ground import Candidate, Ground
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
        self._by_pump: dict[str, list[str]] = {}

    def place(self, job: PlanJob, candidate: Candidate) -> None:
        """Takes the job's pump and hands; asks nothing."""
        self.placed[job.key] = candidate
        if job.pump is not None:
            self._by_pump.setdefault(job.pump, []).append(job.key)
        row = self.ground.capacity_of(job.pump)
        if row is not None:
            for t in range(max(0, candidate.start), candidate.end):
                self._removed[t] += row[t]
        for t in self.ground.working(job, candidate):
            self._used[t] += job.hands

    def bar(self, job: PlanJob, candidate: Candidate) -> Bar | None:
        """The first thing that forbids the job there, or none."""
        return self._pump_bar(job, candidate) or self._crew_bar(job, candidate) or self._chain_bar(job, candidate)

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

    def _crew_bar(self, job: PlanJob, candidate: Candidate) -> Bar | None:
        hands = self.ground.hands
        if any(self._used[t] + job.hands > hands[t] for t in self.ground.working(job, candidate)):
            return Bar(reason="the hands are at other jobs")
        return None

    def _chain_bar(self, job: PlanJob, candidate: Candidate) -> Bar | None:
        before = self.ground.previous.get(job.key)
        if before in self.placed and candidate.start < self.placed[before].end:
            return Bar(reason=f"the one before it, {before}, is not finished")
        for after in self.ground.following.get(job.key, ()):
            if after in self.placed and self.placed[after].start < candidate.end:
                return Bar(reason=f"the one after it, {after}, has begun")
        return None
