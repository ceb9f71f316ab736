"""What stands around a closed job as it is stored: the turn before it, and what the close changed."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from scheduler.actions.base.context import Context, instant
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.plant_state.published import MovedDate, first_moved_by_work
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.last_done import JobId
from scheduler.storage.capacity import swept_between
from scheduler.storage.database import Session
from scheduler.storage.record import records_numbered
from scheduler.storage.work import DoneRow, JobRow, done_row, done_rows_with, job_row


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnBefore:
    """The turn before: when it was done, and the members of the record that says so (none: known from a document only)."""

    job_id: JobId
    done_at: datetime
    record: dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class AfterClose:
    """before: none where no earlier turn is known. also_done: keys of the turns that were done with it. next_job: the open turn that
    follows, with its published dates; done_again_at: when it was done, where it was. moved: published dates that moved by this
    close. swept_litres_per_h: as a test showed while the pump was out; none: not measured."""

    before: TurnBefore | None
    also_done: tuple[str, ...]
    next_job: DueJob | None
    done_again_at: datetime | None
    moved: tuple[MovedDate, ...]
    swept_litres_per_h: int | None


def after_close(context: Context, now: PlantState, job_id: JobId, record: Mapping[str, object]) -> AfterClose:
    """The turn before a closed one, and what its close changed.

    Args:
        record: members of the record of its close.
    """
    vessel_id, kind, subject = now.vessel.id, job_id.kind, job_id.subject
    before, after = (JobId(kind=kind, subject=subject, sequence=job_id.sequence + step) for step in (-1, 1))
    with context.db.read() as session:
        row = job_row(session, vessel_id, job_id.key)
        done, again = (done_row(session, vessel_id, kind, subject, one.sequence) for one in (before, after))
        recorded_s, until_s = (_recorded_s(job_row(session, vessel_id, one.key)) for one in (job_id, after))
        turns = done_rows_with(session, vessel_id, job_id.key)
        with_it = tuple(JobId(kind=one.kind, subject=one.subject_id, sequence=one.sequence).key for one in turns)
        opened, pump = record.get("opened_at"), None if row is None else row.pump_id
        swept = None
        if row is not None and row.closed_at is not None and pump is not None and opened:
            from_at = datetime.fromisoformat(str(opened))
            swept = swept_between(session, vessel_id, pump, from_at, row.closed_at)
        moved = (
            []
            if recorded_s is None
            else first_moved_by_work(session, vessel_id, now.plant.id, with_it, since_at=instant(recorded_s))
        )
        turn_before = None if done is None else _turn_before(session, vessel_id, before, done)
    next_job = now.job(after.key)
    return AfterClose(
        before=turn_before,
        also_done=tuple(one for one in with_it if one != job_id.key),
        next_job=None if next_job is None else now.as_shown(next_job),
        done_again_at=None if again is None else again.at,
        moved=tuple(one for one in moved if until_s is None or one.at < instant(until_s)),
        swept_litres_per_h=swept,
    )


def _recorded_s(row: JobRow | None) -> int | None:
    found = None if row is None else row.detail.get("recorded_s")
    return found if isinstance(found, int) else None


def _turn_before(session: Session, vessel_id: str, job_id: JobId, done: DoneRow) -> TurnBefore:
    row = job_row(session, vessel_id, job_id.key)
    number = None if row is None else row.detail.get("record")
    found = records_numbered(session, vessel_id, [number]) if isinstance(number, int) else []
    return TurnBefore(job_id=job_id, done_at=done.at, record=json.loads(found[0].text) if found else {})
