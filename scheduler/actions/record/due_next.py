"""What a month's report says of the month after: what falls due in it, as of the month's end, and what came of it since."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from scheduler.actions.base.context import Context
from scheduler.actions.plan.planning import margins_now
from scheduler.actions.plant_state.load import PlantState, plant_state, plant_state_then
from scheduler.actions.vessel.document import document_of
from scheduler.domain.base.enums import JobState
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.record.period import PeriodEntry

WITH_ANOTHER = "done with another job"


@dataclass(frozen=True, slots=True, kw_only=True)
class NextDue:
    """A job that falls due in the month after, or is past due. due_at: by calendar or the likely date of its hours, as of the month's
    end. state: as it stands now, none: it is not open any more. slot_from_at: as planned, none: no slot. margin: the least in that
    slot, swept m3/h. verdict, done_at: how it came out, where it was done since."""

    position: str
    kind: str
    due_at: datetime
    limit_at: datetime | None
    state: JobState | None
    slot_from_at: datetime | None = None
    margin: float | None = None
    verdict: str = ""
    done_at: datetime | None = None


def due_next(
    context: Context, vessel_id: str, end_at: datetime, after_at: datetime, closed: Sequence[PeriodEntry]
) -> list[NextDue]:
    """First turns alone, soonest first, and what else was closed since that was due in the month after.

    Args:
        end_at, after_at: when the month and the month after it end. closed: records of jobs closed from `end_at` on.
    """
    since = {entry.text("job_no"): entry for entry in closed}
    with context.db.read() as session:
        vessel, _ = document_of(session, vessel_id)
    found: dict[str, NextDue] = {}
    for plant in vessel.plants:
        now = plant_state(context, vessel_id, plant.id)
        then = now if now.at < end_at else plant_state_then(context, vessel_id, plant.id, end_at)
        due = [one for one in then.jobs if one.first and one.renewed_by is None]
        rows = _rows(then, [job for one in due if (job := then.as_shown(one)).due_at < after_at])
        found |= _as_now(now, context, rows, since)
    for key, entry in since.items():
        due_at = entry.instant("due_at")
        if key not in found and due_at is not None and end_at <= due_at < after_at and entry.at >= end_at:
            found[key] = _closed(entry, due_at)
    return sorted(found.values(), key=lambda one: (one.due_at, one.position, one.kind))


def _rows(then: PlantState, jobs: Sequence[DueJob]) -> dict[str, NextDue]:
    return {
        job.job_id.key: NextDue(
            position=then.position_name(job.position),
            kind=job.kind_name,
            due_at=job.due_at,
            limit_at=job.limit_at,
            state=job.state,
        )
        for job in jobs
    }


def _as_now(
    now: PlantState, context: Context, rows: Mapping[str, NextDue], since: Mapping[str, PeriodEntry]
) -> dict[str, NextDue]:
    """The rows with what came of each: its slot and state where it is open, its verdict where it was closed."""
    margins, stored = margins_now(now, context), now.taken or now.proposed
    times = stored.times() if stored else {}
    found = {}
    for key, row in rows.items():
        job, slot = now.job(key), times.get(key)
        if key in since:
            done = _closed(since[key], row.due_at)
            found[key] = replace(row, state=None, verdict=done.verdict, done_at=done.done_at)
        elif job is None:
            found[key] = replace(row, state=None, verdict=WITH_ANOTHER)
        else:
            state, from_at = now.as_shown(job).state, slot[0] if slot else None
            found[key] = replace(row, state=state, slot_from_at=from_at, margin=margins.get(key))
    return found


def _closed(entry: PeriodEntry, due_at: datetime) -> NextDue:
    return NextDue(
        position=entry.text("position"),
        kind=entry.text("job_kind"),
        due_at=due_at,
        limit_at=entry.instant("limit_at"),
        state=None,
        verdict=entry.verdict.value,
        done_at=entry.at,
    )
