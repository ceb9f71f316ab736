"""What stands against a slot moved by hand, and what to mind, as facts. `scheduler.wording.moves` says them."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from scheduler.planning.judge.check import Fault, Rule
from scheduler.planning.problem.values import PlanJob
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


class MoveCode(StrEnum):
    """What stands against a move, or is to be minded."""

    BEGUN = "work has begun"
    SLOT_BEGAN = "slot has begun"
    PAST = "time is past"
    UNFINISHED = "not finished within the planned days"
    LATER = "later than planned"
    MINIMUM = "below the minimum"
    BRANCH = "branch in use"
    PUMP_OPEN = "pump open"
    TEST_ON = "test on"
    PARTS = "parts not aboard"
    NEED = "need not there"
    NO_QUIET = "no quiet hour"
    BEFORE = "turn before not finished"
    AFTER = "turn after begun"
    OUT_OF_ORDER = "turns out of order"
    NOBODY = "nobody at work"
    FEW_HANDS = "too few hands"
    HANDS = "hands at other jobs"
    DAY_WORKED = "hands have worked their day"
    RULE = "another rule"
    EARLY = "before its window"
    PAST_LIMIT = "past its limit"
    NEXT_TURN = "next turn moves"
    NO_COVER = "no cover for one more failure"


@dataclass(frozen=True, slots=True, kw_only=True)
class MoveFact:
    """One thing that stands against a move, or is to be minded.

    key: the moved job, none where only one is moved. others: jobs that have a part in it. step: when it shows, or ends, or opens.
    pumps: of the moved jobs; other_pumps: open at that time, or of one branch; down: not counted then. label: of the minimum, or
    what is needed. hours: by how many; later negative for a next turn that comes earlier. needed, there: hands, minutes, or how
    many may be open. left_litres_per_h, lacking_litres_per_h: at the worst hour. rule: where there is nothing better to say.
    """

    code: MoveCode
    key: str | None = None
    others: tuple[str, ...] = ()
    step: int | None = None
    pumps: tuple[str, ...] = ()
    other_pumps: tuple[str, ...] = ()
    down: tuple[str, ...] = ()
    label: str = ""
    hours: int = 0
    needed: int = 0
    there: int = 0
    left_litres_per_h: int = 0
    lacking_litres_per_h: int = 0
    rule: Rule | None = None


def move_objections(
    ground: Ground, others: Placement, moved: Placement, faults: Sequence[Fault]
) -> tuple[MoveFact, ...]:
    """One for each rule that the moved jobs break, the weightiest first."""
    found = _Objections(ground, others, moved)
    by_rule: dict[Rule, Fault] = {}
    for fault in faults:
        by_rule.setdefault(fault.rule, fault)
    rank = {rule: number for number, rule in enumerate(_WEIGHTIEST_FIRST)}
    return tuple(
        found.fact(by_rule[rule]) for rule in sorted(by_rule, key=lambda rule: (rank.get(rule, len(rank)), rule))
    )


def move_cautions(key: str | None, candidate: Start, window: int, limit: int) -> Iterator[MoveFact]:
    """Before its window; past its limit (no later than planned before). window, limit: steps. key: none for the only one."""
    if candidate.start < window:
        yield MoveFact(code=MoveCode.EARLY, key=key, hours=window - candidate.start, step=window)
    if candidate.end > limit:
        yield MoveFact(code=MoveCode.PAST_LIMIT, key=key, hours=candidate.end - limit, step=limit)


@dataclass(frozen=True, slots=True)
class _Objections:
    ground: Ground
    others: Placement
    moved: Placement

    def fact(self, fault: Fault) -> MoveFact:
        by_rule: Mapping[Rule, Callable[[Fault], MoveFact]] = {
            Rule.MINIMUM: self._minimum,
            Rule.NOT_TOGETHER: self._not_together,
            Rule.ONE_JOB_A_PUMP: self._same_pump,
            Rule.ONE_TEST: self._test,
            Rule.FACTS: self._fact,
            Rule.IN_ORDER: self._order,
            Rule.ALLOWED_START: self._nobody,
            Rule.HANDS: self._hands,
            Rule.PERSON_HOURS: self._person_hours,
        }
        make = by_rule.get(fault.rule)
        return MoveFact(code=MoveCode.RULE, rule=fault.rule) if make is None else make(fault)

    def _minimum(self, fault: Fault) -> MoveFact:
        """At the worst hour: who else is open, what remains, and how far below the minimum that is."""
        ground = self.ground
        worst: tuple[int, int, set[str], set[str]] | None = None
        for step in sorted({t for c in self.moved.values() for t in range(max(0, c.start), c.end)}):
            own, other = self._open_at(self.moved, step), self._open_at(self.others, step)
            margin = ground.slack[step] - sum(ground.capacity[pump][step] for pump in own | other)
            if own and margin < 0 and (worst is None or margin < worst[0]):
                worst = (margin, step, own, other - own)
        if worst is None:
            return MoveFact(code=MoveCode.RULE, rule=fault.rule)
        margin, step, own, other = worst
        down = [
            p.pump for p in ground.problem.pumps if ground.capacity[p.pump][step] < p.litres_per_h and p.pump not in own
        ]
        return MoveFact(
            code=MoveCode.MINIMUM,
            step=step,
            pumps=tuple(sorted(own)),
            other_pumps=tuple(sorted(other)),
            down=tuple(sorted(down)),
            label=ground.label[step],
            left_litres_per_h=ground.minimum[step] + margin,
            lacking_litres_per_h=-margin,
        )

    def _open_at(self, placement: Placement, step: int) -> set[str]:
        """Pumps that are open at a step and would count for something."""
        found = set()
        for key, c in placement.items():
            row = self.ground.capacity_of(pump := self.ground.by_key[key].pump)
            if pump is not None and row is not None and c.start <= step < c.end and row[step] > 0:
                found.add(pump)
        return found

    def _not_together(self, fault: Fault) -> MoveFact:
        own = {self.ground.by_key[key].pump for key in self.moved}
        rule = next(one for one in self.ground.problem.not_together if own & set(one.pumps))
        pumps = tuple(sorted(rule.pumps))
        return MoveFact(code=MoveCode.BRANCH, other_pumps=pumps, there=rule.most_out, step=fault.step)

    def _same_pump(self, fault: Fault) -> MoveFact:
        key, other = self._meeting(lambda one, two: one.pump == two.pump)
        if not other:
            return MoveFact(code=MoveCode.RULE, rule=fault.rule)
        pumps = (self.ground.by_key[key].pump or "",)
        return MoveFact(code=MoveCode.PUMP_OPEN, pumps=pumps, others=(other,), step=self.others[other].end)

    def _test(self, fault: Fault) -> MoveFact:
        _, other = self._meeting(
            lambda one, two: (
                (one.stop_minutes > 0 and two.stop_minutes > 0)
                or (one.stop_minutes > 0 and one.tested == two.pump)
                or (two.stop_minutes > 0 and two.tested == one.pump)
            )
        )
        if not other:
            return MoveFact(code=MoveCode.RULE, rule=fault.rule)
        return MoveFact(code=MoveCode.TEST_ON, others=(other,))

    def _fact(self, fault: Fault) -> MoveFact:
        job = self.ground.by_key[fault.key or ""]
        key, placed = self._who(job), self.moved[job.key]
        if job.parts_from is not None and placed.start < job.parts_from:
            return MoveFact(code=MoveCode.PARTS, key=key, step=job.parts_from)
        for need in sorted(job.needs):
            row = self.ground.lacking[need]
            if row[placed.end] != row[placed.start]:
                return MoveFact(code=MoveCode.NEED, key=key, label=need)
        return MoveFact(code=MoveCode.NO_QUIET, key=key, needed=job.stop_minutes)

    def _order(self, fault: Fault) -> MoveFact:
        key = fault.key or ""
        before = self.ground.by_key[key].after or ""
        if key in self.moved and before in self.others:
            return MoveFact(code=MoveCode.BEFORE, others=(before,), step=self.others[before].end)
        if key in self.others:
            return MoveFact(code=MoveCode.AFTER, others=(key,), step=self.others[key].start)
        return MoveFact(code=MoveCode.OUT_OF_ORDER)

    def _nobody(self, fault: Fault) -> MoveFact:
        step, needed = fault.step or 0, hands_needed(self.ground.by_key[fault.key or ""])[0]
        there = self.ground.hands[step]
        code = MoveCode.FEW_HANDS if there else MoveCode.NOBODY
        return MoveFact(code=code, step=step, needed=needed, there=there)

    def _hands(self, fault: Fault) -> MoveFact:
        step = fault.step or 0
        used = {k: takes for k, c in {**self.others, **self.moved}.items() if (takes := c.work.hands.get(step, 0))}
        others = tuple(key for key in sorted(used) if key not in self.moved)
        needed, there = sum(used.values()), self.ground.hands[step]
        return MoveFact(code=MoveCode.HANDS, others=others, step=step, needed=needed, there=there)

    def _person_hours(self, fault: Fault) -> MoveFact:
        return MoveFact(code=MoveCode.DAY_WORKED, step=fault.step or 0, needed=self.ground.problem.person_hours)

    def _meeting(self, meets: Callable[[PlanJob, PlanJob], bool]) -> tuple[str, str]:
        """A moved job and another at the same time of which something holds; empty when there are none."""
        for key, own in self.moved.items():
            for other, placed in sorted(self.others.items()):
                at_once = placed.start < own.end and own.start < placed.end
                if at_once and meets(self.ground.by_key[key], self.ground.by_key[other]):
                    return key, other
        return "", ""

    def _who(self, job: PlanJob) -> str | None:
        return None if len(self.moved) == 1 else job.key
