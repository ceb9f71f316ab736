"""What of a vessel's document an auditor asks about, when it changes: intervals, windows, tolerances, the minimum."""

from dataclasses import fields

from scheduler.domain.fleet import JobKind, MinimumBlock, Plant, Vessel

_OF_KIND = (
    "interval_running_hours",
    "interval_months",
    "interval_days",
    "window_running_hours",
    "window_days",
    "tolerance_running_hours",
    "tolerance_days",
    "critical",
    "class_item",
)


def notable_changes(old: Vessel, new: Vessel) -> list[str]:
    """One line for each change of an interval, window, tolerance, criticality, class item or minimum capacity."""
    told = []
    plants = {plant.id: plant for plant in old.plants}
    for plant in new.plants:
        before = plants.get(plant.id)
        if before is not None:
            told += _of_plant(before, plant)
    return told


def _of_plant(old: Plant, new: Plant) -> list[str]:
    told = []
    if old.minimum_swept_m3_per_h != new.minimum_swept_m3_per_h:
        told.append(f"{new.id}: minimum {old.minimum_swept_m3_per_h:g} to {new.minimum_swept_m3_per_h:g} swept m3/h")
    was, now = old.minimum_blocks, new.minimum_blocks
    told += [f"{new.id}: minimum block taken out: {_block(gone)}" for gone in was if gone not in now]
    told += [f"{new.id}: minimum block put in: {_block(added)}" for added in now if added not in was]
    kinds = {kind.code: kind for kind in old.job_kinds}
    for kind in new.job_kinds:
        before = kinds.pop(kind.code, None)
        if before is None:
            told.append(f"{new.id}: job kind {kind.code} added")
            continue
        told += [
            f"{new.id}: {kind.code} {name} {getattr(before, name)} to {getattr(kind, name)}"
            for name in _OF_KIND
            if getattr(before, name) != getattr(kind, name)
        ]
    told += [f"{new.id}: job kind {code} taken out" for code in kinds]
    return told


def _block(block: MinimumBlock) -> str:
    hours = f"{block.from_hour} to {block.to_hour} h"
    dates = f", {block.from_on or 'open'} to {block.to_on or 'open'}" if block.from_on or block.to_on else ""
    return f"{block.label} {block.minimum_swept_m3_per_h:g} swept m3/h, {hours}{dates}"


assert set(_OF_KIND) <= {one.name for one in fields(JobKind)}
