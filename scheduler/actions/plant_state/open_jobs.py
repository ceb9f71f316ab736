"""The open job of a key, and its kind."""

from scheduler.actions.plant_state.load import PlantState
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.last_done import JobId
from scheduler.domain.vessel.document import Plant
from scheduler.domain.vessel.job_kinds import BREAKDOWN, JobKind
from scheduler.errors import Clash, NotFound, Refused
from scheduler.language import gettext as _
from scheduler.storage.database import Session
from scheduler.storage.work import done_row
from scheduler.wording.figures import moment
from scheduler.wording.names import job_words, subject_words


def kind_of(plant: Plant, job_id: JobId) -> JobKind:
    """The job kind of an occurrence. Raises NotFound when the plant has none such."""
    try:
        return plant.kind(job_id.kind)
    except KeyError as error:
        known = ", ".join(kind.code for kind in plant.job_kinds)
        raise NotFound(
            _("There is no job kind {kind} in {id}. Known: {known}.", kind=f"{job_id.kind!r}", id=plant.id, known=known)
        ) from error


def open_job(session: Session, now: PlantState, job_id: JobId) -> DueJob:
    """The open job with that key.

    Raises:
        Clash: it was done. Refused: it is not the open one, or its subject is not in place.
    """
    before = now.done.get((job_id.kind, job_id.subject))
    done = 0 if before is None else before.job_id.sequence
    if job_id.sequence <= done:
        name = _name(now, job_id)
        row = done_row(session, now.vessel.id, job_id.kind, job_id.subject, job_id.sequence)
        by = (
            _(", with {job_words}", job_words=job_words(now.plant, now.at, row.job_key))
            if row and row.job_key and row.job_key != job_id.key
            else ""
        )
        when = f" on {moment(row.at, now.offset_minutes, now.at)}{by}" if row else ""
        raise Clash(
            _("{name} was done already{when}. Number {done} is the open one.", name=name, when=when, done=done + 1)
        )
    job = now.job(job_id.key)
    if job is None or not job.first:
        name = _name(now, job_id)
        if job_id.kind == BREAKDOWN.code:
            raise NotFound(
                _("{name} is not open. Put the pump out on the plant page, which opens a repair.", name=name)
            )
        open_key = f"{job_id.kind}:{job_id.subject}:{done + 1}"
        if now.job(open_key) is None:
            raise Refused(
                _(
                    "{subject_words} is not in place now, so nothing is due on it. Check the fitting.",
                    subject_words=subject_words(now.plant, now.at, job_id.subject),
                )
            )
        raise Refused(_("{name} is not open yet; close the one before it first.", name=name))
    return job


def _name(now: PlantState, job_id: JobId) -> str:
    return f"{job_words(now.plant, now.at, job_id.key)}, number {job_id.sequence},"
