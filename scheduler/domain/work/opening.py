"""What opening a pump asks for: one rule each, all of them named where they lack. Nothing is opened half isolated.

Source: 29 CFR 1910.147(d) (isolate, lock, release stored energy, verify) and .333(b)(2)(iv) (test by a meter proved before and
after) for the principle; order and gas by common practice. The ship's permit system and the maker's manual come first.
"""

from collections.abc import Callable, Iterator
from datetime import datetime

from scheduler.domain.vessel.isolation import PointRole
from scheduler.domain.work.acts import GasPlace, Opened
from scheduler.domain.work.against import Against, BelowMinimum, Objection, Procedure
from scheduler.domain.work.locks import own_numbers, unlocked
from scheduler.domain.work.proofs import gas_read, permit_valid, to_sewage_only
from scheduler.domain.work.state import Counts, Tag, WorkState, same

Rule = Callable[[WorkState, Opened, Procedure], Iterator[Objection]]


def points_locked(work: WorkState, _step: Opened, procedure: Procedure) -> Iterator[Objection]:
    """Every point of the sheet is locked and tagged, and what isolates instead of one that passes."""
    if not work.hanging:
        yield Objection(Against.NO_TAG, {"hanging": ()})
    unknown = tuple(sorted(work.not_known))
    if unknown:
        yield Objection(Against.POINT_NOT_KNOWN, {"points": unknown})
    free = tuple(point for point in unlocked(work, procedure) if point not in work.not_known)
    if free:
        yield Objection(Against.POINT_NOT_LOCKED, {"points": free})


def numbers_given(work: WorkState, _step: Opened, _procedure: Procedure) -> Iterator[Objection]:
    """Each hanging lock and tag has its own number."""
    seen: set[tuple[Against, object]] = set()
    for tag in work.hanging:
        for one in own_numbers(work, tag.point, tag.lock_no, tag.tag_no):
            if (one.code, one.facts["points"]) not in seen:
                seen.add((one.code, one.facts["points"]))
                yield one


def passing_isolated(work: WorkState, _step: Opened, _procedure: Procedure) -> Iterator[Objection]:
    """A point that passes has something instead, and the permit names it."""
    permits = [permit for permit in work.permits if permit.closed_at is None]
    for passing in work.passing:
        if not passing.instead.strip():
            yield Objection(Against.PASSES, {"point": passing.point})
        if not any(passing.point in permit.passing for permit in permits):
            yield Objection(Against.NOT_ON_PERMIT, {"point": passing.point})


def start_tried(work: WorkState, _step: Opened, procedure: Procedure) -> Iterator[Objection]:
    """A start was tried at the locked breaker with the control supply alive."""
    tried = work.start_tried
    if tried is None or not tried.control_alive or _locked_since(work, procedure, PointRole.SUPPLY, tried.at):
        yield Objection(Against.START_NOT_TRIED)
        return
    control = [tag for tag in _tags(work, procedure, PointRole.CONTROL) if tag.placed_at <= tried.at]
    if control:
        yield Objection(Against.CONTROL_OFF, {"points": tuple(tag.point for tag in control)})


def no_voltage(work: WorkState, _step: Opened, procedure: Procedure) -> Iterator[Objection]:
    """No voltage at the terminals, all phases, by a meter proved before and after, since breaker and control were locked."""
    read = work.no_voltage
    since = (PointRole.SUPPLY, PointRole.CONTROL)
    if read is None or not read.all_phases or any(_locked_since(work, procedure, role, read.at) for role in since):
        yield Objection(Against.VOLTAGE_NOT_READ)
    elif not read.meter.strip() or not read.meter_proved_before or not read.meter_proved_after:
        yield Objection(Against.METER_NOT_PROVED)


def vacuum_let_out(work: WorkState, _step: Opened, procedure: Procedure) -> Iterator[Objection]:
    """Stored vacuum is let out and the pump drained, since its valves were locked."""
    out = work.vacuum_out
    valves = (PointRole.SUCTION, PointRole.DISCHARGE, PointRole.FLUSHING)
    stale = out is not None and any(_locked_since(work, procedure, role, out.at) for role in valves)
    if out is None or stale or not out.gauge_stays_at_zero or not out.drained:
        yield Objection(Against.VACUUM_NOT_OUT)


def gas_within_time(work: WorkState, step: Opened, procedure: Procedure) -> Iterator[Objection]:
    """Gas was read at the slackened cover within the ship's time, and nothing in it speaks against."""
    gas, out = work.gas, work.vacuum_out
    early = gas is not None and gas.place is GasPlace.COVER and out is not None and gas.at < out.at
    yield from gas_read(None if early else gas, step.at, procedure)


def permit_now(work: WorkState, step: Opened, procedure: Procedure) -> Iterator[Objection]:
    """A permit holds at that instant."""
    yield from permit_valid(work, step.at, procedure)


def rinsed(work: WorkState, step: Opened, _procedure: Procedure) -> Iterator[Objection]:
    """The pump was rinsed and drained, never to the bilge."""
    if work.rinsed is None and not step.rinsed:
        yield Objection(Against.NOT_RINSED)
    yield from to_sewage_only(step.drained_to)
    if work.rinsed is not None:
        yield from to_sewage_only(work.rinsed.drained_to)


def personal_lock(work: WorkState, step: Opened, _procedure: Procedure) -> Iterator[Objection]:
    """Who opens it has a personal lock on the box."""
    if not any(same(lock.person) == same(step.by) for lock in work.personal_hanging):
        yield Objection(Against.NO_PERSONAL_LOCK, {"person": step.by})


RULES: tuple[Rule, ...] = (
    permit_now,
    points_locked,
    numbers_given,
    passing_isolated,
    rinsed,
    start_tried,
    no_voltage,
    vacuum_let_out,
    gas_within_time,
    personal_lock,
)
"""All that is asked before a pump is opened, in the order in which it is done."""


def opening_objections(
    work: WorkState, step: Opened, procedure: Procedure, below: BelowMinimum | None
) -> Iterator[Objection]:
    """What of it lacks, every rule gone through; and the minimum, where nothing was locked before."""
    if work.is_open:
        yield Objection(Against.STILL_OPEN)
    for rule in RULES:
        yield from rule(work, step, procedure)
    if below is not None and not work.hanging and work.counts is not Counts.NOTHING:
        yield below.objection()


def _tags(work: WorkState, procedure: Procedure, role: PointRole) -> list[Tag]:
    names = procedure.of_role(role)
    return [tag for tag in work.hanging if tag.point in names and not tag.relief]


def _locked_since(work: WorkState, procedure: Procedure, role: PointRole, at: datetime) -> bool:
    """Whether a point of that role was locked after an instant: a proof made before it proves nothing of it."""
    return any(tag.placed_at > at for tag in _tags(work, procedure, role))
