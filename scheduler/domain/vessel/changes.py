"""What of a vessel's document an auditor asks about, when it changes: intervals, windows, tolerances, the minimum, and what the
ship had (last done, stays, fittings, opening hours, serial numbers, things taken out).
"""

from collections.abc import Iterator
from dataclasses import fields
from typing import NamedTuple

from scheduler.domain.vessel.crew import MinimumBlock
from scheduler.domain.vessel.document import Plant, Vessel
from scheduler.domain.vessel.job_kinds import JobKind
from scheduler.domain.vessel.renaming import Thing, things
from scheduler.language import gettext

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

_MOST_NAMED = 5


class _Notable(NamedTuple):
    """A line, with the job kind it is about where it is about one: its plant's id and its code. added: the kind is new."""

    says: str
    kind: tuple[str, str] | None = None
    added: bool = False


def notable_changes(old: Vessel, new: Vessel) -> list[str]:
    """One line for each change of an interval, window, tolerance, criticality, class item or minimum capacity, and of what the
    ship had."""
    return [one.says for one in _notable(old, new)]


def _notable(old: Vessel, new: Vessel) -> Iterator[_Notable]:
    yield from (_Notable(f"{one.id} was {one.was} until now") for one in _just_renamed(old, new))
    yield from _approved(old, new)
    plants = {plant.id: plant for plant in old.plants}
    for plant in new.plants:
        before = plants.pop(plant.id, None)
        if before is not None:
            yield from map(_Notable, _past_of_plant(before, plant))
    yield from (_Notable(f"{gone}: plant taken out") for gone in plants)


def _just_renamed(old: Vessel, new: Vessel) -> list[Thing]:
    """What says since this version that it had another id; `old` has the new ids already."""
    before = {one.id: one.was for _, _, one in things(old)}
    return [one for _, _, one in things(new) if one.was and one.was != before.get(one.id)]


def approved_changes(old: Vessel, new: Vessel) -> list[str]:
    """Those of intervals, windows, tolerances, criticality, class items and minimum: somebody ashore approves them."""
    return [one.says for one in _approved(old, new)]


def _approved(old: Vessel, new: Vessel) -> Iterator[_Notable]:
    plants = {plant.id: plant for plant in old.plants}
    return (one for plant in new.plants if plant.id in plants for one in _of_plant(plants[plant.id], plant))


def change_faults(old: Vessel, new: Vessel, *, reason: str, class_agreed: str) -> list[tuple[str, str]]:
    """What such a change still lacks, a (pointer, sentence) each; empty when it may be stored.

    A change of what was set needs its reason; one of a class item the class's agreement as well. A new job kind needs
    neither. Common practice, no source: intervals and the minimum change by company approval, class items by class too.
    """
    faults = []
    changed = [one.says for one in _notable(old, new) if not one.added]
    if changed and not reason.strip():
        faults.append(("/reason", gettext("say why: {some}. Send it again with the reason.", some=_some(changed))))
    of_class = _class_changes(old, new)
    if of_class and not class_agreed.strip():
        faults.append(
            (
                "/class_agreed",
                gettext(
                    "{some}: a class item changes with the class's agreement only. Send it again with "
                    "the agreement (who, when, reference).",
                    some=_some(of_class),
                ),
            )
        )
    return faults


def _some(lines: list[str]) -> str:
    more = len(lines) - _MOST_NAMED
    return "; ".join(lines[:_MOST_NAMED]) + (f"; and {more} more" if more > 0 else "")


def _class_changes(old: Vessel, new: Vessel) -> list[str]:
    """The lines about job kinds that were class items before."""
    of_class = {(plant.id, kind.code) for plant in old.plants for kind in plant.job_kinds if kind.class_item}
    return [one.says for one in _approved(old, new) if one.kind in of_class]


def _of_plant(old: Plant, new: Plant) -> Iterator[_Notable]:
    if old.minimum_swept_m3_per_h != new.minimum_swept_m3_per_h:
        yield _Notable(f"{new.id}: minimum {old.minimum_swept_m3_per_h:g} to {new.minimum_swept_m3_per_h:g} swept m3/h")
    blocks, more = old.minimum_blocks, new.minimum_blocks
    yield from (_Notable(f"{new.id}: minimum block taken out: {_block(gone)}") for gone in blocks if gone not in more)
    yield from (_Notable(f"{new.id}: minimum block put in: {_block(added)}") for added in more if added not in blocks)
    kinds = {kind.code: kind for kind in old.job_kinds}
    for kind in new.job_kinds:
        before = kinds.pop(kind.code, None)
        if before is None:
            yield _Notable(f"{new.id}: job kind {kind.code} added", (new.id, kind.code), added=True)
            continue
        for name in _OF_KIND:
            was, now = getattr(before, name), getattr(kind, name)
            if was != now:
                yield _Notable(f"{new.id}: {kind.code} {name} {was} to {now}", (new.id, kind.code))
    yield from (_Notable(f"{new.id}: job kind {code} taken out", (new.id, code)) for code in kinds)


def _past_of_plant(old: Plant, new: Plant) -> list[str]:
    """What the ship had and what was done to it, where an entry is another one now or is gone; new entries need no word."""
    told = [
        f"{new.id}: {what} {gone} taken out"
        for what, was, now in (
            ("position", old.positions, new.positions),
            ("pump", old.pumps, new.pumps),
            ("part", old.parts, new.parts),
            ("counter", old.counters, new.counters),
        )
        for gone in sorted({one.id for one in was} - {one.id for one in now})
    ]
    serials = {one.id: one.serial for one in old.pumps}
    told += [
        f"{new.id}: serial number of {one.id} {serials[one.id]} to {one.serial}"
        for one in new.pumps
        if serials.get(one.id, one.serial) != one.serial
    ]
    told += [f"{new.id}: stay of {s.pump} in {s.position} changed" for s in old.stays if s not in new.stays]
    told += [f"{new.id}: fitting of {f.part} in {f.pump} changed" for f in old.fittings if f not in new.fittings]
    was, now = set(old.last_done), set(new.last_done)
    kinds = {one.code for one in old.job_kinds}
    ids = {one.id for _, _, one in things(Vessel(id="", name="", imo="", plants=(old,)))}
    changed = sorted({(one.kind, one.subject) for one in was ^ now if one.kind in kinds and one.subject in ids})
    return told + [f"{new.id}: last done of {kind} on {subject} changed" for kind, subject in changed]


def _block(block: MinimumBlock) -> str:
    hours = f"{block.from_hour} to {block.to_hour} h"
    dates = f", {block.from_on or 'open'} to {block.to_on or 'open'}" if block.from_on or block.to_on else ""
    return f"{block.label} {block.minimum_swept_m3_per_h:g} swept m3/h, {hours}{dates}"


assert set(_OF_KIND) <= {one.name for one in fields(JobKind)}
