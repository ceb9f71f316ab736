"""A lower minimum for a stretch of time: what may be asked for, and who may sign. Chief engineer and hotel, two people.

Common practice, no source: the plant serves the hotel, so the hotel agrees before the plant runs on less.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from math import isfinite

from scheduler.domain.capacity import Swept, minimum_agreed
from scheduler.domain.fleet import Plant
from scheduler.domain.words import Role

SIGNS_AS_CHIEF = frozenset({Role.CHIEF, Role.OFFICE, Role.ADMIN})
SHORTEST, LONGEST = timedelta(hours=1), timedelta(days=366)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lower:
    """A concession as asked for; minimum: of swept volume."""

    from_at: datetime
    to_at: datetime
    minimum: Swept
    reason: str


@dataclass(frozen=True, slots=True)
class Signature:
    """Who signed: the name, and the id of who wrote it down."""

    id: str
    name: str


def lower_faults(plant: Plant, asked: Lower, *, offset_minutes: int, now_at: datetime) -> list[tuple[str, str]]:
    """What is wrong with a request, a (pointer, sentence) each; empty when nothing is."""
    faults = []
    if not asked.reason.strip():
        faults.append(("/reason", "this is empty; say why less is enough in that time."))
    if not SHORTEST <= asked.to_at - asked.from_at <= LONGEST:
        faults.append(("/to_at", "an end 1 hour to 366 days after from_at was expected; correct either."))
        return faults
    if asked.to_at <= now_at:
        faults.append(("/to_at", f"{asked.to_at:%Y-%m-%d %H:%MZ} is past; a minimum is lowered for a time to come."))
    figure = asked.minimum.m3_per_h
    hours = range(int((asked.to_at - asked.from_at) / SHORTEST))
    most = max(minimum_agreed(plant, asked.from_at + hour * SHORTEST, offset_minutes)[0] for hour in hours)
    if not (isfinite(figure) and 0 <= figure < most.m3_per_h):
        faults.append(
            (
                "/minimum_swept_m3_per_h",
                f"{figure:g} m3/h: 0 or more and less than the highest minimum in that time, {most.m3_per_h:g}, was "
                "expected.",
            )
        )
    return faults


def signing_objections(as_: str, by: Signature, other: Signature | None, role: Role) -> list[str]:
    """What stands against this signature, in words.

    Args:
        as_: chief or hotel. other: who signed for the other side, none while nobody has.
    """
    if as_ == "chief" and role not in SIGNS_AS_CHIEF:
        return [f"A {role.value} does not sign as chief: the chief engineer does, or the office."]
    if other is None:
        return []
    if _same_name(by.name, other.name):
        return [f"{other.name} signed already for the other side: it takes two people."]
    if by.id == other.id:
        return ["You signed already for the other side: someone else enters this signature, so that two people do."]
    return []


def _same_name(one: str, other: str) -> bool:
    """The same name, the rank that may follow it ("A. Chief, chief engineer") left aside on either."""
    first, second = " ".join(one.split()).casefold(), " ".join(other.split()).casefold()
    return first in (second, second.rpartition(", ")[0]) or second == first.rpartition(", ")[0]
