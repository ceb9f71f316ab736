"""Pump down, pump back: facts about a pump, taken at any time, with the margin that is left."""

import secrets
from datetime import datetime

from scheduler.actions.base.context import AHEAD, Answer, Context, Hand, hand_action, utc_text
from scheduler.actions.base.matching import must_match
from scheduler.actions.base.pending import ask_plan
from scheduler.actions.plant_state.stored import capacities_of, concessions_of, outage_of
from scheduler.actions.plant_state.work import require_no_tag
from scheduler.actions.vessel.document import document_of, plant_of
from scheduler.actions.vessel.fleet import Place, clock_of, offset_minutes
from scheduler.domain.base.enums import Test
from scheduler.domain.capacity.minimum import (
    Swept,
    capacities_at,
    litres_down,
    litres_up,
    minimum_agreed,
    provisional_capacity,
)
from scheduler.domain.vessel.document import Plant
from scheduler.errors import Clash, Refused
from scheduler.language import gettext
from scheduler.storage.capacity import (
    OutageRow,
    OutageStatus,
    PumpTestRow,
    concession_rows,
    open_outage_rows,
    outage_rows,
    passed_tests,
)
from scheduler.storage.database import Session
from scheduler.storage.record import append_record
from scheduler.wording.figures import moment
from scheduler.wording.names import pump_words


def pump_down(
    context: Context, hand: Hand, place: Place, *, at: datetime, reason: str, expected_at: datetime | None = None
) -> Answer:
    """Take in that a pump is out of order since `at`. A new plan is asked for; the answer states the margin left.

    Args:
        expected_at: when it is expected back; none: not known, and plans assume `returning.ASSUMED_AFTER`.

    Raises:
        Clash: it is down already. Refused: an instant to come, an empty reason, or a return that is past.
    """
    _sane(context, at, reason)
    must_be_ahead(context, expected_at)

    def act(session: Session) -> Answer:
        vessel, _ = document_of(session, place.vessel_id)
        plant = plant_of(vessel, place.plant_id)
        name = pump_words(plant, at, place.id)
        for row in open_outage_rows(session, place.vessel_id, place.id):
            if row.status is OutageStatus.DOWN:
                raise Clash(
                    gettext(
                        "{name} is down already, since {aboard}.",
                        name=name,
                        aboard=_aboard(session, context, place, row.from_at),
                    )
                )
            end_outage(session, row, at)
        set_down(session, place, at, reason, hand.actor.name, context.now(), expected_at)
        payload = {
            "pump": place.id,
            "serial": _serial(plant, place.id),
            "at": at,
            "reason": reason,
            "expected_at": expected_at,
            "by": hand.actor.name,
        }
        number, _ = append_record(session, place.vessel_id, "pump down", context.now(), payload)
        return _answered(session, context, place, plant, number, "down")

    return hand_action(context, hand, place.vessel_id, act)


def pump_back(
    context: Context, hand: Hand, place: Place, *, at: datetime, reason: str, test: Test, measured: Swept | None = None
) -> Answer:
    """Take in that a pump is back since `at`, and what its test showed.

    Passed: it counts in full. None: returned, not proved, it counts at the plant's provisional derate. Failed: it is
    recorded and the pump goes on counting nothing.

    Raises:
        Clash: the pump was not out. Refused: an instant to come, before it went down, or a measured capacity without
            a passed test.
    """
    _sane(context, at, reason)
    if measured is not None and test is not Test.PASSED:
        raise Refused(
            gettext("A measured capacity goes with a passed test only. Leave it out, or say the test passed.")
        )

    def act(session: Session) -> Answer:
        vessel, _ = document_of(session, place.vessel_id)
        plant = plant_of(vessel, place.plant_id)
        name = pump_words(plant, at, place.id)
        rows = open_outage_rows(session, place.vessel_id, place.id)
        if not rows:
            raise Clash(gettext("{name} was not out. There is nothing to bring back.", name=name))
        require_no_tag(session, place.vessel_id, place.id, plant, at)
        if any(row.from_at > at for row in rows):
            raise Refused(gettext("{name} cannot be back before it went down. Check the instant.", name=name))
        returned(session, plant, place, at, reason, test, measured, hand.actor.name, context.now())
        payload = {
            "pump": place.id,
            "serial": _serial(plant, place.id),
            "at": at,
            "test": test,
            "measured_swept_m3_per_h": None if measured is None else measured.m3_per_h,
            "reason": reason,
            "by": hand.actor.name,
        }
        number, _ = append_record(session, place.vessel_id, "pump back", context.now(), payload)
        words = {Test.PASSED: "back, proved", Test.NONE: "back, not proved", Test.FAILED: "down: the test failed"}
        return _answered(session, context, place, plant, number, words[test])

    return hand_action(context, hand, place.vessel_id, act)


def must_be_ahead(context: Context, expected_at: datetime | None) -> None:
    """Raises Refused when a return is told for a time that is past."""
    if expected_at is not None and expected_at <= context.now():
        says = "this is past; say when it is expected back, or leave it empty where that is not known"
        raise Refused(f"expected_at: {says}.", faults=[("/expected_at", says)])


def down_row(session: Session, place: Place) -> OutageRow | None:
    """The stop of a pump that is out; none: it is not."""
    rows = open_outage_rows(session, place.vessel_id, place.id)
    return next((row for row in rows if row.status is OutageStatus.DOWN), None)


def expected_version(session: Session, place: Place) -> int:
    """Version of when a pump is expected back: number of the record that last said so; 0 for none since it went out."""
    down = down_row(session, place)
    return 0 if down is None else down.expected_record


def say_expected(
    context: Context, hand: Hand, place: Place, expected_at: datetime | None, *, if_match: int | None = None
) -> Answer:
    """Say when a pump that is out is expected back; none: not known any more. A new plan is asked for.

    Args:
        if_match: version that was looked at: number of the record that last said when, 0 for none since it went out.

    Raises:
        Clash: it is not out. Refused: a time that is past. Stale: somebody has said something else since.
    """
    must_be_ahead(context, expected_at)

    def act(session: Session) -> Answer:
        vessel, _ = document_of(session, place.vessel_id)
        plant = plant_of(vessel, place.plant_id)
        down = down_row(session, place)
        if down is None:
            raise Clash(gettext("This pump is not out. There is no return to expect."))
        before = down.expected_at
        when = "not known when" if before is None else f"expected back {_aboard(session, context, place, before)}"
        newer = {"expected_at": None if before is None else utc_text(before)}
        must_match(if_match, down.expected_record, f"It is {when} by now.", newer)
        payload = {
            "pump": place.id,
            "serial": _serial(plant, place.id),
            "out_since": down.from_at,
            "expected_at": expected_at,
            "expected_before": before,
            "by": hand.actor.name,
        }
        number, _ = append_record(session, place.vessel_id, "return expected", context.now(), payload)
        down.expected_at, down.expected_record = expected_at, number
        session.add(down)
        return _answered(session, context, place, plant, number, "down")

    return hand_action(context, hand, place.vessel_id, act)


def begin_outage(
    session: Session,
    place: Place,
    at: datetime,
    status: OutageStatus,
    counts_for_litres_per_h: int,
    *,
    reason: str,
    by: str,
    now: datetime,
    expected_at: datetime | None = None,
    job_key: str = "",
) -> None:
    """Store that the pump counts for so much from `at` on; expected_at: when it is expected back, none: not known. job_key: of the
    job whose work puts it out."""
    session.add(
        OutageRow(
            id=secrets.token_hex(8),
            vessel_id=place.vessel_id,
            plant_id=place.plant_id,
            pump_id=place.id,
            from_at=at,
            counts_for_litres_per_h=counts_for_litres_per_h,
            status=status,
            reason=reason,
            expected_at=expected_at,
            actor=by,
            recorded_at=now,
            job_key=job_key,
        )
    )


def set_down(
    session: Session,
    place: Place,
    at: datetime,
    reason: str,
    by: str,
    now: datetime,
    expected_at: datetime | None = None,
    job_key: str = "",
) -> None:
    """Store that the pump counts for nothing from `at` on; expected_at and job_key as in `begin_outage`."""
    begin_outage(
        session,
        place,
        at,
        OutageStatus.DOWN,
        0,
        reason=reason,
        by=by,
        now=now,
        expected_at=expected_at,
        job_key=job_key,
    )


def end_outage(session: Session, row: OutageRow, at: datetime) -> None:
    """End an outage at `at` (never before it began)."""
    row.to_at = max(row.from_at, at)
    session.add(row)


def returned(
    session: Session,
    plant: Plant,
    place: Place,
    at: datetime,
    reason: str,
    test: Test,
    measured: Swept | None,
    by: str,
    now: datetime,
) -> None:
    """Store what a return with this test means for the pump's capacity (the not-proved rule)."""
    if test is not Test.NONE:
        session.add(
            PumpTestRow(
                id=secrets.token_hex(8),
                vessel_id=place.vessel_id,
                pump_id=place.id,
                at=at,
                result=test,
                swept_litres_per_h=None if measured is None else litres_down(measured),
                actor=by,
                recorded_at=now,
            )
        )
    rows = open_outage_rows(session, place.vessel_id, place.id)
    if test is Test.FAILED:
        for row in rows:
            if row.status is not OutageStatus.DOWN:
                end_outage(session, row, at)
        if not any(row.status is OutageStatus.DOWN for row in rows):
            set_down(session, place, at, reason, by, now)
        return
    for row in rows:
        end_outage(session, row, at)
    if test is Test.NONE:
        whole = capacities_of(plant, passed_tests(session, place.vessel_id))[place.id]
        counts = litres_down(provisional_capacity(plant, whole))
        begin_outage(session, place, at, OutageStatus.NOT_PROVED, counts, reason=reason, by=by, now=now)


def _sane(context: Context, at: datetime, reason: str) -> None:
    if not reason.strip():
        raise Refused(
            gettext("Say in a few words why; the reason is empty."),
            faults=[("/reason", gettext("this is empty"))],
        )
    if at > context.now() + AHEAD:
        raise Refused(gettext("That time is still to come; give the instant at which it happened."))


def _aboard(session: Session, context: Context, place: Place, at: datetime) -> str:
    now = context.now()
    return moment(at, clock_of(session, place.vessel_id, now), now)


def _serial(plant: Plant, pump: str) -> str:
    return next(p.serial for p in plant.pumps if p.id == pump)


def _answered(session: Session, context: Context, place: Place, plant: Plant, number: int, state: str) -> Answer:
    session.flush()
    now = context.now()
    ask_plan(session, place.vessel_id, place.plant_id, context.now())
    return Answer(
        200, {"pump": place.id, "state": state, **margin_left(session, plant, place.vessel_id, now), "record": number}
    )


def margin_left(session: Session, plant: Plant, vessel_id: str, at: datetime) -> dict[str, float | str]:
    """What is left over the minimum at an instant, in figures and in words."""
    available, minimum, label = margin_now(session, plant, vessel_id, at)
    margin = available - minimum
    says = (
        f"{available / 1000:g} m3/h are left over a minimum of {minimum / 1000:g} ({label}): margin {margin / 1000:g}."
        if margin >= 0
        else f"Short by {-margin / 1000:g} m3/h now: {available / 1000:g} of {minimum / 1000:g} ({label})."
    )
    return {
        "available_swept_m3_per_h": available / 1000,
        "minimum_swept_m3_per_h": minimum / 1000,
        "margin_swept_m3_per_h": margin / 1000,
        "says": says + " A new plan is being made.",
    }


def margin_now(session: Session, plant: Plant, vessel_id: str, at: datetime) -> tuple[int, int, str]:
    """Available and minimum capacity at an instant in litres/h, facts only, and the minimum's label."""
    outages = [outage_of(row) for row in outage_rows(session, vessel_id, plant.id, since_at=at)]
    counts = capacities_at(plant, outages, at, capacities_of(plant, passed_tests(session, vessel_id)))
    agreed = concessions_of(concession_rows(session, vessel_id, plant.id))
    minimum, label = minimum_agreed(plant, at, offset_minutes(session, vessel_id, at), agreed)
    return sum(map(litres_down, counts.values())), litres_up(minimum), label
