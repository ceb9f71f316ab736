"""How a plant stands, in short: what a page of many ships lists of it. Facts as stored; words are made where they are read.

Nothing in it changes by the clock alone before `turns_at`.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import IntEnum
from typing import NamedTuple

from scheduler.domain.base.enums import JobState, Role
from scheduler.domain.base.matters import Matter, MatterCode
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.people.persons import Person, one_person
from scheduler.shiptime import ShipOffset

SHOWN = timedelta(days=28)
"""How far ahead margins are listed, from the ship's midnight."""
_MOST = 999
_FOLD = _MOST + 1
RANKS_OF_A_TROUBLE = _FOLD**3
"""A rank divided by it, in whole numbers, is the trouble it begins with."""


class Trouble(IntEnum):
    """What presses most, worst first."""

    NOT_WORKED_OUT = 0
    SHORT = 1
    """Below the minimum as planned, within `SHOWN`."""
    PAST_LIMIT = 2
    SHORT_LATER = 3
    PAST_DUE = 4
    NOT_KNOWN = 5
    NO_PLAN = 6
    WINDOW_OPEN = 7
    POSTPONED = 8
    NONE = 9


class MarginPiece(NamedTuple):
    """A stretch of constant capacity as planned, swept litres an hour."""

    from_at: datetime
    to_at: datetime
    available_litres_per_h: int
    minimum_litres_per_h: int

    @property
    def margin_litres_per_h(self) -> int:
        """Available minus minimum."""
        return self.available_litres_per_h - self.minimum_litres_per_h


class OpenTo(NamedTuple):
    """Who may do it: a role, but none of these persons."""

    role: Role
    but_not: tuple[Person, ...] = ()

    def admits(self, role: Role, person: Person) -> bool:
        """Whether this person may, as that role."""
        return role is self.role and not any(one_person(person, other) for other in self.but_not)


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """A matter, whoever it waits for; job: what people call the job it is about."""

    matter: Matter
    open_to: tuple[OpenTo, ...]
    job: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantSummary:
    """One plant. past_limit to not_known: open jobs in that state, the outlook left out.

    plant: its name where the vessel has several. below_at: where the first stretch below the minimum as planned begins, of those not
    over, over the whole horizon. least: the least margin within `SHOWN`, of stretches not over, swept litres an hour, and where it
    begins; none without a stretch. next_due_at: of the open jobs. hours_as_of: the oldest of the newest hours that count.
    from_at: the ship's midnight from which it is reckoned. silent_position: of the counters that are silent the one longest so, by
    name, and its newest reading; empty for none. worst: the job that presses most as people see it, its position by name.
    """

    plant: str = ""
    past_limit: int = 0
    past_due: int = 0
    window_open: int = 0
    postponed: int = 0
    not_known: int = 0
    silent_counters: int = 0
    no_plan: bool = False
    below_at: datetime | None = None
    least_litres_per_h: int | None = None
    least_at: datetime | None = None
    next_due_at: datetime | None = None
    hours_as_of: datetime | None = None
    from_at: datetime
    turns_at: datetime
    silent_position: str = ""
    silent_since_at: datetime | None = None
    worst: DueJob | None = None
    margins: tuple[MarginPiece, ...] = ()
    waits: tuple[Waiting, ...] = ()
    clock_first: int = 0
    clock_changes: tuple[tuple[datetime, int], ...] = ()
    """The ship's clock, as `ShipOffset` takes it."""

    def clock(self, at: datetime) -> ShipOffset:
        """The ship's clock at an instant, with the changes to come."""
        known = ShipOffset(self.clock_first, self.clock_changes)
        return ShipOffset(known.at(at), self.clock_changes, first=self.clock_first)

    @property
    def trouble(self) -> Trouble:
        """What presses most."""
        for there, trouble in (
            (self.below_at is not None and self.below_at < self.from_at + SHOWN, Trouble.SHORT),
            (self.past_limit, Trouble.PAST_LIMIT),
            (self.below_at is not None, Trouble.SHORT_LATER),
            (self.past_due, Trouble.PAST_DUE),
            (self.not_known, Trouble.NOT_KNOWN),
            (self.no_plan, Trouble.NO_PLAN),
            (self.window_open, Trouble.WINDOW_OPEN),
            (self.postponed, Trouble.POSTPONED),
        ):
            if there:
                return trouble
        return Trouble.NONE

    @property
    def rank(self) -> int:
        """Rises from the worst plant to the best: by trouble, then by how many jobs are past limit, past due, in their window."""
        found = int(self.trouble)
        for many in (self.past_limit, self.past_due, self.window_open):
            found = found * _FOLD + _MOST - min(many, _MOST)
        return found


def pieces_to_come(pieces: Iterable[MarginPiece], at: datetime) -> Iterator[MarginPiece]:
    """The stretches that are not over."""
    return (one for one in pieces if one.to_at > at)


def first_below(pieces: Iterable[MarginPiece], at: datetime) -> MarginPiece | None:
    """The first stretch below the minimum that is not over; none: there is none."""
    return next((one for one in pieces_to_come(pieces, at) if one.margin_litres_per_h < 0), None)


def least_piece(pieces: Iterable[MarginPiece], at: datetime) -> MarginPiece | None:
    """The first of those with the least margin that are not over; none without any."""
    return min(pieces_to_come(pieces, at), key=lambda one: (one.margin_litres_per_h, one.from_at), default=None)


_GATHERED = (MatterCode.NON_CONFORMITY, MatterCode.NON_CONFORMITY_ANSWERED)


def waits_for(waiting: Iterable[Waiting], role: Role, person: Person) -> tuple[Waiting, ...]:
    """What waits for this person as that role, in the order of the codes; non-conformities gathered in one, the oldest's."""
    order = list(MatterCode)
    mine = [one for one in waiting if any(way.admits(role, person) for way in one.open_to)]
    mine.sort(key=lambda one: (order.index(one.matter.code), one.matter.number))
    found: list[Waiting] = []
    for one in mine:
        many = sum(other.matter.code is one.matter.code for other in mine) if one.matter.code in _GATHERED else 1
        if many == 1:
            found.append(one)
        elif not any(other.matter.code is one.matter.code for other in found):
            found.append(replace(one, matter=replace(one.matter, count=many)))
    return tuple(found)


STATES_COUNTED = {
    JobState.PAST_LIMIT: "past_limit",
    JobState.PAST_DUE: "past_due",
    JobState.WINDOW_OPEN: "window_open",
    JobState.POSTPONED: "postponed",
    JobState.NOT_KNOWN: "not_known",
}
"""The member of a summary that counts the jobs in a state."""
