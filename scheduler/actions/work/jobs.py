"""Jobs: read one, close one. The tool takes facts; what cannot be true is asked again in words."""

from dataclasses import dataclass
from typing import Any

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context, utc_text
from scheduler.actions.vessel.document import document_in, plant_of
from scheduler.actions.vessel.fleet import Place, clock_in
from scheduler.domain.due.last_done import JobId
from scheduler.domain.vessel.document import Plant
from scheduler.errors import NotFound
from scheduler.language import gettext
from scheduler.shiptime import ShipOffset
from scheduler.storage.vessel import AssetKind, AssetRow, asset_row, ship_offset_rows, vessel_row
from scheduler.storage.work import job_row


@dataclass(frozen=True, slots=True)
class JobAsked:
    """An occurrence that somebody asks about, its plant as set up now, and the ship's clock now."""

    place: Place
    job_id: JobId
    plant: Plant
    clock: ShipOffset


def job_place(context: Context, actor: Actor, key: str) -> tuple[Place, JobId]:
    """Where that occurrence belongs.

    Raises:
        NotFound: the key is not `kind:subject:sequence`, or names nothing this actor reaches.
    """
    job_id = _job_id(key)
    with context.db.read() as session:
        row = asset_row(session, job_id.subject)
    return _reached(row, actor, key), job_id


def job_asked(context: Context, actor: Actor, key: str) -> JobAsked:
    """The same with what a form about it is read by. Raises as `job_place` does."""
    job_id, now = _job_id(key), context.now()
    with context.db.read() as session:
        row = asset_row(session, job_id.subject)
        vessel_id = "" if row is None else row.vessel_id
        changes, document = ship_offset_rows(session, vessel_id), vessel_row(session, vessel_id)
    place = _reached(row, actor, key)
    vessel, _ = document_in(document, place.vessel_id)
    return JobAsked(place, job_id, plant_of(vessel, place.plant_id), clock_in(changes, now))


def _job_id(key: str) -> JobId:
    kind, _, rest = key.partition(":")
    subject, _, number = rest.rpartition(":")
    if not (kind and subject and number.isascii() and number.isdigit() and 0 < len(number) < 10):
        raise _no_such_job(key)
    return JobId(kind=kind, subject=subject, sequence=int(number))


def _reached(row: AssetRow | None, actor: Actor, key: str) -> Place:
    if row is None or row.kind is AssetKind.COUNTER:
        raise _no_such_job(key)
    actor.must_reach(row.vessel_id, f"job {key}")
    return Place(row.id, row.vessel_id, row.plant_id or row.id, row.kind)


def _no_such_job(key: str) -> NotFound:
    return NotFound(
        gettext(
            "There is no job {key} here. A key reads kind:subject:number, as the due list shows it.",
            key=f"{key[:200]!r}",
        )
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
