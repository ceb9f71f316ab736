"""What stands against a slot moved by hand, and what to mind, in sentences with positions, jobs and ship time."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from scheduler.planning.judge.check import Fault, Rule
from scheduler.planning.problem.values import PlanJob, Problem
from scheduler.planning.search.ground import Ground, Start, hands_needed

Placement = Mapping[str, Start]

_WEIGHTIEST_FIRST = (
    Rule.MINIMUM,
    Rule.NOT_TOGETHER,
    Rule.ONE_JOB_A_PUMP,
    Rule.ONE_TEST,
    Rule.FACTS,
    Rule.IN_ORDER,
    Rule.ALLOWED_START,
    Rule.HANDS,
    Rule.PERSON_HOURS,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """How things are called aboard. pump: a pump id's position. job: a job key's name. offset_at: ship time minus UTC at an
    instant. no_slot: why the job of a key has no slot, for one of which the plan aboard says nothing."""

    pump: Callable[[str], str]
    job: Callable[[str], str]
    offset_at: Callable[[datetime], timedelta]
    no_slot: Callable[[str], str]

    def when(self, problem: Problem, step: int) -> str:
        """A step in ship time: "Tue 1 Dec 2026 at 08:00"; with the offset where the clock is changed before it."""
        at = problem.starts_at + timedelta(hours=step)
        changed = self.offset_at(at) != self.offset_at(problem.starts_at)
        ship = self._ship(problem, step)
        return f"{ship:%a {ship.day} %b %Y at %H:%M}{f' ({utc_words(self.offset_at(at))})' if changed else ''}"

    def day(self, problem: Problem, step: int) -> str:
        """The ship's date of a step."""
        ship = self._ship(problem, step)
        return f"{ship:%a {ship.day} %b %Y}"

    def _ship(self, problem: Problem, step: int) -> datetime:
        at = problem.starts_at + timedelta(hours=step)
        return at + self.offset_at(at)


def utc_words(offset: timedelta) -> str:
    """The offset of ship time in words.

    >>> utc_words(timedelta(hours=1)), utc_words(-timedelta(hours=3, minutes=30)), utc_words(timedelta(0))
    ('UTC+1', 'UTC-3:30', 'UTC')
    """
    hours, minutes = divmod(abs(offset) // timedelta(minutes=1), 60)
    if not offset:
        return "UTC"
    return f"UTC{'+' if offset > timedelta(0) else '-'}{hours}{f':{minutes:02}' if minutes else ''}"


def move_objection_words(
    ground: Ground, others: Placement, moved: Placement, faults: Sequence[Fault], words: Words, *, unfinished: bool
) -> list[str]:
    """A sentence for each rule that the moved jobs break, the weightiest first. unfinished: the grid ends before the work."""
    if unfinished:
        last = words.day(ground.problem, ground.steps - 1)
        return [f"It would not be finished by {last}, the last day that is planned."]
    told = _MoveSentences(ground, others, moved, words)
    by_rule: dict[Rule, Fault] = {}
    for fault in faults:
        by_rule.setdefault(fault.rule, fault)
    rank = {rule: number for number, rule in enumerate(_WEIGHTIEST_FIRST)}
    return [
        told.sentence(by_rule[rule]) for rule in sorted(by_rule, key=lambda rule: (rank.get(rule, len(rank)), rule))
    ]


def caution_words(problem: Problem, who: str, candidate: Start, window: int, limit: int, words: Words) -> Iterator[str]:
    """Before its window; past its limit (no later than planned before). window, limit: steps."""
    if candidate.start < window:
        early = window - candidate.start
        much = f"{early} h" if early < 48 else f"{round(early / 24)} days"
        yield f"{who} would start {much} before its window opens, {words.when(problem, window)}."
    if candidate.end > limit:
        late = candidate.end - limit
        much = f"{late} h" if late < 48 else f"{round(late / 24)} days"
        yield f"{who} ends {much} past its limit, {words.when(problem, limit)}."


class _MoveSentences:
    def __init__(self, ground: Ground, others: Placement, moved: Placement, words: Words) -> None:
        self.ground, self.others, self.moved, self.words = ground, others, moved, words

    def sentence(self, fault: Fault) -> str:
        says = {
            Rule.MINIMUM: self._minimum,
            Rule.NOT_TOGETHER: self._not_together,
            Rule.ONE_JOB_A_PUMP: self._same_pump,
            Rule.ONE_TEST: self._test,
            Rule.FACTS: self._fact,
            Rule.IN_ORDER: self._order,
            Rule.ALLOWED_START: self._nobody,
            Rule.HANDS: self._hands,
            Rule.PERSON_HOURS: self._person_hours,
        }.get(fault.rule)
        return f"The rule is broken that {fault.rule.value}." if says is None else says(fault)

    def _minimum(self, _fault: Fault) -> str:
        """At the worst hour: who else is open, what remains, and how far below the minimum that is."""
        ground = self.ground
        worst: tuple[int, int, tuple[str, ...]] | None = None
        for step in sorted({t for c in self.moved.values() for t in range(max(0, c.start), c.end)}):
            own, other = self._open_at(self.moved, step), self._open_at(self.others, step)
            gone = sum(ground.capacity[pump][step] for pump in own | other)
            margin = ground.slack[step] - gone
            if own and margin < 0 and (worst is None or margin < worst[0]):
                worst = (margin, step, tuple(sorted(self.words.pump(pump) for pump in other - own)))
        if worst is None:
            return "The plant would be short of its minimum."
        margin, step, other_names = worst
        own_names = sorted(self.words.pump(pump) for pump in self._open_at(self.moved, step))
        count = len(own_names) + len(other_names)
        lead = ""
        if other_names:
            lead = f"{_listed(other_names)} {'is' if len(other_names) == 1 else 'are'} open at that time. "
        which = _listed(own_names) if not other_names else "both" if count == 2 else f"all {count}"
        label = ground.label[step]
        minimum = f"the minimum ({label})" if label not in ("", "minimum") else "the minimum"
        remains, below = (ground.minimum[step] + margin) / 1000, -margin / 1000
        down = [
            self.words.pump(p.pump)
            for p in ground.problem.pumps
            if ground.capacity[p.pump][step] < p.litres_per_h and p.pump not in self._open_at(self.moved, step)
        ]
        why = f" {_listed(sorted(down))} {'is' if len(down) == 1 else 'are'} down or not proved." if down else ""
        return (
            f"{lead}With {which} open {remains:g} m³/h remains on {self._when(step)}, {below:g} below {minimum}.{why}"
        )

    def _open_at(self, placement: Placement, step: int) -> set[str]:
        """Pumps that are open at a step and would count for something."""
        found = set()
        for key, c in placement.items():
            row = self.ground.capacity_of(pump := self.ground.by_key[key].pump)
            if pump is not None and row is not None and c.start <= step < c.end and row[step] > 0:
                found.add(pump)
        return found

    def _not_together(self, fault: Fault) -> str:
        own = {self.ground.by_key[key].pump for key in self.moved}
        for rule in self.ground.problem.not_together:
            if own & set(rule.pumps):
                names = _listed(sorted(self.words.pump(pump) for pump in rule.pumps))
                return f"Of {names} no more than {rule.most_out} may be open at once; on {self._when(fault.step)} more would be."
        return "More pumps of one branch would be open than may be at once."

    def _same_pump(self, fault: Fault) -> str:
        key, other = self._meeting(lambda one, two: one.pump == two.pump)
        pump = self.ground.by_key[key].pump or "" if key else ""
        name = self.words.job(other) if other else fault.key or ""
        until = self.others[other].end if other else 0
        return f"{self.words.pump(pump)} is open then for another job, {name}, until {self._when(until)}."

    def _test(self, _fault: Fault) -> str:
        _, other = self._meeting(
            lambda one, two: (
                (one.stop_minutes > 0 and two.stop_minutes > 0)
                or (one.stop_minutes > 0 and one.tested == two.pump)
                or (two.stop_minutes > 0 and two.tested == one.pump)
            )
        )
        return (
            f"{self.words.job(other)} is on at that time, and no pump is tested during it."
            if other
            else "Two tests meet."
        )

    def _fact(self, fault: Fault) -> str:
        job = self.ground.by_key[fault.key or ""]
        placed = self.moved[job.key]
        if job.parts_from is not None and placed.start < job.parts_from:
            return f"{self._its(job)} parts come on {self._when(job.parts_from)} only."
        for need in sorted(job.needs):
            row = self.ground.lacking[need]
            if row[placed.end] != row[placed.start]:
                return f"{self._it(job)} needs {need}, which is not there for the whole of that time."
        return f"No quiet hour is agreed then for stopping pumps for {job.stop_minutes} min."

    def _order(self, fault: Fault) -> str:
        key = fault.key or ""
        before = self.ground.by_key[key].after or ""
        if key in self.moved and before in self.others:
            return f"The turn before it, {self.words.job(before)}, ends on {self._when(self.others[before].end)} only."
        if key in self.others:
            begins = self._when(self.others[key].start)
            return f"The turn after it, {self.words.job(key)}, begins on {begins} already."
        return "Two turns of one job would be out of order."

    def _nobody(self, fault: Fault) -> str:
        step, needed = fault.step or 0, hands_needed(self.ground.by_key[fault.key or ""])[0]
        there = self.ground.hands[step]
        if not there:
            return f"Nobody is at work on {self._when(step)}."
        return f"It needs {needed} hands; on {self._when(step)} there {'is' if there == 1 else 'are'} {there} at work."

    def _hands(self, fault: Fault) -> str:
        step = fault.step or 0
        all_jobs = {**self.others, **self.moved}
        used = {key: takes for key, c in all_jobs.items() if (takes := c.work.hands.get(step, 0))}
        beside = [self.words.job(key) for key in sorted(used) if key not in self.moved]
        total = sum(used.values())
        with_ = f" with {_listed(beside)}" if beside else ""
        there = self.ground.hands[step]
        return f"It takes {total} hands{with_} on {self._when(step)}; {there} {'is' if there == 1 else 'are'} at work."

    def _person_hours(self, fault: Fault) -> str:
        day = self.words.day(self.ground.problem, fault.step or 0)
        return (
            f"With the other work of {day} the hands would work longer than {self.ground.problem.person_hours} h each."
        )

    def _meeting(self, meets: Callable[[PlanJob, PlanJob], bool]) -> tuple[str, str]:
        """A moved job and another at the same time of which something holds; empty when there are none."""
        for key, own in self.moved.items():
            for other, placed in sorted(self.others.items()):
                at_once = placed.start < own.end and own.start < placed.end
                if at_once and meets(self.ground.by_key[key], self.ground.by_key[other]):
                    return key, other
        return "", ""

    def _it(self, job: PlanJob) -> str:
        return "It" if len(self.moved) == 1 else self.words.job(job.key)

    def _its(self, job: PlanJob) -> str:
        return "Its" if len(self.moved) == 1 else f"For {self.words.job(job.key)} the"

    def _when(self, step: int | None) -> str:
        return self.words.when(self.ground.problem, step or 0)


def _listed(names: Sequence[str]) -> str:
    """VP1; VP1 and VP2; VP1, VP2 and VP3."""
    return " and ".join(filter(None, (", ".join(names[:-1]), *names[-1:])))
