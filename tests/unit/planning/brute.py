"""The best plan of a tiny problem by trying every one. Written apart from the planner: it imports the problem's types only."""

from collections.abc import Iterator
from functools import cache
from itertools import product
from typing import NamedTuple

from scheduler.planning.problem.values import Plan as Answer
from scheduler.planning.problem.values import PlanJob, Problem, QuietStretch

FREE_HOURS, WORTH_DAYS, WITHIN_DAYS, PAST_DAYS = 72, 10, 16, 14


class Place(NamedTuple):
    """Where a job is: its start, the steps it is worked on with the hands of each, the job whose isolation it uses."""

    start: int
    worked: tuple[tuple[int, int], ...]
    on: str | None = None

    @property
    def end(self) -> int:
        return self.worked[-1][0] + 1


Plan = dict[str, Place | None]
Values = tuple[int, ...]


def up(hours: int) -> int:
    """Hours as whole days, rounded up, none below 0."""
    return max(0, -(-hours // 24))


def ranked(plan: Answer) -> Values:
    """The values of the planner's tiers in their order, all but the canonical order, which breaks ties."""
    *tiers, last = plan.tiers
    assert last.name == "canonical order"
    return tuple(tier.value for tier in tiers)


def _minutes(quiet: QuietStretch) -> int:
    """Minutes that a quiet stretch allows: none without anybody's consent."""
    return quiet.most_minutes if quiet.consent.strip() else 0


class Brute:
    """Everything about one tiny problem, step by step."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.jobs = {job.key: job for job in problem.jobs}
        steps = range(problem.steps)
        self.hands = [min((c.hands for c in problem.crew if c.from_step <= t < c.to_step), default=0) for t in steps]
        self.need = [
            max((m.litres_per_h for m in problem.minimum if m.from_step <= t < m.to_step), default=0) for t in steps
        ]
        self.gives = {
            p.pump: [
                min([p.litres_per_h, *(d.litres_per_h for d in p.derated if d.from_step <= t < d.to_step)])
                for t in steps
            ]
            for p in problem.pumps
        }
        self.must = [max((m.pumps for m in problem.minimum if m.from_step <= t < m.to_step), default=0) for t in steps]
        self.worked = cache(self._worked)

    def day(self, step: int) -> int:
        begins = self.problem.day_starts
        return sum(b <= step for b in begins) if begins else (step - self.problem.first_midnight) // 24

    def own(self, job: PlanJob) -> set[int]:
        """Starts by right of a date given before: a frozen one; a shown one up to a day before the window, at an allowed hour."""
        found = {job.kept_start} - {None}
        shown = job.published_start
        first = (job.hands_by_step or (job.hands,))[0]
        allowed = shown in self.problem.start_steps and self.hands[shown] >= first if shown is not None else False
        if shown is not None and 0 < job.earliest - shown <= 24 and allowed:
            found.add(shown)
        return found

    def _worked(self, key: str, start: int, spared: int) -> tuple[tuple[int, int], ...]:
        job = self.jobs[key]
        takes = list(job.hands_by_step) or [job.hands] * job.work_steps
        takes = takes[spared:]
        done: list[tuple[int, int]] = []
        for t in range(max(0, start), self.problem.steps):
            if len(done) == len(takes):
                break
            today = sum(self.day(s) == self.day(t) for s, _ in done)
            if self.hands[t] >= takes[len(done)] and today < self.problem.person_hours:
                done.append((t, takes[len(done)]))
        return tuple(done) if len(done) == len(takes) else ()

    def alone(self, job: PlanJob) -> Iterator[Place]:
        """Every place of a job with an isolation of its own, facts taken in, other jobs left out."""
        pinned, own = job.fixed_start is not None, self.own(job)
        free = sorted({*self.problem.start_steps, *own})
        for start in free if job.fixed_start is None else [job.fixed_start]:
            worked = self.worked(job.key, start, 0)
            place = Place(start, worked)
            asked = start in own or (start >= job.earliest and bool(worked) and worked[0][0] == start)
            if worked and (pinned or asked) and self.facts_allow(job, place):
                yield place

    def facts_allow(self, job: PlanJob, place: Place) -> bool:
        if place.start < 0:
            return True
        if job.parts_from is not None and place.start < job.parts_from:
            return False
        for step in range(place.start, place.end):
            for need in job.needs:
                if not any(o.need == need and o.from_step <= step < o.to_step for o in self.problem.occasions):
                    return False
            quiet = [q for q in self.problem.quiet if q.from_step <= step < q.to_step]
            if job.stop_minutes and (not quiet or min(_minutes(q) for q in quiet) < job.stop_minutes):
                return False
        return True

    def after(self, job: PlanJob, first: PlanJob, start_of_first: int) -> Place | None:
        """The job on the isolation of another that starts there; none where that cannot be."""
        spared = max(0, min(first.setup_steps, job.setup_steps, job.work_steps - 1))
        ended = self.worked(first.key, start_of_first, 0)[-1][0] + 1
        worked = self.worked(job.key, ended, spared)
        place = Place(ended, worked, first.key)
        early = ended < job.earliest and ended not in self.own(job)
        if not worked or early or not self.facts_allow(job, place):
            return None
        return place if max(up(ended - first.limit), up(place.end - job.limit)) <= PAST_DAYS else None

    def partners(self, job: PlanJob) -> list[PlanJob]:
        """The jobs whose isolation this one may use."""
        return [
            o
            for o in self.problem.jobs
            if job.pump is not None
            and o.key != job.key
            and o.pump == job.pump
            and o.fixed_start is None
            and job.fixed_start is None
            and job.after != o.key
            and o.after != job.key
            and abs(job.ideal - o.ideal) <= 24 * WITHIN_DAYS
        ]

    def plans(self) -> Iterator[Plan]:
        """Every placement, lawful between the jobs or not."""
        choices: list[list[Place | PlanJob | None]] = [
            [None, *self.alone(job), *self.partners(job)] for job in self.problem.jobs
        ]
        follow = cache(lambda key, first, start: self.after(self.jobs[key], self.jobs[first], start))
        for choice in product(*choices):
            named = dict(zip(self.jobs, choice, strict=True))
            firsts = [place.key for place in choice if isinstance(place, PlanJob)]
            if len(firsts) != len(set(firsts)) or any(not isinstance(named[first], Place) for first in firsts):
                continue
            plan: Plan = {}
            for key, place in named.items():
                if isinstance(place, PlanJob):
                    first = named[place.key]
                    assert isinstance(first, Place)
                    place = follow(key, place.key, first.start)
                    if place is None:
                        break
                plan[key] = place
            else:
                yield plan

    def values(self, plan: Plan) -> Values:
        """Pinned lost, frozen moved, without a place, days late, moved, hours without cover, nights, days off less shared."""
        pinned = frozen = unplaced = late = moved = bare = nights = off = 0
        for key, place in plan.items():
            job = self.jobs[key]
            shown = job.published_start is not None and job.fixed_start is None
            kept = job.kept_start is not None and job.fixed_start is None
            if place is None:
                unplaced += 1
                frozen += kept
                pinned += job.fixed_start is not None
                moved += shown
                continue
            before = plan.get(job.after or "")
            limit = job.limit
            if before is not None and job.interval_steps is not None:
                limit = min(limit, before.end + job.interval_steps + max(0, job.limit - job.due))
            late += up(place.end - limit)
            moved += shown and place.start != job.published_start
            frozen += kept and place.start != job.kept_start
            nights += self.nights(job, place)
            off += up(abs(place.start - job.ideal) - FREE_HOURS) - (WORTH_DAYS if place.on else 0)
            bare += self.bare_hours(job, place)
        return pinned, frozen, unplaced, late, moved, bare, nights, off

    def nights(self, job: PlanJob, place: Place) -> int:
        """Midnights that pass with the pump open, where that is to be avoided."""
        counted = self.problem.avoid_nights and job.pump is not None
        return self.day(place.end - 1) - self.day(max(0, place.start)) if counted else 0

    def bare_hours(self, job: PlanJob, place: Place) -> int:
        """Hours of the slot in which, its pump out and the largest other one lost, the rest is below the minimum."""
        if job.pump not in self.gives:
            return 0
        hours = 0
        for t in range(max(0, place.start), place.end):
            others = [row[t] for pump, row in self.gives.items() if pump != job.pump]
            few = self.must[t] > 0 and sum(n > 0 for n in others) - 1 < self.must[t]
            hours += self.gives[job.pump][t] > 0 and (few or sum(others) - max(others, default=0) < self.need[t])
        return hours

    def uneven(self, plan: Plan) -> int:
        """Squares of what each hour's margin lacks of the largest with nothing planned, less what it lacks anyway: whole m3/h."""
        free = [sum(row[t] for row in self.gives.values()) - self.need[t] for t in range(self.problem.steps)]
        total = 0
        for t, margin in enumerate(free):
            lacks = -((margin - max(free)) // 1000)
            open_now = {self.jobs[key].pump for key, place in plan.items() if place and place.start <= t < place.end}
            more = sum((self.gives[pump][t] + 500) // 1000 for pump in open_now if pump in self.gives)
            total += (lacks + more) ** 2 - lacks**2
        return total

    def peak(self, plan: Plan) -> int:
        """The most man-days in seven days that follow each other."""
        days: dict[int, int] = {}
        for place in plan.values():
            own: dict[int, int] = {}
            for step, hands in place.worked if place else ():
                own[self.day(step)] = max(hands, own.get(self.day(step), 0))
            for day, hands in own.items():
                days[day] = days.get(day, 0) + hands
        return max((sum(n for d, n in days.items() if 0 <= d - first < 7) for first in days), default=0)

    def holds(self, plan: Plan) -> bool:
        """Whether the jobs leave each other room: minimum, hands, one job a pump, order, tests, pumps of one branch."""
        placed = [(self.jobs[key], place) for key, place in plan.items() if place is not None]
        for job, place in placed:
            before = plan.get(job.after or "")
            if before is not None and place.start < before.end:
                return False
        by_day: dict[int, int] = {}
        for t in range(self.problem.steps):
            there = [job for job, place in placed if place.start <= t < place.end]
            out = [job.pump for job in there if job.pump]
            tests = [job for job in there if job.stop_minutes]
            if len(out) != len(set(out)) or len(tests) > 1 or any(test.tested in out for test in tests):
                return False
            if any(len(set(out) & set(rule.pumps)) > rule.most_out for rule in self.problem.not_together):
                return False
            if out and any(job.all_closed for job in there):
                return False
            giving = [p for p in out if p in self.gives and self.gives[p][t] > 0]
            taken = sum(self.gives[p][t] for p in giving)
            if taken > 0 and sum(row[t] for row in self.gives.values()) - taken < self.need[t]:
                return False
            if giving and sum(row[t] > 0 for row in self.gives.values()) - len(giving) < self.must[t]:
                return False
            used = sum(hands for _, place in placed for step, hands in place.worked if step == t)
            if used > self.hands[t]:
                return False
            by_day[self.day(t)] = by_day.get(self.day(t), 0) + used
        most = {d: max(h for t, h in enumerate(self.hands) if self.day(t) == d) for d in by_day}
        return all(used <= most[d] * self.problem.person_hours for d, used in by_day.items())

    def best(self) -> Values:
        """The values of the best plan in their order, the crew's busiest week last."""
        ranked = sorted(((self.values(plan), plan) for plan in self.plans()), key=lambda pair: pair[0])
        found: Values | None = None
        peaks = []
        for value, plan in ranked:
            if found is not None and value > found:
                break
            if self.holds(plan):
                found = value
                peaks.append(self.peak(plan))
        assert found is not None, "the empty placement always holds"
        return (*found, min(peaks))
