"""The acts of one tap on a job's page: several entries, and the close where it is the last, in one transaction or not at all."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from scheduler.actions.base.context import Answer, Context, Hand, hand_action
from scheduler.actions.hours.ledger import derive_vessel
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.plant_state.work import STEP, StoredStep
from scheduler.actions.vessel.fleet import Place
from scheduler.actions.work.closing import record_close
from scheduler.actions.work.closing_checks import Close
from scheduler.actions.work.so_far import begun_at, procedure_of
from scheduler.actions.work.steps import must_be_allowed, record_step
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.last_done import JobId
from scheduler.domain.work.acts import AnyStep, Struck, TagPlaced
from scheduler.domain.work.against import Procedure
from scheduler.domain.work.state import struck_numbers
from scheduler.domain.work.striking import STRIKE_WITHIN, strike_objections
from scheduler.storage.database import Session
from scheduler.storage.work import newest_step_rows

_TAGS_LOOKED_AT = 60
"""So many of the ship's last tags are looked through for those of a lock box."""


def take_acts(
    context: Context,
    hand: Hand,
    place: Place,
    job_id: JobId,
    steps: Sequence[AnyStep],
    closing: Close | None = None,
    *,
    fact: bool = False,
    if_match: int | None = None,
) -> Answer:
    """Take in entries of the work in their order, then the close where there is one. All of it, or nothing.

    Args:
        fact: they have happened: kept, with what stands against them as flags.

    Raises:
        As `take_step` and `close_job`. The entries may be none only where there is a close.
    """
    for step in steps:
        must_be_allowed(context, hand, step)
    if closing is not None:
        derive_vessel(context, place.vessel_id)

    def act(session: Session) -> Answer:
        looked_at, answer = if_match, None
        for step in steps:
            answer = record_step(session, context, hand, place, job_id, step, fact=fact, if_match=looked_at)
            looked_at = None
        if closing is not None:
            answer = record_close(session, context, hand, place, job_id, closing, if_match=looked_at)
        assert answer is not None
        return answer

    return hand_action(context, hand, place.vessel_id, act)


def procedure_for(context: Context, now: PlantState, job: DueJob, kept: Sequence[StoredStep]) -> Procedure:
    """How the ship does this job, and what its sheet asks for on this pump."""
    kind, offset = now.plant.kind(job.job_id.kind), now.offset_minutes
    with context.db.read() as session:
        return procedure_of(session, now.vessel.id, now.plant, kind, job.pump, begun_at(kept, now.at), offset)


@dataclass(frozen=True, slots=True)
class Undoable:
    """The newest entry, which may be struck by who recorded it, until an instant."""

    entry: StoredStep
    until: datetime


def undoable(kept: Sequence[StoredStep], by: str, now: datetime) -> Undoable | None:
    """The entry that this person may take back now, or none: `strike_objections` decides."""
    steps = [one.step for one in kept]
    gone = struck_numbers(steps)
    live = [one for one in kept if one.number not in gone and not isinstance(one.step, Struck)]
    if not live:
        return None
    newest = live[-1]
    against = strike_objections(
        steps,
        Struck(at=now, by=by, number=newest.number),
        recorded_at={one.number: one.recorded_at for one in kept},
        recorded_by={one.number: one.recorded_by for one in kept},
        flagged=frozenset(one.number for one in kept if one.against),
        by=by,
        now=now,
        within=STRIKE_WITHIN,
    )
    return None if against else Undoable(newest, newest.recorded_at + STRIKE_WITHIN)


@dataclass(frozen=True, slots=True, kw_only=True)
class UsedBefore:
    """What the ship used the last time, to be looked at again: an entry of that kind, and lock and tag by point of a box."""

    entry: AnyStep | None = None
    numbers: Mapping[str, tuple[str, str]] = field(default_factory=dict)


def used_before(context: Context, place: Place, kind: str, box: str = "") -> UsedBefore:
    """The ship's newest entry of a kind; of tags, those of the lock box. Nothing where there is none."""
    with context.db.read() as session:
        most = _TAGS_LOOKED_AT if kind == "tag placed" else 1
        entries = [STEP.validate_json(row.detail) for row in newest_step_rows(session, place.vessel_id, kind, most)]
    tags = [one for one in reversed(entries) if isinstance(one, TagPlaced) and box and one.box_no == box]
    return UsedBefore(entry=next(iter(entries), None), numbers={one.point: (one.lock_no, one.tag_no) for one in tags})
