"""The coming weeks as a few legs: days at sea with their short stays, each longer stay, and wherever the minimum becomes another."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from scheduler.domain.voyage.days import SEA

STAY_DAYS = 2
"""A stay of so many days is a leg of its own; a shorter one goes with the days at sea around it. Judgement."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DayAhead:
    """A ship's day to come. kind: as entered, none: nobody entered it. usual, crest: the minimum that holds longest in it and the
    highest, m3/h, each with its label."""

    on: date
    kind: str | None
    usual: float
    crest: float
    usual_label: str = "minimum"
    crest_label: str = "minimum"


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """Touching days. kinds: how many days of each kind, in the order in which they come."""

    from_on: date
    to_on: date
    kinds: tuple[tuple[str | None, int], ...]
    day: DayAhead
    """The first of them: its minimum is that of all."""


def legs_of(days: Iterable[DayAhead]) -> tuple[Leg, ...]:
    """The days, by date, as legs."""
    known = list(days)
    stays: list[str | None] = []
    for kind, alike in groupby(known, key=lambda day: day.kind):
        count = len(list(alike))
        passing = kind == SEA or (kind is not None and count < STAY_DAYS)
        stays += [SEA if passing else kind] * count
    legs = []
    marked = zip(known, stays, strict=True)
    for _, pairs in groupby(
        marked, key=lambda pair: (pair[1], pair[0].usual, pair[0].crest, pair[0].usual_label, pair[0].crest_label)
    ):
        inside = [day for day, _ in pairs]
        tally: dict[str | None, int] = {}
        for day in inside:
            tally[day.kind] = tally.get(day.kind, 0) + 1
        legs.append(Leg(from_on=inside[0].on, to_on=inside[-1].on, kinds=tuple(tally.items()), day=inside[0]))
    return tuple(legs)
