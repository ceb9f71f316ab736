"""A closed job with all that is on record of it: its close, its acts, its photos."""

from collections.abc import Mapping
from dataclasses import dataclass

from scheduler.actions.base.context import Context
from scheduler.actions.plant_state.work import StoredStep, steps_of
from scheduler.actions.vessel.document import document_of
from scheduler.actions.vessel.fleet import Place, clock_of
from scheduler.actions.work.jobs import closed_job
from scheduler.actions.work.photos import job_photos
from scheduler.domain.due.last_done import JobId
from scheduler.domain.record.closed_job import ClosedJob
from scheduler.domain.record.period import PeriodEntry, entry_of
from scheduler.domain.work.photos import PHOTO
from scheduler.errors import NotFound
from scheduler.language import gettext
from scheduler.shiptime import ShipOffset
from scheduler.storage.record import record_rows, records_numbered

MOST_PHOTOS_SHOWN = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class JobFile:
    """closed: the record of its close. checked_by: empty while nobody signed it. steps: in order of recording. photos: their records;
    pictures: content by SHA-256."""

    vessel_name: str
    offset: ShipOffset
    key: str
    closed: PeriodEntry
    checked_by: str
    steps: tuple[StoredStep, ...]
    photos: tuple[PeriodEntry, ...]
    pictures: Mapping[str, bytes]


def job_file(context: Context, place: Place, job_id: JobId) -> JobFile:
    """The job's file. Raises NotFound when it is not closed, or was closed by another job."""
    told = closed_job(context, place, job_id)
    number = 0 if told is None else int(told.get("record") or 0)
    with context.db.read() as session:
        vessel, _ = document_of(session, place.vessel_id)
        closed = next(iter(records_numbered(session, place.vessel_id, [number])), None)
        if told is None or closed is None or closed.kind != ClosedJob.KIND or told.get("renewed_by"):
            raise NotFound(gettext("This job is not closed by a record of its own, so there is no paper of it yet."))
        entry = entry_of(closed)
        steps = tuple(steps_of(session, place.vessel_id, job_id.key))
        photos = tuple(
            one
            for one in map(entry_of, record_rows(session, place.vessel_id, kind=PHOTO))
            if one.text("job_no") == job_id.key
        )
        offset = clock_of(session, place.vessel_id, context.now())
    pictures = dict(job_photos(context, place.vessel_id, {job_id.key: photos}, each=MOST_PHOTOS_SHOWN))
    return JobFile(
        vessel_name=vessel.name,
        offset=offset,
        key=job_id.key,
        closed=entry,
        checked_by=str(told.get("checked_by") or ""),
        steps=steps,
        photos=photos,
        pictures=pictures,
    )
