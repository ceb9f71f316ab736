"""Steps of the work on a job: asked first, refused in words where a rule stands against them; told as facts, kept with them."""

import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from scheduler.actions.base.context import AHEAD, Answer, Context, Hand, hand_action, utc_text
from scheduler.actions.base.pending import ask_plan
from scheduler.actions.capacity.outages import end_outage, returned, set_down
from scheduler.actions.people.sides import AUTHORITY, person_acting
from scheduler.actions.plant_state.load import PlantState, load_plant
from scheduler.actions.plant_state.open_jobs import kind_of, open_job
from scheduler.actions.plant_state.work import STEP, StoredStep, require_no_tag, state_of, steps_of
from scheduler.actions.vessel.document import document_of, plant_of
from scheduler.actions.vessel.fleet import Place, offset_minutes
from scheduler.actions.work.nonconformities import open_about
from scheduler.actions.work.other_hand import with_approver
from scheduler.actions.work.parts import use_part
from scheduler.actions.work.so_far import begun_at, must_be_newest, procedure_of, rest_warnings
from scheduler.domain.base.enums import Test
from scheduler.domain.capacity.minimum import Outage, Swept, check_outage
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.last_done import JobId
from scheduler.domain.due.subjects import where
from scheduler.domain.vessel.document import Plant
from scheduler.domain.vessel.job_kinds import JobKind
from scheduler.domain.vessel.sheets import finding_kind
from scheduler.domain.work import acts
from scheduler.domain.work.against import Against, BelowMinimum, Objection, Procedure, to_plain
from scheduler.domain.work.late import late_objections
from scheduler.domain.work.rules import objections, stop_reasons
from scheduler.domain.work.state import Counts, WorkState, struck_numbers
from scheduler.domain.work.striking import STRIKE_WITHIN, strike_objections
from scheduler.errors import Clash, Refused
from scheduler.language import ENGLISH, gettext, in_language
from scheduler.storage.capacity import OutageStatus, open_outage_rows
from scheduler.storage.database import Session
from scheduler.storage.record import append_record
from scheduler.storage.vessel import AssetKind
from scheduler.storage.work import WorkStepRow
from scheduler.wording.work import against_words

WORK_FLAGGED = "work on the pump"
"""What a non-conformity is about that an act against a rule opened."""
MOST_STEPS = 500


def take_step(
    context: Context,
    hand: Hand,
    place: Place,
    job_id: JobId,
    step: acts.AnyStep,
    *,
    fact: bool = False,
    if_match: int | None = None,
) -> Answer:
    """Take in a step of the work on a job, and what it means for its pump's capacity.

    Args:
        fact: it has happened. Then what stands against it is kept with it as flags, for the chief engineer to see.

    Raises:
        Clash: a rule stands against it and it was asked, not told as a fact; or it cannot have happened; or the job is
            closed. `more` has `objections`, and `times_that_hold` where the minimum would break.
        Stale: the work has gone on since `if_match`, the version that was looked at.
        NotAllowed: the minimum overridden by nobody known or someone below the chief engineer. Refused: an instant to come.
    """
    must_be_allowed(context, hand, step)
    return hand_action(
        context,
        hand,
        place.vessel_id,
        lambda session: record_step(session, context, hand, place, job_id, step, fact=fact, if_match=if_match),
    )


def must_be_allowed(context: Context, hand: Hand, step: acts.AnyStep) -> None:
    """Raises Refused for an instant to come, NotAllowed where a step is the chief engineer's to record and somebody else does."""
    if step.at > context.now() + AHEAD:
        raise Refused(gettext("That time is still to come; give the instant at which it was done."))
    if isinstance(step, acts.TagPlaced) and step.override.strip():
        person_acting(context, hand.actor, AUTHORITY, gettext("override the minimum, with a reason"))
    if isinstance(step, acts.MeasureAccepted):
        person_acting(context, hand.actor, AUTHORITY, gettext("accept a measure outside its limits, with a reason"))


def record_step(
    session: Session,
    context: Context,
    hand: Hand,
    place: Place,
    job_id: JobId,
    step: acts.AnyStep,
    *,
    fact: bool,
    if_match: int | None,
) -> Answer:
    """A step taken in within a transaction, and what it means for its pump's capacity. Raises as `take_step` does."""
    now = load_plant(session, context, place.vessel_id, place.plant_id)
    kind = kind_of(now.plant, job_id)
    job = open_job(session, now, job_id)
    told = with_approver(context, hand, _behind(now.plant, kind, step), fact=fact)
    kept = steps_of(session, place.vessel_id, job_id.key)
    must_be_newest(kept, if_match)
    if len(kept) >= MOST_STEPS:
        raise Refused(f"This job has {len(kept)} steps, which is the most. Put the rest in one note.")
    pump = where(now.plant, kind.subject, job_id.subject, step.at)[0] if kind.takes_pump_out else None
    stood = state_of(kept, step.at)
    begun = begun_at(kept, step.at)
    procedure = procedure_of(session, place.vessel_id, now.plant, kind, pump, begun, now.offset_minutes)
    against = _against(context, hand, now, kind, kept, stood, told, procedure, pump)
    _refuse(against, fact, now.offset_minutes)
    with in_language(ENGLISH):  # on record
        flags = [against_words(one, now.offset_minutes) for one in against]
    plain = [to_plain(one) for one in against]
    number, stamp = append_record(
        session,
        place.vessel_id,
        f"work: {step.kind}",
        now.at,
        {
            "job_no": job_id.key,
            "step": json.loads(STEP.dump_json(told)),
            "at": step.at,
            "by": step.by,
            "pump": pump,
            "told_as_fact": fact,
            "flags": flags,
            "against": plain,
            "recorded_by": hand.actor.name,
        },
    )
    row = WorkStepRow(
        vessel_id=place.vessel_id,
        job_key=job_id.key,
        number=len(kept) + 1,
        pump_id=pump,
        kind=step.kind,
        at=step.at,
        detail=STEP.dump_json(told).decode(),
        flags=plain,
        actor=hand.actor.name,
        record=number,
        recorded_at=context.now(),
    )
    session.add(row)
    session.flush()
    after = steps_of(session, place.vessel_id, job_id.key)
    before, work = state_of(kept), state_of(after)
    if isinstance(step, acts.Noted) and step.about is acts.Note.PART:
        use_part(session, place, step.name, step.value, hand.actor.name, context.now())
    if against and pump is not None:
        open_about(session, now, job_id.key, WORK_FLAGGED, against, hand.actor.name)
    if pump is not None:
        if work.counts is not Counts.NOTHING and (isinstance(step, acts.Tested) or work.counts is not before.counts):
            require_no_tag(session, place.vessel_id, pump, now.plant, now.at)
        _count(session, now, pump, job_id, before, work, step, hand.actor.name)
    return Answer(
        201,
        {
            **work_json(now.plant, job, kind, after, procedure, now.at, now.offset_minutes),
            "flags": flags,
            "against": plain,
            "warnings": rest_warnings(session, place.vessel_id, now.plant.crew, step.by, step.at),
            "record": number,
            "stamp": stamp,
        },
    )


def _behind(plant: Plant, kind: JobKind, step: acts.AnyStep) -> acts.AnyStep:
    """The step with the mode, mechanism and cause that stand behind a finding picked from the plant's list; a measure with the
    unit and limits of the sheet, whatever was sent."""
    if not isinstance(step, acts.Noted):
        return step
    if step.about is acts.Note.MEASURE:
        asked = next((one for one in kind.measures if one.name == step.name), None)
        return step if asked is None else replace(step, unit=asked.unit, low=asked.low, high=asked.high)
    if step.about is not acts.Note.FINDING:
        return step
    seen = finding_kind(plant.findings, step.name)
    if seen is None:
        return step
    return replace(step, name=seen.seen, mode=seen.mode, mechanism=seen.mechanism, cause=seen.cause)


def _against(
    context: Context,
    hand: Hand,
    now: PlantState,
    kind: JobKind,
    kept: Sequence[StoredStep],
    stood: WorkState,
    step: acts.AnyStep,
    procedure: Procedure,
    pump: str | None,
) -> list[Objection]:
    """What stands against an act, by the rules, the minimum, and what was recorded so far."""
    if isinstance(step, acts.Struck):
        return strike_objections(
            [one.step for one in kept],
            step,
            recorded_at={one.number: one.recorded_at for one in kept},
            recorded_by={one.number: one.recorded_by for one in kept},
            flagged=frozenset(one.number for one in kept if one.against),
            by=hand.actor.name,
            now=context.now(),
            within=STRIKE_WITHIN,
        )
    found = objections(stood, step, procedure, below_minimum=_below_minimum(now, kind, pump, stood, step))
    found += late_objections([one.step for one in kept], step, procedure)
    back = isinstance(step, acts.Returned) or (isinstance(step, acts.Tested) and step.result is not Test.FAILED)
    if back and stood.counts is Counts.FULL and _is_down(now, pump, step.at):
        # out by a breakdown or by another job: only what put it out brings it back
        found.append(Objection(Against.NOT_RETURNED, impossible=True))
    return found


def _is_down(now: PlantState, pump: str | None, at: datetime) -> bool:
    """Whether the pump counts for nothing at an instant, whoever put it out."""
    return any(
        o.pump == pump and o.from_at <= at and (o.to_at is None or o.to_at > at) and not o.counts_for.m3_per_h
        for o in now.outages
    )


def stored_steps(context: Context, place: Place, job_id: JobId) -> list[StoredStep]:
    """The steps of the work on a job, in order of recording."""
    with context.db.read() as session:
        return steps_of(session, place.vessel_id, job_id.key)


def work_on(context: Context, place: Place, job_id: JobId) -> dict[str, Any]:
    """How far the work on a job is, with every entry as kept."""
    now = context.now()
    with context.db.read() as session:
        vessel, _ = document_of(session, place.vessel_id)
        plant = plant_of(vessel, place.plant_id)
        kind = kind_of(plant, job_id)
        kept = steps_of(session, place.vessel_id, job_id.key)
        offset = offset_minutes(session, place.vessel_id, now)
        pump = where(plant, kind.subject, job_id.subject, now)[0] if kind.takes_pump_out else None
        procedure = procedure_of(session, place.vessel_id, plant, kind, pump, begun_at(kept, now), offset)
    return work_json(plant, None, kind, kept, procedure, now, offset)


def _refuse(against: Sequence[Objection], fact: bool, offset: int) -> None:
    standing = [one for one in against if one.impossible or not fact]
    if not standing:
        return
    told = [{**to_plain(one), "says": against_words(one, offset)} for one in standing]
    more: dict[str, Any] = {"objections": told}
    for one in standing:
        if one.code is Against.BELOW_MINIMUM:
            holds: Any = one.facts["holds"]
            more["times_that_hold"] = [{"from": utc_text(a), "to": utc_text(b)} for a, b in holds]
    words = " ".join(against_words(one, offset) for one in standing)
    if not any(one.impossible for one in standing):
        words += " If it has happened all the same, record it as a fact: it is kept, and flagged."
        more["may_be_fact"] = True
    raise Clash(words, more=more)


def _below_minimum(
    now: PlantState, kind: JobKind, pump: str | None, stood: WorkState, step: acts.AnyStep
) -> BelowMinimum | None:
    """What taking the pump out breaks of the minimum; none when it holds, or when the pump is out already."""
    if pump is None or stood.counts is Counts.NOTHING or not isinstance(step, acts.TagPlaced | acts.Opened):
        return None
    if any(
        o.pump == pump and o.from_at <= step.at and o.to_at is None and not o.counts_for.m3_per_h for o in now.outages
    ):
        return None  # out of order already: isolating it takes nothing away
    planned: list[Outage] = []
    if now.taken is not None:
        times = now.taken.times()
        for slot in now.taken.plan.slots:
            if slot.pump is not None and slot.pump != pump:
                from_at, to_at = times[slot.key]
                planned.append(
                    Outage(pump=slot.pump, from_at=from_at, to_at=to_at, counts_for=Swept(0.0), reason="planned")
                )
    found = check_outage(
        now.plant,
        (*now.outages, *planned),
        pump,
        at=step.at,
        hours=kind.takes_hours,
        offset_minutes=now.offset_minutes,
        whole=now.capacities,
        concessions=now.concessions,
    )
    if found.least_margin_litres_per_h >= 0:
        return None
    return BelowMinimum(
        hours=kind.takes_hours,
        lacking_m3_per_h=-found.least_margin_litres_per_h / 1000,
        label=found.label,
        at=found.least_at,
        holds=found.holds[:5],
    )


def _count(
    session: Session,
    now: PlantState,
    pump: str,
    job_id: JobId,
    before: WorkState,
    after: WorkState,
    step: acts.AnyStep,
    by: str,
) -> None:
    """Store what the step changes in what the pump counts for."""
    place = Place(pump, now.vessel.id, now.plant.id, AssetKind.PUMP)
    reason = f"work on {job_id.key}"
    if isinstance(step, acts.Tested) and (step.result is Test.FAILED or after.test is Test.PASSED):
        returned(session, now.plant, place, step.at, step.text or reason, step.result, None, by, now.at)
    elif after.counts is before.counts:
        return
    elif after.counts is Counts.NOTHING:
        for row in open_outage_rows(session, now.vessel.id, pump):
            if row.status is OutageStatus.DOWN:
                return
            end_outage(session, row, step.at)
        slot = None if now.taken is None else now.taken.times().get(job_id.key)
        back = slot[1] if slot is not None and slot[1] > now.at else None
        set_down(session, place, step.at, reason, by, now.at, back, job_id.key)
    else:
        struck = isinstance(step, acts.Struck)  # what an entry taken back leaves is never proved
        test = Test.PASSED if after.counts is Counts.FULL and not struck else Test.NONE
        returned(session, now.plant, place, step.at, reason, test, None, by, now.at)
    ask_plan(session, now.vessel.id, now.plant.id, now.at)


def work_json(
    plant: Plant,
    job: DueJob | None,
    kind: JobKind,
    kept: Sequence[StoredStep],
    procedure: Procedure,
    at: datetime,
    offset: int,
) -> dict[str, Any]:
    """The work on a job as an answer tells it. `stop_work`: why work on the open pump stops now."""
    work = state_of(kept)
    gone = struck_numbers([one.step for one in kept])
    told: dict[str, Any] = {
        "job_kind": kind.name,
        "version": len(kept),
        "pump_counts": work.counts.value,
        "test": work.test.value,
        "permits_open": [one.number for one in work.permits if one.closed_at is None],
        "tags_hanging": [
            {"point": tag.point, "lock_no": tag.lock_no, "tag_no": tag.tag_no, "placed_by": tag.placed_by}
            for tag in work.hanging
        ],
        "personal_locks_hanging": [
            {"person": lock.person, "lock_no": lock.lock_no, "company": lock.company} for lock in work.personal_hanging
        ],
        "not_known": sorted(work.not_known | work.people_not_known),
        "stop_work": [against_words(one, offset) for one in stop_reasons(work, at, procedure)],
        "isolation_points": [point.name for point in plant.points],
        "points_not_fitted": [point.name for point in plant.points if point not in procedure.points],
        "steps": [
            {
                "number": one.number,
                **json.loads(STEP.dump_json(one.step)),
                "flags": list(one.flags(offset)),
                "struck": one.number in gone,
                "recorded_by": one.recorded_by,
                "recorded_at": f"{one.recorded_at:%Y-%m-%dT%H:%M:%SZ}",
                "record": one.record,
            }
            for one in sorted(kept, key=lambda one: (one.step.at, one.number))
        ],
    }
    return told if job is None else {"job": job.job_id.key, **told}
