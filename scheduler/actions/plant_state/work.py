"""The work on a job as stored: its entries, the state they give, and whether a tag hangs on a pump."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from pydantic import Field, TypeAdapter

from scheduler.domain.vessel.document import Plant
from scheduler.domain.work.acts import AnyStep
from scheduler.domain.work.against import Objection, from_plain
from scheduler.domain.work.state import WorkState, replay
from scheduler.errors import Clash
from scheduler.language import gettext as _
from scheduler.storage.database import Session
from scheduler.storage.work import WorkStepRow, jobs_worked_on, step_rows
from scheduler.wording.names import job_words, pump_words
from scheduler.wording.work import against_words

STEP: TypeAdapter[AnyStep] = TypeAdapter(Annotated[AnyStep, Field(discriminator="kind")])
"""Reads and writes one step; shape only."""


@dataclass(frozen=True, slots=True)
class StoredStep:
    """An entry as kept: what was told, what stood against it, who recorded it, and its record in the history.

    against: facts; a text where it was stored before there were facts.
    """

    number: int
    step: AnyStep
    against: tuple[Objection | str, ...]
    recorded_by: str
    recorded_at: datetime
    record: int

    def flags(self, offset_minutes: int) -> tuple[str, ...]:
        """What stood against it, in words."""
        return tuple(one if isinstance(one, str) else against_words(one, offset_minutes) for one in self.against)


def steps_of(session: Session, vessel_id: str, job_key: str) -> list[StoredStep]:
    """The steps on a job, in order of recording."""
    return [_kept(row) for row in step_rows(session, vessel_id, job_key)]


def _kept(row: WorkStepRow) -> StoredStep:
    against = tuple(one if isinstance(one, str) else from_plain(one) for one in row.flags)
    step = STEP.validate_json(row.detail)
    return StoredStep(row.number, step, against, row.actor, row.recorded_at, row.record)


def state_of(kept: Sequence[StoredStep], until: datetime | None = None) -> WorkState:
    """The state that the entries give (those up to `until`)."""
    return replay([one.step for one in kept], until)


def require_no_tag(session: Session, vessel_id: str, pump: str, plant: Plant, at: datetime) -> None:
    """Raises Clash while a lock hangs on a pump, or nobody knows whether one does, in whatever job: it is not in use then."""
    for key in jobs_worked_on(session, vessel_id, pump):
        work = state_of(steps_of(session, vessel_id, key))
        name, job = pump_words(plant, at, pump), job_words(plant, at, key)
        if work.hanging:
            hang = ", ".join(f"{tag.point} (by {tag.placed_by})" for tag in work.hanging)
            raise Clash(
                _(
                    "A tag hangs on {name} at {hang}, in the job {job}. Take it off there first.",
                    name=name,
                    hang=hang,
                    job=job,
                )
            )
        if work.personal_hanging:
            hang = ", ".join(lock.person for lock in work.personal_hanging)
            raise Clash(
                _(
                    "A personal lock hangs on {name} ({hang}), in the job {job}. Its owner takes it off first.",
                    name=name,
                    hang=hang,
                    job=job,
                )
            )
        unknown = sorted(work.not_known | work.people_not_known)
        if unknown:
            raise Clash(
                _(
                    "Not known on {name}: {unknown}, in the job {job}. Go and look, and record it there.",
                    name=name,
                    unknown=", ".join(unknown),
                    job=job,
                )
            )
