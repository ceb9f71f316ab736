"""What people call a job and a pump of a plant: by position, by serial number where it stands in none."""

from datetime import datetime
from typing import NamedTuple, Protocol

from scheduler.domain.due.subjects import where
from scheduler.domain.vessel.document import BREAKDOWN, Plant


class PlantNow(Protocol):
    """A plant at an instant; a plant state is one."""

    @property
    def plant(self) -> Plant:
        """The plant as its document has it."""

    @property
    def at(self) -> datetime:
        """The instant for which it is asked where a pump or part is."""


class PlantAt(NamedTuple):
    """A plant at an instant, where no more of it is loaded."""

    plant: Plant
    at: datetime


def job_words(now: PlantNow, key: str) -> str:
    """What a person calls the job of an occurrence key: "VP2 knife inspection"; the plant's own by its kind's name.

    A part that is not the only one of its kind in its pump is named too. What is not known stays as it is.
    """
    parts = key.split(":")
    kind = next((k for k in (*now.plant.job_kinds, BREAKDOWN) if k.code == parts[0]), None)
    if len(parts) != 3 or kind is None:
        return key
    pump, position = where(now.plant, kind.subject, parts[1], now.at)
    inside = kind.name if len(kind.name) > 1 and not kind.name[1].islower() else kind.name[:1].lower() + kind.name[1:]
    part = next((p for p in now.plant.parts if p.id == parts[1]), None)
    beside = [
        p for p in now.plant.parts if part and p.kind == part.kind and now.plant.pump_of_part(p.id, now.at) == pump
    ]
    which = f" ({part.name})" if part is not None and len(beside) > 1 else ""
    if position is not None:
        return f"{_position(now.plant, position)} {inside}{which}"
    return f"{inside} of {pump_words(now, pump)}{which}" if pump is not None else f"{kind.name}{which}"


def pump_words(now: PlantNow, pump: str) -> str:
    """The name of the position a pump stands in, "VP2"; for one that stands in none its serial number."""
    position = now.plant.position_of(pump, now.at)
    if position is not None:
        return _position(now.plant, position)
    serial = next((one.serial for one in now.plant.pumps if one.id == pump), "")
    return f"pump {serial}" if serial else pump


def subject_words(now: PlantNow, subject: str) -> str:
    """What people call what a job is done on: a part by its name, a pump or position as `pump_words`, else the plant."""
    part = next((one.name for one in now.plant.parts if one.id == subject), "")
    if part or subject == now.plant.id:
        return part or now.plant.name
    known = any(one.id == subject for one in now.plant.pumps)
    return pump_words(now, subject) if known else _position(now.plant, subject)


def _position(plant: Plant, position: str) -> str:
    return next((one.name for one in plant.positions if one.id == position), plant.name)
