"""What a job kind is due on, where that is now, and what a job takes with it."""

from datetime import datetime

from scheduler.domain.base.enums import Subject
from scheduler.domain.vessel.document import Plant
from scheduler.domain.vessel.job_kinds import JobKind

Key = tuple[str, str]
"""(job kind code, subject id)."""


def subjects_of(plant: Plant, kind: JobKind, at: datetime) -> tuple[str, ...]:
    """Ids of what a kind is due on at `at`, in the plant's order.

    The plant; every position, with or without a pump; the pumps that stand in one; the parts of the right kind in such
    a pump.
    """
    ids = _all_subjects(plant, kind)
    if kind.subject in (Subject.PUMP, Subject.PART):
        return tuple(subject for subject in ids if where(plant, kind.subject, subject, at)[1] is not None)
    return ids


def _all_subjects(plant: Plant, kind: JobKind) -> tuple[str, ...]:
    match kind.subject:
        case Subject.PLANT:
            return (plant.id,)
        case Subject.POSITION:
            return tuple(position.id for position in plant.positions)
        case Subject.PUMP:
            return tuple(pump.id for pump in plant.pumps)
        case Subject.PART:
            return tuple(part.id for part in plant.parts if part.kind == kind.part_kind)


def where(plant: Plant, subject: Subject, subject_id: str, at: datetime) -> tuple[str | None, str | None]:
    """(pump, position) of a subject at `at`; none for a plant, a part ashore, an empty position."""
    match subject:
        case Subject.PLANT:
            return None, None
        case Subject.POSITION:
            return plant.pump_in(subject_id, at), subject_id
        case Subject.PUMP:
            return subject_id, plant.position_of(subject_id, at)
        case Subject.PART:
            pump = plant.pump_of_part(subject_id, at)
            return pump, plant.position_of(pump, at) if pump else None


def in_place_since(plant: Plant, subject: Subject, subject_id: str) -> datetime | None:
    """When a pump or part was first put in place; none for a plant or position, or where it never was."""
    match subject:
        case Subject.PUMP:
            return min((s.from_at for s in plant.stays if s.pump == subject_id), default=None)
        case Subject.PART:
            return min((f.from_at for f in plant.fittings if f.part == subject_id), default=None)
    return None


def renewals(plant: Plant, kind: JobKind, subject_id: str, at: datetime) -> tuple[Key, ...]:
    """The (kind, subject) pairs whose open turn a job of `kind` on `subject_id` takes with it at `at`, its own not.

    An overhaul of a pump renews the pump's other kinds, those of the parts in it and of the position it stands in, also
    when it is done on the bench; a job of the plant renews those of everything in it.
    """
    pump, position = where(plant, kind.subject, subject_id, at)
    found = []
    kinds = {other.code: other for other in plant.job_kinds}
    for other in (kinds[code] for code in kind.renews if code in kinds):
        for subject in _all_subjects(plant, other):
            other_pump, other_position = where(plant, other.subject, subject, at)
            together = (pump is not None and other_pump == pump) or (
                position is not None and other_position == position
            )
            if (kind.subject is Subject.PLANT or together) and (other.code, subject) != (kind.code, subject_id):
                found.append((other.code, subject))
    return tuple(found)
