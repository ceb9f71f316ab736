"""The open job of a key, and its kind."""

from scheduler.actions.base.context import instant
from scheduler.actions.plant_state.load import Situation
from scheduler.domain.due.jobs import DueJob, Occurrence
from scheduler.domain.vessel.document import BREAKDOWN, JobKind, Plant
from scheduler.errors import Clash, NotFound, Refused
from scheduler.storage import work_rows
from scheduler.storage.database import Session


def kind_of(plant: Plant, occurrence: Occurrence) -> JobKind:
    """The job kind of an occurrence. Raises NotFound when the plant has none such."""
    try:
        return plant.kind(occurrence.kind)
    except KeyError as error:
        known = ", ".join(kind.code for kind in plant.job_kinds)
        raise NotFound(f"There is no job kind {occurrence.kind!r} in {plant.id}. Known: {known}.") from error


def open_job(session: Session, now: Situation, occurrence: Occurrence) -> DueJob:
    """The open turn with that key.

    Raises:
        Clash: it was done. Refused: it is not the open turn, or its subject is not in place.
    """
    before = now.done.get((occurrence.kind, occurrence.subject))
    done = 0 if before is None else before.occurrence.sequence
    if occurrence.sequence <= done:
        row = work_rows.done(session, now.vessel.id, occurrence.kind, occurrence.subject, occurrence.sequence)
        by = f", with {row.job_key}" if row and row.job_key and row.job_key != occurrence.key else ""
        when = f" on {instant(row.at_s):%Y-%m-%d %H:%MZ}{by}" if row else ""
        raise Clash(f"Job {occurrence.key} was done already{when}. The open turn is number {done + 1}.")
    job = now.job(occurrence.key)
    if job is None or not job.first:
        if occurrence.kind == BREAKDOWN.code:
            raise NotFound(
                f"No breakdown {occurrence.key} is open. Put the pump out on the plant page, which opens one."
            )
        open_key = f"{occurrence.kind}:{occurrence.subject}:{done + 1}"
        if now.job(open_key) is None:
            raise Refused(
                f"{occurrence.subject} is not in place now, so nothing is due on it. Check the fitting and the id."
            )
        raise Refused(f"Job {occurrence.key} is not open yet; close {open_key} first.")
    return job
