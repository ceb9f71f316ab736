"""Rules of permit and proofs: what holds when, and what a proof is worth.

Source: 29 CFR 1910.147(d) and .333(b)(2)(iv) for the principle; common practice. The ship's own limits come first.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta

from scheduler.domain.vessel.isolation import PointRole
from scheduler.domain.work.acts import GasChecked, GasPlace, NoVoltage, StartTried, VacuumLetOut
from scheduler.domain.work.against import Against, Objection, Procedure
from scheduler.domain.work.gas import gas_faults
from scheduler.domain.work.state import WorkState


def permit_valid(work: WorkState, at: datetime, procedure: Procedure) -> Iterator[Objection]:
    """A permit holds now; after a failed test, or a change of crew, one that was issued since."""
    if not procedure.permit_needed:
        return
    permit = work.permit_at(at)
    if permit is None:
        yield Objection(Against.NO_PERMIT)
        return
    if work.failed_at is not None and permit.from_at < work.failed_at:
        yield Objection(Against.PERMIT_BEFORE_FAILURE, {"number": permit.number})
    if work.taken_over_at is not None and permit.from_at < work.taken_over_at:
        yield Objection(Against.PERMIT_BEFORE_RELIEF, {"number": permit.number})


def to_sewage_only(drained_to: str) -> Iterator[Objection]:
    """Sewage never goes to the bilge; where it went is picked or written as one place."""
    if "bilge" in drained_to.casefold():
        yield Objection(Against.BILGE)


def gas_read(reading: GasChecked | None, at: datetime, procedure: Procedure) -> Iterator[Objection]:
    """Gas was read at the slackened cover, whole, within the ship's time, by a named meter bump-tested today."""
    if reading is None:
        yield Objection(Against.NO_GAS_CHECK)
        return
    if reading.place is not GasPlace.COVER:
        yield Objection(Against.NOT_AT_COVER)
    yield from gas_age(reading, at, procedure)
    yield from gas_objections(reading, procedure)


def gas_age(reading: GasChecked | None, at: datetime, procedure: Procedure) -> Iterator[Objection]:
    if reading is None or at - reading.at > timedelta(minutes=procedure.gas_minutes):
        minutes = 0.0 if reading is None else (at - reading.at) / timedelta(minutes=1)
        code = Against.NO_GAS_CHECK if reading is None else Against.GAS_OLD
        yield Objection(code, {"minutes": float(int(minutes)), "most_minutes": float(procedure.gas_minutes)})


def gas_objections(step: GasChecked, procedure: Procedure) -> Iterator[Objection]:
    faults = gas_faults(step.oxygen_percent, step.lel_percent, step.h2s_ppm, procedure.h2s_limit_ppm)
    for fault in faults:
        yield Objection(
            Against.GAS, {"what": fault.code.value, "value": fault.value, "limit": fault.limit, "names": fault.names}
        )
    if not step.meter.strip():
        yield Objection(Against.NO_METER)
    if not step.bump_tested:
        yield Objection(Against.NO_BUMP_TEST)


def start_objections(work: WorkState, step: StartTried, procedure: Procedure) -> Iterator[Objection]:
    breakers = procedure.of_role(PointRole.SUPPLY)
    if not all(work.locked(point) for point in breakers) or not work.hanging:
        yield Objection(Against.BREAKER_NOT_LOCKED, {"points": breakers})
    off = [point for point in procedure.of_role(PointRole.CONTROL) if work.locked(point)]
    if not step.control_alive or off:
        yield Objection(Against.CONTROL_OFF, {"points": tuple(off)})


def voltage_objections(work: WorkState, step: NoVoltage, procedure: Procedure) -> Iterator[Objection]:
    live = [p for p in procedure.of_role(PointRole.SUPPLY, PointRole.CONTROL) if not work.locked(p)]
    if live or not work.hanging:
        yield Objection(Against.POINT_NOT_LOCKED, {"points": tuple(live)})
    if not step.all_phases:
        yield Objection(Against.VOLTAGE_NOT_READ)
    if not step.meter.strip() or not step.meter_proved_before or not step.meter_proved_after:
        yield Objection(Against.METER_NOT_PROVED)


def vacuum_objections(work: WorkState, step: VacuumLetOut, procedure: Procedure) -> Iterator[Objection]:
    valves = (PointRole.SUCTION, PointRole.DISCHARGE, PointRole.FLUSHING)
    free = [p for p in procedure.of_role(*valves) if not work.locked(p)]
    if free or not work.hanging:
        yield Objection(Against.VALVES_NOT_LOCKED, {"points": tuple(free)})
    if not step.gauge_stays_at_zero or not step.drained:
        yield Objection(Against.VACUUM_NOT_OUT)
