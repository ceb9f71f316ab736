"""What stands against an act of the work: asked first, it is refused; told as a fact, it is kept with what stood against it.

Unrecorded work is worse than unapproved work, so a fact is always taken. Only what cannot have happened (a lock off a
point where none hangs) is refused even then. Each rule gives facts; words are made elsewhere.

Source: common practice; locks and proofs by the model of 29 CFR 1910.147(d) to (f) and .333(b), whose scope leaves maritime
employment out. The ship's own procedures come first and are settings.
"""

from collections.abc import Iterator
from datetime import datetime

from scheduler.domain.base.enums import Test
from scheduler.domain.vessel.isolation import PointRole
from scheduler.domain.vessel.sheets import Phase
from scheduler.domain.work import acts
from scheduler.domain.work.against import Against, BelowMinimum, Objection, Procedure
from scheduler.domain.work.locks import (
    hanging,
    hangs,
    off_objections,
    own_numbers,
    personal_locks,
    personal_on,
    taken_over,
    unlocked,
)
from scheduler.domain.work.opening import opening_objections
from scheduler.domain.work.proofs import (
    gas_age,
    gas_objections,
    permit_valid,
    start_objections,
    to_sewage_only,
    vacuum_objections,
    voltage_objections,
)
from scheduler.domain.work.state import WorkState, same


def objections(
    work: WorkState, step: acts.AnyStep, procedure: Procedure, *, below_minimum: BelowMinimum | None = None
) -> list[Objection]:
    """All that stands against an act in this state; empty when nothing does."""
    if not step.by.strip():
        return [Objection(Against.NOBODY, impossible=True)]
    return list(_against(work, step, procedure, below_minimum))


def _against(
    work: WorkState, step: acts.AnyStep, procedure: Procedure, below: BelowMinimum | None
) -> Iterator[Objection]:
    match step:
        case acts.PermitIssued():
            yield from _permit(work, step)
        case acts.PermitClosed():
            yield from _permit_closed(work, step)
        case acts.Rinsed():
            yield from _rinsed(work, step, procedure)
        case acts.TagPlaced():
            yield from _tag(work, step, procedure, below)
        case acts.TagTakenOver():
            yield from taken_over(work, step)
        case acts.PointPasses():
            if not step.instead.strip():
                yield Objection(Against.NOTHING_INSTEAD, {"point": step.point})
        case acts.TestedDead():
            yield Objection(Against.ONE_BY_ONE)
        case acts.StartTried():
            yield from start_objections(work, step, procedure)
        case acts.NoVoltage():
            yield from voltage_objections(work, step, procedure)
        case acts.VacuumLetOut():
            yield from vacuum_objections(work, step, procedure)
        case acts.GasChecked():
            yield from gas_objections(step, procedure)
        case acts.PersonalLockOn():
            yield from personal_on(work, step)
        case acts.PersonalLockOff():
            if not hangs(work, step.by) and same(step.by) not in work.people_not_known:
                yield Objection(Against.NO_PERSONAL_LOCK, {"person": step.by}, impossible=True)
        case acts.Opened():
            yield from opening_objections(work, step, procedure, below)
        case acts.TagRemoved():
            yield from off_objections(work, step, procedure)
        case acts.PeopleWarned():
            yield from hanging(work, "told")
        case acts.StartedLocally():
            yield from hanging(work, "start")
            yield from personal_locks(work)
        case acts.Returned():
            yield from _returned(work, procedure)
        case acts.Tested():
            yield from _tested(work, step)
        case acts.Noted():
            yield from _noted(work, step, procedure)
        case acts.MeasureAccepted():
            yield from _accepted(work, step, procedure)
        case acts.MadeReady():
            if not step.standby_seen or not step.told.strip():
                yield Objection(Against.STANDBY_NOT_SEEN)
        case acts.PeopleClear() | acts.Reported() | acts.Struck():
            return


def close_objections(work: WorkState) -> list[Objection]:
    """What stands against closing the job: a lock that hangs, a permit that is open, a pump that was not brought back."""
    found = [*hanging(work, "close"), *personal_locks(work)]
    found += [Objection(Against.PERMIT_OPEN, {"number": one.number}) for one in work.permits if one.closed_at is None]
    if work.test is Test.FAILED:
        found.append(Objection(Against.TEST_FAILED))
    elif work.out_at is not None and work.returned_at is None and not work.hanging:
        found.append(Objection(Against.NOT_RETURNED))
    return found


def stop_reasons(work: WorkState, at: datetime, procedure: Procedure) -> list[Objection]:
    """Why work on the open pump stops now: the permit ran out, the gas reading is older than the ship allows."""
    if not work.is_open and not work.open_not_known:
        return []
    found = []
    if procedure.permit_needed and work.permit_at(at) is None:
        found.append(Objection(Against.NO_PERMIT))
    return [*found, *gas_age(work.gas, at, procedure)]


def _permit(work: WorkState, step: acts.PermitIssued) -> Iterator[Objection]:
    if not step.number.strip():
        yield Objection(Against.NO_NUMBER, impossible=True)
        return
    if any(one.number == step.number and one.closed_at is None for one in work.permits):
        yield Objection(Against.OPEN_ALREADY, {"number": step.number}, impossible=True)
    if step.valid_to is not None and step.valid_to <= step.at:
        yield Objection(Against.NOT_VALID, {"number": step.number})


def _permit_closed(work: WorkState, step: acts.PermitClosed) -> Iterator[Objection]:
    if not any(one.number == step.number and one.closed_at is None for one in work.permits):
        known = tuple(one.number for one in work.permits if one.closed_at is None)
        yield Objection(Against.NO_PERMIT, {"number": step.number, "open": known}, impossible=True)
        return
    # A permit issued anew (change of crew) takes the place of the one handed back; without one no lock may hang.
    if not any(one.number != step.number and one.holds(step.at) for one in work.permits):
        yield from hanging(work, "close the permit")
        yield from personal_locks(work)


def _rinsed(work: WorkState, step: acts.Rinsed, procedure: Procedure) -> Iterator[Objection]:
    locked = [point for point in procedure.of_role(PointRole.FLUSHING) if work.locked(point)]
    if locked:
        yield Objection(Against.FLUSHING_LOCKED, {"points": tuple(locked)})
    if not step.drained_to.strip():
        yield Objection(Against.NOT_RINSED)
    yield from to_sewage_only(step.drained_to)
    if not any(one.place is acts.GasPlace.ROOM for one in work.gas_readings):
        yield Objection(Against.ROOM_GAS_NOT_READ)


def _tag(
    work: WorkState, step: acts.TagPlaced, procedure: Procedure, below: BelowMinimum | None
) -> Iterator[Objection]:
    if not step.point.strip():
        yield Objection(Against.NO_POINT, impossible=True)
        return
    if any(tag.point == step.point for tag in work.hanging):
        yield Objection(Against.HANGS_ALREADY, {"point": step.point}, impossible=True)
    yield from permit_valid(work, step.at, procedure)
    if not work.hanging:
        if work.ready is None or not work.ready.standby_seen:
            yield Objection(Against.STANDBY_NOT_SEEN)
        if not any(one.place is acts.GasPlace.ROOM for one in work.gas_readings):
            yield Objection(Against.ROOM_GAS_NOT_READ)
        if below is not None and not step.override.strip():
            yield below.objection()
    yield from own_numbers(work, step.point, step.lock_no, step.tag_no)
    boxes = {tag.box_no for tag in work.hanging if tag.box_no} - {step.box_no}
    if step.box_no and boxes:
        yield Objection(Against.TWO_BOXES, {"boxes": tuple(sorted({*boxes, step.box_no}))})


def _returned(work: WorkState, procedure: Procedure) -> Iterator[Objection]:
    if work.hanging or work.not_known:
        yield from hanging(work, "run")
        return
    yield from personal_locks(work)
    if work.tags and work.warned_at is None:
        others = tuple(tag.placed_by for tag in work.tags if tag.other_hand is not None)
        yield Objection(Against.NOBODY_TOLD, {"others": others})
    if work.tags and work.started_locally is None:
        yield Objection(Against.NOT_STARTED_LOCALLY)
    yield from (Objection(Against.NAMEPLATE, {"name": one.name}) for one in nameplate_exceeded(work, procedure))


def _tested(work: WorkState, step: acts.Tested) -> Iterator[Objection]:
    if work.hanging or work.not_known:
        yield from hanging(work, "test")
    elif work.out_at is not None and work.returned_at is None and step.result is Test.PASSED:
        yield Objection(Against.NOT_RETURNED)
    if step.result is Test.PASSED and step.slower_than_limit:
        assert step.pull_down_seconds is not None
        assert step.limit_seconds is not None
        yield Objection(Against.SLOWER, {"seconds": step.pull_down_seconds, "limit": step.limit_seconds})


def _noted(work: WorkState, step: acts.Noted, procedure: Procedure) -> Iterator[Objection]:
    asked = next((one for one in procedure.sheet if one.text == step.name), None)
    if step.about is not acts.Note.STEP or asked is None:
        return
    if asked.act:
        yield Objection(Against.BY_ITS_ACT, {"act": asked.act}, impossible=True)
    elif asked.when is not None:
        yield from _out_of_phase(work, asked.when, procedure)


def _out_of_phase(work: WorkState, when: Phase, procedure: Procedure) -> Iterator[Objection]:
    """Why a step of the sheet cannot stand at this place of the work."""
    match when:
        case Phase.BEFORE:
            if work.hanging:
                yield Objection(Against.ISOLATED_ALREADY)
        case Phase.ISOLATED:
            free = unlocked(work, procedure)
            if free or not work.hanging:
                yield Objection(Against.NOT_ISOLATED, {"points": free})
        case Phase.OPEN:
            if not work.is_open:
                yield Objection(Against.NOT_OPEN)
        case Phase.CLOSED:
            if work.is_open or work.open_not_known:
                yield Objection(Against.STILL_OPEN)
            elif work.opened_at is None:
                yield Objection(Against.NOT_OPEN)
        case Phase.BACK:
            yield from hanging(work, "run")
            yield from personal_locks(work)
            if not work.tags:
                yield Objection(Against.NOT_ISOLATED, {"points": ()})


def _accepted(work: WorkState, step: acts.MeasureAccepted, procedure: Procedure) -> Iterator[Objection]:
    newest = newest_measures(work).get(step.name)
    if newest is None:
        yield Objection(Against.NO_MEASURE, {"name": step.name}, impossible=True)
        return
    if not newest.out_of_limit:
        yield Objection(Against.NOT_OUT_OF_LIMIT, {"name": step.name}, impossible=True)
    above = newest.value is not None and newest.high is not None and newest.value > newest.high
    if step.name in procedure.nameplate and above:
        yield Objection(Against.NAMEPLATE, {"name": step.name}, impossible=True)
    if not step.reason.strip():
        yield Objection(Against.NO_REASON, impossible=True)


def nameplate_exceeded(work: WorkState, procedure: Procedure) -> list[acts.Noted]:
    """The newest figures above a limit that stands on the nameplate: nobody accepts them, and the pump stays out of AUTO.

    Those of an earlier round of isolation count until they are read again."""
    return [
        one
        for name, one in newest_measures(work).items()
        if name in procedure.nameplate and one.value is not None and one.high is not None and one.value > one.high
    ]


def newest_measures(work: WorkState) -> dict[str, acts.Noted]:
    """The newest figure of each measure, by name."""
    return {one.name: one for one in work.measures}
