"""Slots moved by hand: tried first, then set; pinned from then on. Taken back by a record of its own, never by rubbing out."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from scheduler.actions.base.context import Answer, Context, Hand, hand_action, instant, maybe, seconds, utc_text
from scheduler.actions.base.pending import ask_plan
from scheduler.actions.plan.explaining import words_of
from scheduler.actions.plan.stored import keep_plan, take_up
from scheduler.actions.plan.trial import taken_now, taken_plan, try_slot
from scheduler.actions.plant_state.load import PlantState, load_plant, plant_state
from scheduler.actions.plant_state.stored import Pin, StoredPlan, pins_of
from scheduler.actions.vessel.fleet import Place
from scheduler.errors import Clash, MissingCondition, NotFound, Refused, Stale
from scheduler.language import gettext
from scheduler.planning.judge.check import judge
from scheduler.planning.move.objections import MoveFact
from scheduler.planning.move.trial import Trial, taken_out
from scheduler.planning.problem.shiphours import HOUR
from scheduler.planning.problem.values import Plan, Problem, Remark, RemarkCode
from scheduler.storage.database import Session
from scheduler.storage.plan import MoveRow, move_row, move_rows, next_move_number
from scheduler.storage.record import append_record
from scheduler.storage.work import job_row
from scheduler.wording.moves import move_fact_words
from scheduler.wording.names import job_words

MOST_REASON = 1000


def trial(context: Context, now: PlantState, key: str, start_at: datetime) -> Trial:
    """The plan aboard with the job's slot started at `start_at`: whether it holds, what stands against it, what would hold.

    Raises:
        Clash: no plan is taken. NotFound: no such open job, or the plan has none. Refused: not a whole hour of the plan.
    """
    with context.db.read() as session:
        return try_slot(session, context, now, key, start_at)


def try_move(context: Context, vessel_id: str, plant_id: str, key: str, start_at: datetime) -> dict[str, Any]:
    """As `trial`, as answers tell it; changes nothing.

    Raises:
        As `trial`; NotFound: no such plant.
    """
    now = plant_state(context, vessel_id, plant_id)
    tried = trial(context, now, key, start_at)
    assert now.taken is not None
    return {
        "plant": plant_id,
        "plan": now.taken.digest,
        "version": now.taken.version,
        "job": key,
        "name": job_words(now.plant, now.at, key),
        "along": list(tried.with_keys),
        "from": utc_text(_from(now, tried)),
        "start_at": _step_z(tried, tried.start),
        "ends_at": _step_z(tried, tried.end),
        "holds": tried.holds,
        "against": said_of(now, tried, tried.against),
        "cautions": said_of(now, tried, tried.cautions),
        "least_margin_swept_m3_per_h": _m3(tried.least_margin_litres_per_h),
        "times": times_offered(tried),
    }


def move_slot(
    context: Context, hand: Hand, place: Place, key: str, start_at: datetime, *, if_match: int | None, reason: str = ""
) -> Answer:
    """Set the job's slot in the plan aboard, with what shares its isolation. Planning again leaves it there.

    Args:
        place: the plant. if_match: version of the plan aboard that was looked at.

    Raises:
        MissingCondition: no `if_match`. Stale: the plan aboard is another by now. Clash: it does not hold there (`more` has
            what stands against it and the times that hold), it is pinned there already, or no plan is taken. NotFound: no
            such open job in the plan. Refused: not a whole hour of the plan, or a reason that is too long.
    """
    if len(reason) > MOST_REASON:
        says = gettext("at most {most} characters are kept, {count} came", most=MOST_REASON, count=len(reason))
        raise Refused(f"reason: {says}.", faults=[("/reason", says)])

    def act(session: Session) -> Answer:
        now = load_plant(session, context, place.vessel_id, place.id)
        held = taken_plan(now)
        _must_be_aboard(held, if_match)
        tried = try_slot(session, context, now, key, start_at)
        _must_hold(now, key, tried)
        keys, cautions = _in_order(tried), said_of(now, tried, tried.cautions)
        at = now.at.replace(microsecond=0)
        number = next_move_number(session, place.vessel_id)
        places = {slot.key: tried.problem.starts_at + slot.start * HOUR for slot in tried.plan.slots}
        pins = {**now.pins, **{one: Pin(number, places[one], hand.actor.name, at) for one in keys}}
        if all(now.pins.get(one) and now.pins[one].start_at == places[one] for one in keys):
            pin = now.pins[key]
            raise Clash(
                gettext(
                    "{job} is set there already, by {by} (move {move}).",
                    job=job_words(now.plant, now.at, key),
                    by=pin.by,
                    move=pin.move,
                )
            )
        old = held.times()
        kept = _set(session, context, now, tried.problem, tried.plan, pins)
        slots = [
            {"job": one, "from_s": seconds(old[one][0]) if one in old else None, "to_s": seconds(places[one])}
            for one in keys
        ]
        payload = {
            "plant": place.id,
            "move": number,
            "job_no": key,
            "along": list(tried.with_keys),
            "from_at": utc_text(_from(now, tried)),
            "to_at": _step_z(tried, tried.start),
            "ends_at": _step_z(tried, tried.end),
            "reason": reason.strip(),
            "cautions": cautions,
            "least_margin_litres_per_h": tried.least_margin_litres_per_h,
            "plan_before": held.digest,
            "plan": kept.digest,
            "by": hand.actor.name,
        }
        record, _ = append_record(session, place.vessel_id, "slot moved", now.at, payload)
        session.add(
            MoveRow(
                vessel_id=place.vessel_id,
                number=number,
                plant_id=place.id,
                job_key=key,
                slots=slots,
                reason=reason.strip(),
                by_id=hand.actor.person_id or hand.actor.id,
                by=hand.actor.name,
                at=now.at,
                record=record,
            )
        )
        says = f"{_named(now, keys)} {'is' if len(keys) == 1 else 'are'} set for {_when(now, tried, tried.start)}."
        return _answered(kept, 201, number, record, says, cautions)

    return hand_action(context, hand, place.vessel_id, act)


def undo_move(context: Context, hand: Hand, place: Place, number: int) -> Answer:
    """Put the slot of a move back where it was, and take its pin away; an older move of the same job pins it again.

    Raises:
        NotFound: the plant has no such move. Clash: it was undone, a newer move of the job stands, the job is closed, or the
            slot does not hold any more where it was (`more` has the times that hold).
    """

    def act(session: Session) -> Answer:
        row = _standing(session, place, number)
        now = load_plant(session, context, place.vessel_id, place.id)
        held = taken_plan(now)
        slots = [slot for slot in row.slots if now.job(slot["job"]) is not None]
        if not slots:
            raise Clash(gettext("The job of move {number} is closed: there is nothing to put back.", number=number))
        key, back = slots[0]["job"], slots[0]["from_s"]
        stood = held.times().get(key)
        if back is None:
            stands = taken_now(now, context, key)
            problem, plan = taken_out(stands.problem, stands.plan, key)
            says = f"{job_words(now.plant, now.at, key)} has no slot any more, as before."
        else:
            tried = try_slot(session, context, now, key, instant(back), going_back=True)
            if stood is None or stood[0] != instant(back):
                _must_hold(now, key, tried)
            problem, plan = tried.problem, tried.plan
            keys = _in_order(tried)
            says = f"{_named(now, keys)} {'is' if len(keys) == 1 else 'are'} back on {_when(now, tried, tried.start)}."
        row.undone_by, row.undone_at = hand.actor.name, context.now()
        session.add(row)
        session.flush()
        pins = pins_of(
            move_rows(session, place.vessel_id, place.id, not_undone=True), {job.job_id.key for job in now.jobs}
        )
        kept = _set(session, context, now, problem, plan, pins)
        payload = {
            "plant": place.id,
            "move": number,
            "undoes_record": row.record,
            "job_no": key,
            "from_at": None if stood is None else utc_text(stood[0]),
            "to_at": utc_text(maybe(back)),
            "plan_before": held.digest,
            "plan": kept.digest,
            "by": hand.actor.name,
        }
        record, _ = append_record(session, place.vessel_id, "slot move undone", now.at, payload)
        row.undone_record = record
        return _answered(kept, 200, number, record, says, [], undoes_record=row.record)

    return hand_action(context, hand, place.vessel_id, act)


def moves_made(context: Context, place: Place) -> list[dict[str, Any]]:
    """A plant's moves by hand, newest first. can_undo: the newest of its job that stands, the job being open."""
    with context.db.read() as session:
        rows = move_rows(session, place.vessel_id, place.id)
        closed = {
            slot["job"]
            for row in rows
            if row.undone_at is None
            for slot in row.slots
            if (job := job_row(session, place.vessel_id, slot["job"])) is not None and job.closed_at is not None
        }
    told, newer = [], set(closed)
    for row in reversed(rows):
        slots = row.slots
        keys = {slot["job"] for slot in slots}
        told.append(
            {
                "move": row.number,
                "job": row.job_key,
                "along": [slot["job"] for slot in slots if slot["job"] != row.job_key],
                "from_at": utc_text(maybe(slots[0]["from_s"])),
                "to_at": utc_text(maybe(slots[0]["to_s"])),
                "by": row.by,
                "at": utc_text(row.at),
                "reason": row.reason,
                "record": row.record,
                "undone_by": row.undone_by,
                "undone_at": utc_text(row.undone_at),
                "can_undo": row.undone_at is None and not keys & newer,
            }
        )
        newer |= keys if row.undone_at is None else set()
    return told


def said_of(now: PlantState, tried: Trial, facts: Iterable[MoveFact]) -> list[str]:
    """What stands against a trial, or is to be minded, in sentences."""
    words = words_of(now, tried.problem)
    return [move_fact_words(one, words) for one in facts]


def times_offered(tried: Trial) -> list[dict[str, Any]]:
    """The times that hold, as answers tell them."""
    return [
        {
            "start_at": _step_z(tried, one.start),
            "ends_at": _step_z(tried, one.end),
            "least_margin_swept_m3_per_h": _m3(one.least_margin_litres_per_h),
            "as_planned": one.as_planned,
        }
        for one in tried.nearest
    ]


def _must_be_aboard(held: StoredPlan, if_match: int | None) -> None:
    if if_match is None:
        raise MissingCondition(
            gettext(
                'A slot is moved in the plan that was looked at: send If-Match with its version ("{version}" by now).',
                version=held.version,
            )
        )
    if if_match != held.version:
        raise Stale(
            gettext(
                "The plan aboard is version {version} by now, not {given}: somebody took a plan or moved a slot. "
                "Look at it, then move the slot.",
                version=held.version,
                given=if_match,
            ),
            more={"version": held.version, "plan": held.digest, "slots": held.slots_in_order()},
        )


def _must_hold(now: PlantState, key: str, tried: Trial) -> None:
    if tried.holds:
        return
    times, against = times_offered(tried), said_of(now, tried, tried.against)
    words = ", ".join(_when(now, tried, one.start) for one in tried.nearest)
    raise Clash(
        gettext(
            "{job_words} cannot be on {when}. {against} ",
            job_words=job_words(now.plant, now.at, key),
            when=_when(now, tried, tried.start),
            against=" ".join(against),
        )
        + (gettext("Starts that hold: {words}.", words=words) if times else ""),
        more={"against": against, "times_that_hold": times},
    )


def _set(
    session: Session, context: Context, now: PlantState, problem: Problem, plan: Plan, pins: Mapping[str, Pin]
) -> StoredPlan:
    """Make this the plan aboard; what was proposed on the one before is superseded, and a new plan is asked for."""
    remarks = tuple(
        Remark(
            code=RemarkCode.BY_HAND,
            key=key,
            step=(pin.start_at - problem.starts_at) // HOUR,
            number=pin.move,
            text=pin.by,
        )
        for key, pin in sorted(pins.items(), key=lambda one: (one[1].start_at, one[0]))
    )
    made = replace(plan, remarks=remarks)
    row = keep_plan(session, now.vessel.id, now.plant.id, problem, made, judge(problem, made), context.now())
    kept = take_up(session, now.vessel.id, row, context.now(), pins)
    ask_plan(session, now.vessel.id, now.plant.id, context.now())
    return kept


def _standing(session: Session, place: Place, number: int) -> MoveRow:
    """The move, if it can be undone."""
    row = move_row(session, place.vessel_id, number)
    if row is None or row.plant_id != place.id:
        raise NotFound(
            gettext(
                "There is no move {number} for {id}. `leadline move {id} --list` shows those there are.",
                number=number,
                id=place.id,
            )
        )
    if row.undone_at is not None:
        raise Clash(
            gettext("Move {number} was undone already, by {undone_by}.", number=number, undone_by=row.undone_by)
        )
    keys = {slot["job"] for slot in row.slots}
    for other in move_rows(session, place.vessel_id, place.id, not_undone=True):
        if other.number > number and keys & {slot["job"] for slot in other.slots}:
            raise Clash(
                gettext(
                    "Move {number} by {by} moved the same job after it. Undo that one first.",
                    number=other.number,
                    by=other.by,
                )
            )
    return row


def _answered(
    kept: StoredPlan,
    status: int,
    number: int,
    record: int,
    says: str,
    cautions: list[str],
    **more: Any,
) -> Answer:
    told = {"move": number, "record": record, **more, "plan": kept.digest, "version": kept.version}
    return Answer(status, {**told, "says": f"{says} A new plan is being made around it.", "cautions": cautions})


def _in_order(tried: Trial) -> list[str]:
    own = {tried.key, *tried.with_keys}
    return [slot.key for slot in sorted(tried.plan.slots, key=lambda slot: slot.start) if slot.key in own]


def _from(now: PlantState, tried: Trial) -> datetime | None:
    """Where the first of the moved jobs is planned in the plan aboard."""
    times = now.taken.times() if now.taken else {}
    return min((times[key][0] for key in (tried.key, *tried.with_keys) if key in times), default=None)


def _named(now: PlantState, keys: list[str]) -> str:
    return " and ".join(job_words(now.plant, now.at, key) for key in keys)


def _when(now: PlantState, tried: Trial, step: int) -> str:
    return words_of(now, tried.problem).when(step)


def _step_z(tried: Trial, step: int) -> str | None:
    return utc_text(tried.problem.starts_at + step * HOUR)


def _m3(litres_per_h: int | None) -> float | None:
    return None if litres_per_h is None else litres_per_h / 1000
