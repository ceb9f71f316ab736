"""What people call a job and a pump of a plant: by position, by serial number where it stands in none."""

from datetime import datetime

from scheduler.domain.due.subjects import where
from scheduler.domain.vessel.document import Plant, Vessel
from scheduler.domain.vessel.job_kinds import BREAKDOWN
from scheduler.language import gettext as _
from scheduler.wording.figures import inner


def job_words(plant: Plant, at: datetime, key: str) -> str:
    """What a person calls the job of a key at an instant: "VP2 knife inspection"; the plant's own by its kind's name.

    A part that is not the only one of its kind in its pump is named too. What is not known stays as it is.
    """
    parts = key.split(":")
    kind = next((k for k in (*plant.job_kinds, BREAKDOWN) if k.code == parts[0]), None)
    if len(parts) != 3 or kind is None:
        return key
    pump, position = where(plant, kind.subject, parts[1], at)
    part = next((p for p in plant.parts if p.id == parts[1]), None)
    alike = [p for p in plant.parts if part and p.kind == part.kind and plant.pump_of_part(p.id, at) == pump]
    which = f" ({part.name})" if part is not None and len(alike) > 1 else ""
    if position is not None:
        return f"{_position_words(plant, position)} {inner(kind.name)}{which}"
    return (
        _("{job} of {pump}{which}", job=inner(kind.name), pump=pump_words(plant, at, pump), which=which)
        if pump is not None
        else f"{kind.name}{which}"
    )


def vessel_job_words(vessel: Vessel, at: datetime, key: str) -> str:
    """The same of a job of any plant of a vessel; one whose kind or subject is not set up any more is "a job no longer set up"."""
    subject = key.split(":")[1] if key.count(":") == 2 else ""
    for plant in vessel.plants:
        there = {
            plant.id,
            *(one.id for one in plant.positions),
            *(one.id for one in plant.pumps),
            *(one.id for one in plant.parts),
        }
        if subject in there:
            said = job_words(plant, at, key)
            return said if said != key else _("a job no longer set up")
    return _("a job no longer set up")


def pump_words(plant: Plant, at: datetime, pump: str) -> str:
    """The name of the position a pump stands in at an instant, "VP2"; for one that stands in none its serial number."""
    position = plant.position_of(pump, at)
    if position is not None:
        return _position_words(plant, position)
    serial = next((p.serial for p in plant.pumps if p.id == pump), "")
    return _("pump {serial}", serial=serial) if serial else pump


def subject_words(plant: Plant, at: datetime, subject: str) -> str:
    """What people call what a job is done on: a part by its name, a pump or position as `pump_words`, else the plant."""
    part = next((one.name for one in plant.parts if one.id == subject), "")
    if part or subject == plant.id:
        return part or plant.name
    known = any(one.id == subject for one in plant.pumps)
    return pump_words(plant, at, subject) if known else _position_words(plant, subject)


def _position_words(plant: Plant, position: str) -> str:
    return next((p.name for p in plant.positions if p.id == position), plant.name)
