"""Jobs: read one, close one. The tool takes facts; what cannot be true is asked again in words."""

from typing import Any

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context, utc_text
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.due.last_done import JobId
from scheduler.errors import NotFound
from scheduler.storage.vessel import AssetKind, asset_row
from scheduler.storage.work import job_row


def job_place(context: Context, actor: Actor, key: str) -> tuple[Place, JobId]:
    """Where that occurrence belongs.

    Raises:
        NotFound: the key is not `kind:subject:sequence`, or names nothing this actor reaches.
    """
    kind, _, rest = key.partition(":")
    subject, _, number = rest.rpartition(":")
    missing = NotFound(
        f"There is no job {key[:200]!r} here. A key reads kind:subject:number, as the due list shows it."
    )
    if not (kind and subject and number.isascii() and number.isdigit() and 0 < len(number) < 10):
        raise missing
    with context.db.read() as session:
        row = asset_row(session, subject)
    if row is None or row.kind is AssetKind.COUNTER:
        raise missing
    actor.must_reach(row.vessel_id, f"job {key}")
    return Place(subject, row.vessel_id, row.plant_id or row.id, row.kind), JobId(
        kind=kind, subject=subject, sequence=int(number)
    )


def closed_job(context: Context, place: Place, job_id: JobId) -> dict[str, Any] | None:
    """A closed job as kept, or none."""
    with context.db.read() as session:
        row = job_row(session, place.vessel_id, job_id.key)
    if row is None or row.closed_at is None:
        return None
    at = utc_text(row.closed_at)
    return {
        "job": row.key,
        "kind": row.kind,
        "subject": row.subject_id,
        "sequence": row.sequence,
        "state": row.state,
        "closed_at": at,
        "version": row.version,
        **row.detail,
    }
