"""What people call a job and a pump of a plant: by position, by serial number where it stands in none."""

from scheduler.actions.plant_state.load import PlantState
from scheduler.domain.due.subjects import where
from scheduler.domain.vessel.document import BREAKDOWN


def job_words(now: PlantState, key: str) -> str:
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
        return f"{now.position_name(position)} {inside}{which}"
    return f"{inside} of {pump_words(now, pump)}{which}" if pump is not None else f"{kind.name}{which}"


def pump_words(now: PlantState, pump: str) -> str:
    """The name of the position a pump stands in, "VP2"; for one that stands in none its serial number."""
    position = now.plant.position_of(pump, now.at)
    if position is not None:
        return now.position_name(position)
    serial = now.serial_of(pump)
    return f"pump {serial}" if serial else pump
