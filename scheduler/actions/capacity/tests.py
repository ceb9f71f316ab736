"""A pump's pull-down test: figures or a log in, measured capacity out. The plan follows it."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from scheduler.actions.base.context import AHEAD, Answer, Context, Hand, hand_action
from scheduler.actions.base.pending import ask_plan
from scheduler.actions.capacity.outages import returned
from scheduler.actions.plant_state.stored import capacities_of
from scheduler.actions.plant_state.work import require_no_tag
from scheduler.actions.vessel.document import document_of, plant_of
from scheduler.actions.vessel.fleet import Place, clock_of
from scheduler.domain.base.enums import Test
from scheduler.domain.capacity.minimum import ATMOSPHERE_KPA
from scheduler.domain.capacity.test_log import read_log
from scheduler.domain.capacity.tests import (
    LEAST_HOLD_SECONDS,
    NO_LEAK,
    Band,
    Measured,
    compare_band,
    effective_swept,
    leak_of_hold,
    measured,
)
from scheduler.domain.vessel.document import Plant, Pump
from scheduler.errors import Clash, Refused
from scheduler.language import gettext
from scheduler.storage.capacity import OutageStatus, open_outage_rows, passed_tests
from scheduler.storage.database import Session
from scheduler.storage.record import append_record
from scheduler.wording.figures import moment
from scheduler.wording.names import pump_words


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """A test read off gauge and watch. Vacuums in kPa below atmosphere; the hold is with all pumps stopped."""

    from_vacuum_kpa: float
    to_vacuum_kpa: float
    seconds: float
    hold_rise_kpa: float | None = None
    hold_seconds: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PullDown:
    """A test as told. figures or log (CSV text, see `pulldown_log`), one of the two.

    result: passed or failed, as the tester judges by the maker's manual and the ship's procedures; the tool computes,
    it does not judge. ultimate_kpa: absolute pressure at which the pump draws nothing more, where known.
    """

    at: datetime
    result: Test
    done_by: str
    reason: str
    figures: Figures | None = None
    log: str | None = None
    ultimate_kpa: float = 0.0


def measured_of(plant: Plant, given: PullDown) -> Measured:
    """What the test shows, by the receiver's volume; a log over the plant's own band, figures over theirs.

    Raises:
        Refused: neither or both of figures and log, or they cannot be used; in words.
    """
    if (given.figures is None) == (given.log is None):
        raise Refused(gettext("Give either the figures of the test or its log, one of the two."))
    if given.log is not None:
        pull, hold = read_log(given.log.splitlines())
        band = compare_band(plant.stop_vacuum_kpa)
        return measured(plant.receiver_m3, pull, hold, band=band, ultimate_kpa=given.ultimate_kpa)
    read = given.figures
    assert read is not None
    if (read.hold_rise_kpa is None) != (read.hold_seconds is None):
        raise Refused(gettext("A hold needs both hold_rise_kpa and hold_seconds. Give both, or leave both out."))
    leak = None
    if read.hold_rise_kpa is not None and read.hold_seconds is not None:
        if read.hold_seconds < LEAST_HOLD_SECONDS:
            raise Refused(
                f"hold_seconds is {read.hold_seconds:g}: {LEAST_HOLD_SECONDS:g} or more was expected. Hold for longer."
            )
        leak = leak_of_hold(plant.receiver_m3, read.hold_rise_kpa, read.hold_seconds)
    band = Band(ATMOSPHERE_KPA - read.from_vacuum_kpa, ATMOSPHERE_KPA - read.to_vacuum_kpa)
    swept = effective_swept(
        plant.receiver_m3, read.seconds, band, ultimate_kpa=given.ultimate_kpa, leak=leak or NO_LEAK
    )
    return Measured(
        swept=swept, swept_spread_m3_per_h=None, leak=leak, leak_spread_pa_m3_per_s=None, band=band, samples=2
    )


def record_test(context: Context, hand: Hand, place: Place, given: PullDown) -> Answer:
    """Take in a pull-down test. Passed: the pump is proved and counts for what it swept. Failed: it counts nothing.

    Raises:
        Clash: the pump is down. Refused: an instant to come, nobody named, figures that cannot be, or a swept volume
            over twice the rated one.
    """
    if not given.done_by.strip():
        raise Refused(
            gettext("Say who made the test; done_by is empty."),
            faults=[("/done_by", gettext("this is empty; a name is expected."))],
        )
    if given.at > context.now() + AHEAD:
        raise Refused(gettext("That time is still to come; give the instant of the test."))
    if given.result is Test.NONE:
        raise Refused(
            gettext("A test is passed or failed. Say which."),
            faults=[("/result", gettext("passed or failed is expected"))],
        )

    def act(session: Session) -> Answer:
        vessel, _ = document_of(session, place.vessel_id)
        plant = plant_of(vessel, place.plant_id)
        pump = next(p for p in plant.pumps if p.id == place.id)
        for row in open_outage_rows(session, place.vessel_id, place.id):
            if row.status is OutageStatus.DOWN:
                since = moment(row.from_at, clock_of(session, place.vessel_id, given.at), given.at)
                name = pump_words(plant, given.at, place.id)
                raise Clash(
                    gettext("{name} is down since {since}. Bring it back first, then test.", name=name, since=since)
                )
        require_no_tag(session, place.vessel_id, place.id, plant, given.at)
        found = measured_of(plant, given)
        if found.swept.m3_per_h > 2 * pump.rated_swept_m3_per_h:
            raise Refused(
                gettext(
                    "The test gives {m3_per_h} m³/h beside {rated_swept_m3_per_h} rated. Check seconds, "
                    "pressures and the receiver's volume, and that one pump alone was running.",
                    m3_per_h=f"{found.swept.m3_per_h:.1f}",
                    rated_swept_m3_per_h=f"{pump.rated_swept_m3_per_h:g}",
                )
            )
        before = capacities_of(plant, passed_tests(session, place.vessel_id))[place.id]
        counted = found.swept if given.result is Test.PASSED else None
        by = hand.actor.name
        returned(session, plant, place, given.at, given.reason, given.result, counted, by, context.now())
        shown = _shown(plant, pump, found, before.m3_per_h)
        payload = {
            "pump": place.id,
            "serial": pump.serial,
            "at": given.at,
            "test": given.result,
            **{name: value for name, value in shown.items() if name != "says"},
            "from_log": given.log is not None,
            "done_by": given.done_by.strip(),
            "reason": given.reason,
            "by": by,
        }
        number, stamp = append_record(session, place.vessel_id, "pump tested", context.now(), payload)
        ask_plan(session, place.vessel_id, place.plant_id, context.now())
        state = "proved" if given.result is Test.PASSED else "down: the test failed"
        return Answer(200, {"pump": place.id, "pump_state": state, **shown, "record": number, "stamp": stamp})

    return hand_action(context, hand, place.vessel_id, act)


def computed(context: Context, place: Place, given: PullDown) -> dict[str, Any]:
    """What the test shows, recorded nowhere. Raises Refused as `record_test` does."""
    with context.db.read() as session:
        vessel, _ = document_of(session, place.vessel_id)
        plant = plant_of(vessel, place.plant_id)
        before = capacities_of(plant, passed_tests(session, place.vessel_id))[place.id]
    pump = next(p for p in plant.pumps if p.id == place.id)
    return _shown(plant, pump, measured_of(plant, given), before.m3_per_h)


def _shown(plant: Plant, pump: Pump, found: Measured, before: float) -> dict[str, Any]:
    leak = found.leak
    swept = found.swept.m3_per_h
    spread = found.swept_spread_m3_per_h
    within = f" ± {spread:.1f}" if spread is not None else ""
    over = (
        f"{ATMOSPHERE_KPA - found.band.from_kpa:.1f} to {ATMOSPHERE_KPA - found.band.to_kpa:.1f} kPa below atmosphere"
    )
    leaks = (
        "The leak is not determinable without a hold; the figure is net of it."
        if leak is None
        else f"Leak {leak.pa_m3_per_s:.1f} Pa m³/s, {leak.free.m3_per_h:.2f} m³/h of free air."
    )
    return {
        "swept_m3_per_h": round(swept, 2),
        "swept_spread_m3_per_h": None if spread is None else round(spread, 2),
        "leak_pa_m3_per_s": None if leak is None else round(leak.pa_m3_per_s, 3),
        "leak_spread_pa_m3_per_s": None
        if found.leak_spread_pa_m3_per_s is None
        else round(found.leak_spread_pa_m3_per_s, 3),
        "leak_free_m3_per_h": None if leak is None else round(leak.free.m3_per_h, 3),
        "leak_swept_m3_per_h": None if leak is None else round(leak.swept_at(plant.stop_vacuum_kpa).m3_per_h, 3),
        "from_vacuum_kpa": round(ATMOSPHERE_KPA - found.band.from_kpa, 3),
        "to_vacuum_kpa": round(ATMOSPHERE_KPA - found.band.to_kpa, 3),
        "samples": found.samples,
        "rated_swept_m3_per_h": pump.rated_swept_m3_per_h,
        "counted_before_m3_per_h": round(before, 2),
        "says": f"{swept:.1f}{within} m³/h swept from {over}: {swept / pump.rated_swept_m3_per_h:.0%} of rated, "
        f"{swept - before:+.1f} against what it counted for before. {leaks}",
    }
