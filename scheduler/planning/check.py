"""The judge: goes through a plan hour by hour and names every fault that a slot causes. It does not know the builder.

A deficit with no slot in it (a breakdown, a minimum set too high) is a fact, not a fault.
"""

from collections import Counter as Tally
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from scheduler.planning.problem import Plan, PlanJob, Problem, Slot


class Rule(StrEnum):
    """What a fault breaks."""

    UNKNOWN_JOB = "a slot or shortfall for a job that is not in the problem"
    ONE_ANSWER = "each job has one slot or one shortfall"
    RIGHT_PUMP = "a slot takes out the pump of its job"
    RIGHT_END = "a slot ends when its work is done"
    RIGHT_MARGIN = "a slot states the least margin in it"
    ON_THE_GRID = "a slot lies within the planned days"
    PINNED = "a pinned job keeps its start"
    ALLOWED_START = "a job starts at an allowed step, with its hands at work"
    NOT_EARLY = "a job starts no earlier than its window"
    IN_ORDER = "a job starts after the end of the one before it"
    ONE_JOB_A_PUMP = "a pump is open for one job at a time"
    HANDS = "no more hands at work than there are"
    MINIMUM = "no slot takes the plant below its minimum"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One broken rule. key: the job concerned, none when several are. step: where it shows first, none if nowhere."""

    rule: Rule
    key: str | None
    step: int | None
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What the judge found. least_margin_litres_per_h at least_at_step: smallest available minus minimum on the grid,
    breakdowns and slots together; both none for a grid of no steps."""

    faults: tuple[Fault, ...]
    least_margin_litres_per_h: int | None
    least_at_step: int | None

    @property
    def lawful(self) -> bool:
        """True when no slot breaks a rule."""
        return not self.faults


class MarginRun(NamedTuple):
    """Steps [from_step, to_step) with the same capacity available and the same minimum, in litres/h."""

    from_step: int
    to_step: int
    available: int
    minimum: int


def judge(problem: Problem, plan: Plan) -> Verdict:
    """The verdict on a plan: its faults in a fixed order, and the least margin. Never raises, whatever it is given."""
    jobs = {job.key: job for job in problem.jobs}
    known = [slot for slot in plan.slots if slot.key in jobs]
    need, have = _minimum_by_hour(problem), _capacity_by_hour(problem)
    hands = _hands_by_hour(problem)
    faults = list(_answers(problem, plan))
    available = _available_by_hour(problem, plan, have)
    for slot in known:
        job = jobs[slot.key]
        faults += _own_faults(problem, job, slot, hands)
        faults += _margin_fault(problem, slot, available, need)
    faults += _order(jobs, known)
    faults += _pump_overlaps(known)
    faults += _hands_faults(jobs, known, hands)
    faults += _minimum_faults(problem, plan, have, need)
    margins = [a - n for a, n in zip(available, need, strict=True)]
    least = min(margins, default=None)
    at = margins.index(least) if least is not None else None
    return Verdict(faults=tuple(faults), least_margin_litres_per_h=least, least_at_step=at)


def margin_series(problem: Problem, plan: Plan) -> tuple[MarginRun, ...]:
    """Available capacity and minimum over the whole grid with the plan's slots out, equal hours merged, in litres/h."""
    need = _minimum_by_hour(problem)
    available = _available_by_hour(problem, plan, _capacity_by_hour(problem))
    runs: list[MarginRun] = []
    for hour, pair in enumerate(zip(available, need, strict=True)):
        if runs and (runs[-1].available, runs[-1].minimum) == pair:
            runs[-1] = runs[-1]._replace(to_step=hour + 1)
        else:
            runs.append(MarginRun(hour, hour + 1, *pair))
    return tuple(runs)


def _answers(problem: Problem, plan: Plan) -> Iterator[Fault]:
    keys = {job.key for job in problem.jobs}
    slots = Tally(slot.key for slot in plan.slots)
    short = Tally(s.key for s in plan.shortfalls if s.key is not None)
    for key in sorted({*slots, *short} - keys):
        yield Fault(rule=Rule.UNKNOWN_JOB, key=key, step=None, says=f"{key} is not a job of this problem.")
    for key in sorted(keys):
        if slots[key] + short[key] != 1:
            says = f"{key} has {slots[key]} slots and {short[key]} shortfalls; one of the two is expected."
            yield Fault(rule=Rule.ONE_ANSWER, key=key, step=None, says=says)


def _own_faults(problem: Problem, job: PlanJob, slot: Slot, hands: list[int]) -> Iterator[Fault]:
    def fault(rule: Rule, says: str) -> Fault:
        return Fault(rule=rule, key=slot.key, step=slot.start, says=f"{slot.key}: {says}")

    if slot.pump != job.pump:
        yield fault(Rule.RIGHT_PUMP, f"the slot takes out {slot.pump}, the job {job.pump}.")
    pinned = job.fixed_start is not None
    if slot.end > problem.steps or slot.end <= slot.start or (slot.start < 0 and not pinned):
        yield fault(Rule.ON_THE_GRID, f"steps {slot.start} to {slot.end} do not lie in 0 to {problem.steps}.")
        return
    worked = _hours_worked(job, slot.start, hands)
    end = worked[-1] + 1 if worked else None
    if end != slot.end:
        yield fault(Rule.RIGHT_END, f"it ends at step {slot.end}; its work is done at {end}.")
    if pinned:
        if slot.start != job.fixed_start:
            yield fault(Rule.PINNED, f"it starts at step {slot.start}; it is pinned to {job.fixed_start}.")
        return
    if slot.start not in problem.start_steps or hands[slot.start] < job.hands:
        yield fault(Rule.ALLOWED_START, f"step {slot.start} is no start with {job.hands} hands at work.")
    if slot.start < job.earliest:
        yield fault(Rule.NOT_EARLY, f"it starts at step {slot.start}; its window opens at {job.earliest}.")


def _hours_worked(job: PlanJob, start: int, hands: list[int]) -> list[int]:
    """The hours in which the job is worked on; empty when it cannot be finished."""
    left, worked = max(job.work_steps, 1), []
    hour = max(start, 0)
    while left and hour < len(hands):
        if hands[hour] >= job.hands:
            worked.append(hour)
            left -= 1
        hour += 1
    return [] if left else worked


def _margin_fault(problem: Problem, slot: Slot, available: list[int], need: list[int]) -> Iterator[Fault]:
    hours = range(max(slot.start, 0), min(slot.end, problem.steps))
    least = min((available[h] - need[h] for h in hours), default=None)
    if least is not None and least != slot.least_margin_litres_per_h:
        says = f"{slot.key}: it states a margin of {slot.least_margin_litres_per_h} litres/h; it is {least}."
        yield Fault(rule=Rule.RIGHT_MARGIN, key=slot.key, step=slot.start, says=says)


def _order(jobs: dict[str, PlanJob], slots: list[Slot]) -> Iterator[Fault]:
    for slot in slots:
        before = jobs[slot.key].after
        for other in slots:
            if other.key == before and other.key != slot.key and slot.start < other.end:
                says = f"{slot.key} starts at step {slot.start}; {before} before it ends at {other.end}."
                yield Fault(rule=Rule.IN_ORDER, key=slot.key, step=slot.start, says=says)


def _pump_overlaps(slots: list[Slot]) -> Iterator[Fault]:
    ordered = sorted((s for s in slots if s.pump is not None), key=lambda s: (str(s.pump), s.start, s.key))
    for i, first in enumerate(ordered):
        for second in ordered[i + 1 :]:
            if second.pump != first.pump or second.start >= first.end:
                break
            says = f"{first.pump} is open for {first.key} and for {second.key} at step {second.start}."
            yield Fault(rule=Rule.ONE_JOB_A_PUMP, key=second.key, step=second.start, says=says)


def _hands_faults(jobs: dict[str, PlanJob], slots: list[Slot], hands: list[int]) -> Iterator[Fault]:
    at_work: dict[int, list[Slot]] = {}
    for slot in slots:
        for hour in _hours_worked(jobs[slot.key], slot.start, hands):
            at_work.setdefault(hour, []).append(slot)
    seen: set[tuple[str, ...]] = set()
    for hour in sorted(at_work):
        used = sum(jobs[slot.key].hands for slot in at_work[hour])
        keys = tuple(sorted(slot.key for slot in at_work[hour]))
        if used > hands[hour] and keys not in seen:
            seen.add(keys)
            says = f"{' and '.join(keys)} need {used} hands at step {hour}; {hands[hour]} are at work."
            yield Fault(rule=Rule.HANDS, key=keys[0] if len(keys) == 1 else None, step=hour, says=says)


def _minimum_faults(problem: Problem, plan: Plan, have: dict[str, list[int]], need: list[int]) -> Iterator[Fault]:
    seen: set[tuple[str, ...]] = set()
    for hour in range(max(0, problem.steps)):
        out = {slot.pump for slot in plan.slots if slot.pump is not None and slot.start <= hour < slot.end}
        taken = {pump: have[pump][hour] for pump in out if pump in have and have[pump][hour] > 0}
        left = sum(row[hour] for row in have.values()) - sum(taken.values())
        if not taken or left >= need[hour]:
            continue
        keys = tuple(sorted(s.key for s in plan.slots if s.pump in taken and s.start <= hour < s.end))
        if keys not in seen:
            seen.add(keys)
            says = (
                f"With {' and '.join(sorted(taken))} out for {' and '.join(keys)}, {left} of {need[hour]} litres/h "
                f"are left at step {hour}."
            )
            yield Fault(rule=Rule.MINIMUM, key=keys[0] if len(keys) == 1 else None, step=hour, says=says)


def _available_by_hour(problem: Problem, plan: Plan, have: dict[str, list[int]]) -> list[int]:
    out: dict[str, set[int]] = {pump: set() for pump in have}
    for slot in plan.slots:
        if slot.pump in out:
            out[slot.pump].update(range(max(slot.start, 0), min(slot.end, problem.steps)))
    return [
        sum(row[hour] for pump, row in have.items() if hour not in out[pump]) for hour in range(max(0, problem.steps))
    ]


def _capacity_by_hour(problem: Problem) -> dict[str, list[int]]:
    have = {}
    for pump in problem.pumps:
        row = []
        for hour in range(max(0, problem.steps)):
            counts = [d.litres_per_h for d in pump.derated if d.from_step <= hour < d.to_step]
            row.append(min([pump.litres_per_h, *counts]))
        have[pump.pump] = row
    return have


def _minimum_by_hour(problem: Problem) -> list[int]:
    need: list[int | None] = [None] * max(0, problem.steps)
    for stretch in problem.minimum:
        for hour in range(max(stretch.from_step, 0), min(stretch.to_step, problem.steps)):
            before = need[hour]
            need[hour] = stretch.litres_per_h if before is None else max(before, stretch.litres_per_h)
    return [0 if n is None else n for n in need]


def _hands_by_hour(problem: Problem) -> list[int]:
    hands: list[int | None] = [None] * max(0, problem.steps)
    for stretch in problem.crew:
        for hour in range(max(stretch.from_step, 0), min(stretch.to_step, problem.steps)):
            before = hands[hour]
            hands[hour] = stretch.hands if before is None else min(before, stretch.hands)
    return [0 if h is None else h for h in hands]
