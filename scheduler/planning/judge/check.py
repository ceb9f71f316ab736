"""The judge: goes through a plan hour by hour and names every fault that a slot causes. It does not know the builder.

A deficit with no slot in it (a breakdown, a minimum set too high) is a fact, not a fault.
"""

from collections import Counter as Tally
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import NamedTuple

from scheduler.language import marked
from scheduler.planning.judge.check_hours import (
    capacity_by_hour,
    hands_by_hour,
    hours_worked,
    minimum_by_hour,
    pumps_by_hour,
    ships_day,
)
from scheduler.planning.problem.values import EARLY_KEPT, Plan, PlanJob, Problem, Slot


class Rule(StrEnum):
    """What a fault breaks."""

    UNKNOWN_JOB = marked("a slot or shortfall for a job that is not in the problem")
    ONE_ANSWER = marked("each job has one slot or one shortfall")
    RIGHT_PUMP = marked("a slot takes out the pump of its job")
    RIGHT_END = marked("a slot ends when its work is done")
    RIGHT_MARGIN = marked("a slot states the least margin in it")
    ON_THE_GRID = marked("a slot lies within the planned days")
    PINNED = marked("a pinned job keeps its start")
    ALLOWED_START = marked("a job starts at an allowed hour, with its hands at work")
    NOT_EARLY = marked("a job starts no earlier than its window")
    IN_ORDER = marked("a job starts after the end of the one before it")
    ONE_JOB_A_PUMP = marked("a pump is open for one job at a time")
    HANDS = marked("no more hands at work than there are")
    PERSON_HOURS = marked("nobody works longer in a day than a person may")
    ISOLATION = marked(
        "a job on another's isolation starts as that ends, in the same pump, and both are pinned or neither is"
    )
    FACTS = marked("a job lies where its parts, its needs and the quiet hours allow it")
    ONE_TEST = marked("no two short tests at once, and none of a pump that is open")
    NOT_TOGETHER = marked("no more pumps of one branch open than may be")
    ALL_CLOSED = marked("no pump is open during a job that needs all of them closed")
    MINIMUM = marked("no slot takes the plant below its minimum")
    NUMBER = marked("no slot leaves fewer pumps than must be there")


@dataclass(frozen=True, slots=True)
class Fault:
    """One broken rule. key: the job concerned, none when several are. step: where it shows first, none if nowhere.

    keys, pumps: what else has a part in it. found, expected: steps, hands, pumps, litres/h or man-hours, as the rule has it.
    """

    rule: Rule
    key: str | None
    step: int | None
    keys: tuple[str, ...] = ()
    pumps: tuple[str, ...] = ()
    found: int | None = None
    expected: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """What the judge found. least_margin_litres_per_h at least_at_step: smallest available minus minimum on the grid,
    breakdowns and slots together; both none for a grid of no steps."""

    faults: tuple[Fault, ...]
    least_margin_litres_per_h: int | None
    least_at_step: int | None

    @property
    def lawful(self) -> bool:
        """True when no slot breaks a rule."""
        return not self.faults


class MarginSteps(NamedTuple):
    """Steps [from_step, to_step) with the same capacity available and the same minimum, in litres/h."""

    from_step: int
    to_step: int
    available: int
    minimum: int


def judge(problem: Problem, plan: Plan) -> Judgement:
    """The verdict on a plan: its faults in a fixed order, and the least margin. Never raises, whatever it is given."""
    jobs = {job.key: job for job in problem.jobs}
    known = [slot for slot in plan.slots if slot.key in jobs]
    need, have = minimum_by_hour(problem), capacity_by_hour(problem)
    hands = hands_by_hour(problem)
    faults = list(_answers(problem, plan))
    available = _available_by_hour(problem, plan, have)
    for slot in known:
        job = jobs[slot.key]
        faults += _own_faults(problem, jobs, slot, hands)
        faults += _fact_faults(problem, job, slot)
        faults += _margin_fault(problem, slot, available, need)
    faults += _order(jobs, known)
    faults += _isolation_faults(jobs, known)
    faults += _pump_overlaps(known)
    faults += _test_faults(jobs, known)
    faults += _together_faults(problem, known)
    faults += _closed_faults(jobs, known)
    faults += _hands_faults(problem, jobs, known, hands)
    faults += _minimum_faults(problem, plan, have, need)
    margins = [a - n for a, n in zip(available, need, strict=True)]
    least = min(margins, default=None)
    at = margins.index(least) if least is not None else None
    return Judgement(faults=tuple(faults), least_margin_litres_per_h=least, least_at_step=at)


def margin_series(problem: Problem, plan: Plan) -> tuple[MarginSteps, ...]:
    """Available capacity and minimum over the whole grid with the plan's slots out, equal hours merged, in litres/h."""
    need = minimum_by_hour(problem)
    available = _available_by_hour(problem, plan, capacity_by_hour(problem))
    pairs = list(zip(available, need, strict=True))
    changes = [hour for hour in range(1, len(pairs)) if pairs[hour] != pairs[hour - 1]]
    edges = [0, *changes, len(pairs)] if pairs else []
    return tuple(MarginSteps(first, last, *pairs[first]) for first, last in pairwise(edges))


def _answers(problem: Problem, plan: Plan) -> Iterator[Fault]:
    keys = {job.key for job in problem.jobs}
    slots = Tally(slot.key for slot in plan.slots)
    short = Tally(s.key for s in plan.shortfalls if s.key is not None)
    for key in sorted({*slots, *short} - keys):
        yield Fault(Rule.UNKNOWN_JOB, key, None)
    for key in sorted(keys):
        if slots[key] + short[key] != 1:
            yield Fault(Rule.ONE_ANSWER, key, None, found=slots[key] + short[key], expected=1)


def _own_faults(problem: Problem, jobs: dict[str, PlanJob], slot: Slot, hands: list[int]) -> Iterator[Fault]:
    job = jobs[slot.key]

    def fault(rule: Rule, found: int | None = None, expected: int | None = None) -> Fault:
        return Fault(rule, slot.key, slot.start, found=found, expected=expected)

    if slot.pump != job.pump:
        yield Fault(
            Rule.RIGHT_PUMP,
            slot.key,
            slot.start,
            pumps=tuple(pump for pump in (slot.pump, job.pump) if pump is not None),
        )
    pinned = job.fixed_start is not None
    if slot.end > problem.steps or slot.end <= slot.start or (slot.start < 0 and not pinned):
        yield fault(Rule.ON_THE_GRID, slot.end, problem.steps)
        return
    worked = [hour for hour, _ in hours_worked(problem, job, slot.start, hands, _spared(jobs, slot))]
    end = worked[-1] + 1 if worked else None
    if end != slot.end:
        yield fault(Rule.RIGHT_END, slot.end, end)
    if pinned:
        if slot.start != job.fixed_start:
            yield fault(Rule.PINNED, slot.start, job.fixed_start)
        return
    if slot.start == job.kept_start:
        return  # its own date in the frozen zone, whatever its hour and window are by now
    if slot.isolation_of is None:
        first_hands = job.hands_by_step[0] if job.hands_by_step else job.hands
        if slot.start not in problem.start_steps or hands[slot.start] < first_hands:
            yield fault(Rule.ALLOWED_START, hands[slot.start], first_hands)
    shown = slot.start == job.published_start and job.earliest - slot.start <= EARLY_KEPT
    if slot.start < job.earliest and not shown:
        yield fault(Rule.NOT_EARLY, slot.start, job.earliest)


def _spared(jobs: dict[str, PlanJob], slot: Slot) -> int:
    """Hours of set-up that the slot is spared because the pump is isolated already."""
    first = jobs.get(slot.isolation_of or "")
    return 0 if first is None else max(0, min(first.setup_steps, jobs[slot.key].setup_steps))


def _fact_faults(problem: Problem, job: PlanJob, slot: Slot) -> Iterator[Fault]:
    def fault(found: int, expected: int | None = None) -> Fault:
        return Fault(Rule.FACTS, slot.key, slot.start, found=found, expected=expected)

    if slot.start < 0:
        return
    if job.parts_from is not None and slot.start < job.parts_from:
        yield fault(slot.start, job.parts_from)
    for need in job.needs:
        there = {h for o in problem.occasions if o.need == need for h in range(o.from_step, o.to_step)}
        lacking = [hour for hour in range(slot.start, slot.end) if hour not in there]
        if lacking:
            yield fault(lacking[0])
    for hour in range(slot.start, slot.end) if job.stop_minutes > 0 else ():
        agreed = [q for q in problem.quiet if q.from_step <= hour < q.to_step]
        if not agreed or any(q.most_minutes < job.stop_minutes or not q.consent.strip() for q in agreed):
            yield fault(hour)
            return


def _margin_fault(problem: Problem, slot: Slot, available: list[int], need: list[int]) -> Iterator[Fault]:
    hours = range(max(slot.start, 0), min(slot.end, problem.steps))
    least = min((available[h] - need[h] for h in hours), default=None)
    if least is not None and least != slot.least_margin_litres_per_h:
        stated = slot.least_margin_litres_per_h
        yield Fault(Rule.RIGHT_MARGIN, slot.key, slot.start, found=stated, expected=least)


def _order(jobs: dict[str, PlanJob], slots: list[Slot]) -> Iterator[Fault]:
    for slot in slots:
        before = jobs[slot.key].after
        for other in slots:
            if other.key == before and other.key != slot.key and slot.start < other.end:
                yield Fault(
                    Rule.IN_ORDER, slot.key, slot.start, keys=(other.key,), found=slot.start, expected=other.end
                )


def _pump_overlaps(slots: list[Slot]) -> Iterator[Fault]:
    ordered = sorted((s for s in slots if s.pump is not None), key=lambda s: (str(s.pump), s.start, s.key))
    for i, first in enumerate(ordered):
        for second in ordered[i + 1 :]:
            if second.pump != first.pump or second.start >= first.end:
                break
            yield Fault(Rule.ONE_JOB_A_PUMP, second.key, second.start, keys=(first.key,), pumps=(str(first.pump),))


def _isolation_faults(jobs: dict[str, PlanJob], slots: list[Slot]) -> Iterator[Fault]:
    by_key = {slot.key: slot for slot in slots}
    used: set[str] = set()
    for slot in slots:
        if slot.isolation_of is None:
            continue
        first = by_key.get(slot.isolation_of)
        pinned = [k for k in (slot.key, slot.isolation_of) if k in jobs and jobs[k].fixed_start is not None]
        wrong = (
            first is None
            or first.key == slot.key
            or first.isolation_of is not None
            or first.key in used
            or len(pinned) == 1
            or slot.pump is None
            or first.pump != slot.pump
            or first.end != slot.start
        )
        used.add(slot.isolation_of)
        if wrong:
            yield Fault(Rule.ISOLATION, slot.key, slot.start, keys=(slot.isolation_of,))


def _test_faults(jobs: dict[str, PlanJob], slots: list[Slot]) -> Iterator[Fault]:
    tests = sorted((s for s in slots if jobs[s.key].stop_minutes > 0), key=lambda s: (s.start, s.key))
    for test in tests:
        for other in slots:
            if other.key == test.key or other.end <= test.start or test.end <= other.start:
                continue
            both_tests = jobs[other.key].stop_minutes > 0 and (test.start, test.key) < (other.start, other.key)
            if both_tests or (other.pump is not None and other.pump == jobs[test.key].tested):
                at = max(test.start, other.start)
                yield Fault(Rule.ONE_TEST, test.key, at, keys=(other.key,))


def _together_faults(problem: Problem, slots: list[Slot]) -> Iterator[Fault]:
    for rule in problem.not_together:
        own = [slot for slot in slots if slot.pump in rule.pumps]
        for at in sorted({slot.start for slot in own}):
            out = {str(slot.pump) for slot in own if slot.start <= at < slot.end}
            if len(out) > rule.most_out:
                yield Fault(
                    Rule.NOT_TOGETHER, None, at, pumps=tuple(sorted(out)), found=len(out), expected=rule.most_out
                )


def _closed_faults(jobs: dict[str, PlanJob], slots: list[Slot]) -> Iterator[Fault]:
    for slot in slots:
        for other in slots if jobs[slot.key].all_closed else ():
            if other.pump is not None and other.key != slot.key and other.start < slot.end and slot.start < other.end:
                at = max(slot.start, other.start)
                yield Fault(Rule.ALL_CLOSED, slot.key, at, keys=(other.key,), pumps=(other.pump,))


def _hands_faults(problem: Problem, jobs: dict[str, PlanJob], slots: list[Slot], hands: list[int]) -> Iterator[Fault]:
    at_work: dict[int, list[tuple[str, int]]] = {}
    for slot in slots:
        for hour, takes in hours_worked(problem, jobs[slot.key], slot.start, hands, _spared(jobs, slot)):
            at_work.setdefault(hour, []).append((slot.key, takes))
    seen: set[tuple[str, ...]] = set()
    by_day: dict[int, int] = {}
    for hour in sorted(at_work):
        used = sum(takes for _, takes in at_work[hour])
        keys = tuple(sorted(key for key, _ in at_work[hour]))
        day = ships_day(problem, hour)
        by_day[day] = by_day.get(day, 0) + used
        if used > hands[hour] and keys not in seen:
            seen.add(keys)
            one = keys[0] if len(keys) == 1 else None
            yield Fault(Rule.HANDS, one, hour, keys=keys, found=used, expected=hands[hour])
    there: dict[int, list[int]] = {}
    for hour in range(len(hands)) if by_day else ():
        there.setdefault(ships_day(problem, hour), []).append(hour)
    for day, used in by_day.items():
        first = there[day][0]
        most = max(hands[hour] for hour in there[day])
        if used > most * problem.person_hours:
            give = most * problem.person_hours
            yield Fault(Rule.PERSON_HOURS, None, max(0, first), found=used, expected=give)


def _minimum_faults(problem: Problem, plan: Plan, have: dict[str, list[int]], need: list[int]) -> Iterator[Fault]:
    seen: set[tuple[str, ...]] = set()
    few: set[tuple[str, ...]] = set()
    must = pumps_by_hour(problem)
    out: dict[int, set[str]] = {}
    for slot in plan.slots:
        for hour in range(max(slot.start, 0), min(slot.end, problem.steps)) if slot.pump is not None else ():
            out.setdefault(hour, set()).add(str(slot.pump))
    for hour in sorted(out):
        taken = {pump: have[pump][hour] for pump in out[hour] if pump in have and have[pump][hour] > 0}
        left = sum(row[hour] for row in have.values()) - sum(taken.values())
        count = sum(row[hour] > 0 for row in have.values()) - len(taken)
        if not taken or (left >= need[hour] and count >= must[hour]):
            continue
        keys = tuple(sorted(s.key for s in plan.slots if s.pump in taken and s.start <= hour < s.end))
        one, pumps = keys[0] if len(keys) == 1 else None, tuple(sorted(taken))
        if count < must[hour] and keys not in few:
            few.add(keys)
            yield Fault(Rule.NUMBER, one, hour, keys=keys, pumps=pumps, found=count, expected=must[hour])
        if left < need[hour] and keys not in seen:
            seen.add(keys)
            yield Fault(Rule.MINIMUM, one, hour, keys=keys, pumps=pumps, found=left, expected=need[hour])


def _available_by_hour(problem: Problem, plan: Plan, have: dict[str, list[int]]) -> list[int]:
    available = list(map(sum, zip(*have.values(), strict=True))) or [0] * max(0, problem.steps)
    out = {
        (slot.pump, hour)
        for slot in plan.slots
        if slot.pump in have
        for hour in range(max(slot.start, 0), min(slot.end, problem.steps))
    }
    for pump, hour in out:
        available[hour] -= have[str(pump)][hour]
    return available
