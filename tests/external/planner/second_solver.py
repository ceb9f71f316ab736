"""A second solver for the same problem: CP-SAT on places found by the exhaustive search's own rules, tier after tier.

It shares no line with the planner: places, costs and the peak come from `tests.unit.planning.brute`, rows are written here
step by step, and the solver is another one (Google OR-Tools CP-SAT, Apache-2.0). It runs in a process of its own, since
its package brings a HiGHS library that cannot live beside the planner's: problems as lines on standard input, values as
lines on output.
"""

import json
import sys
from collections.abc import Sequence

from ortools.sat.python import cp_model

from scheduler.planning.problem.codec import problem_from_text
from scheduler.planning.problem.values import Problem
from tests.unit.planning.brute import Brute, Place, Values, up

Term = tuple[int, cp_model.IntVar]


class Second:
    """The problem as a CP-SAT model; `best` gives the values of the tiers, the crew's busiest week last."""

    def __init__(self, problem: Problem, seconds: float = 120) -> None:
        self.brute, self.problem, self.seconds = Brute(problem), problem, seconds
        self.model = cp_model.CpModel()
        self.gone = {job.key: self.model.new_bool_var(f"{job.key} none") for job in problem.jobs}
        self.uses: dict[str, list[tuple[Place, cp_model.IntVar]]] = {job.key: [] for job in problem.jobs}
        self._places()
        self._room()
        self.late = {job.key: self._lateness(job.key) for job in problem.jobs}

    def _places(self) -> None:
        for job in self.problem.jobs:
            for place in self.brute.alone(job):
                self.uses[job.key].append((place, self.model.new_bool_var(f"{job.key} {place.start}")))
        alone = {key: list(uses) for key, uses in self.uses.items()}
        follows: dict[tuple[str, int], list[cp_model.IntVar]] = {}
        for job in self.problem.jobs:
            for first in self.brute.partners(job):
                for place, used in alone[first.key]:
                    after = self.brute.after(job, first, place.start)
                    if after is not None:
                        on = self.model.new_bool_var(f"{job.key} on {first.key} {place.start}")
                        self.model.add_implication(on, used)
                        self.uses[job.key].append((after, on))
                        follows.setdefault((first.key, place.start), []).append(on)
        for several in follows.values():
            self.model.add_at_most_one(several)
        for key, uses in self.uses.items():
            self.model.add_exactly_one([self.gone[key], *(used for _, used in uses)])

    def _room(self) -> None:
        """Minimum, hands, one job a pump, tests, branches, hours of a person and order, at every step where any can bind."""
        model, brute = self.model, self.brute
        by_day: dict[int, list[Term]] = {}
        seen: set[tuple[object, ...]] = set()
        for t in range(self.problem.steps):
            out: dict[str, list[cp_model.IntVar]] = {}
            tests: list[cp_model.IntVar] = []
            under: dict[str, list[cp_model.IntVar]] = {}
            work: list[Term] = []
            for job in self.problem.jobs:
                for place, used in self.uses[job.key]:
                    if not place.start <= t < place.end:
                        continue
                    if job.pump:
                        out.setdefault(job.pump, []).append(used)
                    if job.stop_minutes:
                        tests.append(used)
                        under.setdefault(job.tested or "", []).append(used)
                    for step, hands in place.worked:
                        if step == t:
                            work.append((hands, used))
            closed = [
                used
                for job in self.problem.jobs
                if job.all_closed
                for place, used in self.uses[job.key]
                if place.start <= t < place.end
            ]
            for hands, used in work:
                by_day.setdefault(brute.day(t), []).append((hands, used))
            gives = [(row[t], out[pump]) for pump, row in brute.gives.items() if pump in out and row[t] > 0]
            slack = max(0, sum(row[t] for row in brute.gives.values()) - brute.need[t])
            shape = (
                tuple((n, tuple(v.index for v in vs)) for n, vs in gives), slack, brute.hands[t],
                tuple((n, v.index) for n, v in work), tuple(v.index for v in tests), tuple(v.index for v in closed),
                brute.must[t],
            )  # fmt: skip
            if shape in seen:
                continue
            seen.add(shape)
            for pump, used_there in out.items():
                model.add_at_most_one([*used_there, *under.get(pump, ())])
            model.add_at_most_one(tests)
            for one in closed:
                for opened in out.values():
                    model.add_at_most_one([one, *opened])
            model.add(sum(n * v for n, vs in gives for v in vs) <= slack)
            if brute.must[t]:
                there = sum(row[t] > 0 for row in brute.gives.values())
                model.add(sum(v for _, vs in gives for v in vs) <= max(0, there - brute.must[t]))
            model.add(sum(n * v for n, v in work) <= brute.hands[t])
            for rule in self.problem.not_together:
                model.add(sum(v for pump in rule.pumps for v in out.get(pump, ())) <= rule.most_out)
        for day, terms in by_day.items():
            most = max(h for t, h in enumerate(brute.hands) if brute.day(t) == day)
            model.add(sum(n * v for n, v in terms) <= most * self.problem.person_hours)
        for job in self.problem.jobs:
            for place, used in self.uses[job.key]:
                for before, earlier in self.uses.get(job.after or "", ()):
                    if place.start < before.end:
                        model.add_bool_or([used.negated(), earlier.negated()])

    def _lateness(self, key: str) -> cp_model.IntVar:
        job = self.brute.jobs[key]
        late = self.model.new_int_var(0, 10_000, f"{key} late")
        for place, used in self.uses[key]:
            self.model.add(late >= up(place.end - job.limit)).only_enforce_if(used)
            for before, earlier in self.uses.get(job.after or "", ()):
                if job.interval_steps is not None:
                    limit = min(job.limit, before.end + job.interval_steps + max(0, job.limit - job.due))
                    if place.end > limit:
                        self.model.add(late >= up(place.end - limit)).only_enforce_if([used, earlier])
        return late

    def _objectives(self) -> Sequence[cp_model.LinearExprT]:
        jobs = self.brute.jobs
        terms: list[list[Term]] = [[] for _ in range(8)]
        for key, job in jobs.items():
            shown = job.published_start is not None and job.fixed_start is None
            kept = job.kept_start is not None and job.fixed_start is None
            terms[0].append((int(job.fixed_start is not None), self.gone[key]))
            terms[1].append((int(kept), self.gone[key]))
            terms[2].append((1, self.gone[key]))
            terms[3].append((1, self.late[key]))
            terms[4].append((int(shown), self.gone[key]))
            for place, used in self.uses[key]:
                terms[1].append((int(kept and place.start != job.kept_start), used))
                terms[4].append((int(shown and place.start != job.published_start), used))
                terms[5].append((self.brute.bare_hours(job, place), used))
                terms[6].append((self.brute.nights(job, place), used))
                off = up(abs(place.start - job.ideal) - 72) - (10 if place.on else 0)
                terms[7].append((off, used))
        return [sum(n * v for n, v in own) for own in terms]

    def _peak(self) -> cp_model.IntVar:
        peak = self.model.new_int_var(0, 10_000, "peak")
        days: dict[int, list[Term]] = {}
        for uses in self.uses.values():
            for place, used in uses:
                own: dict[int, int] = {}
                for step, hands in place.worked:
                    own[self.brute.day(step)] = max(hands, own.get(self.brute.day(step), 0))
                for day, hands in own.items():
                    days.setdefault(day, []).append((hands, used))
        for first in days:
            week = [term for day in range(first, first + 7) for term in days.get(day, ())]
            self.model.add(peak >= sum(n * v for n, v in week))
        return peak

    def best(self) -> Values:
        """The best values, each proven before the next is looked at."""
        values = []
        for objective in [*self._objectives(), self._peak()]:
            self.model.minimize(objective)
            solver = cp_model.CpSolver()
            solver.parameters.max_time_in_seconds = self.seconds
            solver.parameters.num_workers = 1
            status = solver.solve(self.model)
            assert status == cp_model.OPTIMAL, solver.status_name(status)
            values.append(round(solver.objective_value))
            self.model.add(objective <= values[-1])
        return tuple(values)


if __name__ == "__main__":
    for line in sys.stdin:
        print(json.dumps(Second(problem_from_text(line)).best()), flush=True)
