"""May this pump be opened then? What capacity holds, until when, and what takes the yes away. Facts; never a permit.

It rests on facts and on planned openings alone: a pump that is out counts for nothing until it is back, whatever was expected.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum
from itertools import pairwise

from scheduler.domain.capacity.minimum import (
    Concession,
    Outage,
    Swept,
    capacities_at,
    litres_down,
    litres_up,
    minimum_agreed,
    pumps_needed,
)
from scheduler.domain.vessel.document import Plant
from scheduler.shiptime import ShipOffset, ship_time

LOOK_AHEAD = timedelta(days=14)
"""How far it is looked for an end, and for a time that holds. Judgement."""
NOW_WITHIN = timedelta(hours=1)
"""An opening so soon is one "now": the gauge as it stands counts. Judgement."""


class OpeningCode(StrEnum):
    """The answer. Only the first is a plain yes."""

    HOLDS = "holds"
    LESS_LATER = "holds, with less later"
    SHORT = "does not hold"
    POOR_VACUUM = "vacuum is poor now"
    NOT_KNOWN = "not known"
    WORKED_ON = "somebody is in it"


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenStretch:
    """A stretch while the pump is open. after_trip_litres_per_h: margin if the largest pump left trips too. label: the minimum's.
    out: the pumps that count for nothing, the asked one among them. lacking_pumps: how many of the pumps that must be there are
    not (0: none)."""

    from_at: datetime
    to_at: datetime
    margin_litres_per_h: int
    after_trip_litres_per_h: int
    minimum_litres_per_h: int
    label: str
    out: frozenset[str]
    lacking_pumps: int = 0

    @property
    def holds(self) -> bool:
        """Whether the minimum is kept."""
        return self.margin_litres_per_h >= 0 and not self.lacking_pumps


@dataclass(frozen=True, slots=True, kw_only=True)
class CounterDoubt:
    """A pump that is counted on and whose counter is silent since, or has a reading held since (silent false)."""

    pump: str
    silent: bool
    since_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkInHand:
    """A job in which the pump is locked or open already. open_since_at: none while it is not open. locks: personal ones."""

    job_key: str
    open_since_at: datetime | None
    locks: int


@dataclass(frozen=True, slots=True, kw_only=True)
class OpeningAnswer:
    """Whether the pump may be opened at an instant, for so many hours of work.

    stretches: from `at` on, touching. until_at: when the margin at the start first becomes less, none within the look-ahead;
    then: the stretch that begins there. after_trip_litres_per_h: the least margin from `at` to there (or for the hours asked,
    where that is sooner) if one more pump trips. short: the first stretch that does not hold in the hours asked, or none.
    next_hold: where it does not hold, the first time from which it does for those hours, and until when at that margin.
    takes_nothing: the pump counts for nothing already.
    vacuum_kpa: as given, below atmosphere; none where nobody said or it is not about now.
    """

    pump: str
    at: datetime
    hours: int
    code: OpeningCode
    stretches: tuple[OpenStretch, ...]
    until_at: datetime | None
    then: OpenStretch | None
    after_trip_litres_per_h: int
    short: OpenStretch | None
    next_hold: OpenStretch | None
    takes_nothing: bool
    about_now: bool
    vacuum_kpa: float | None
    start_vacuum_kpa: float
    doubts: tuple[CounterDoubt, ...]
    work: WorkInHand | None

    @property
    def margin_litres_per_h(self) -> int:
        """At the start."""
        return self.stretches[0].margin_litres_per_h

    @property
    def least_litres_per_h(self) -> int:
        """The least margin in the hours asked."""
        end_at = self.at + timedelta(hours=self.hours)
        return min(one.margin_litres_per_h for one in self.stretches if one.from_at < end_at)


def may_open(
    plant: Plant,
    outages: Iterable[Outage],
    pump: str,
    *,
    at: datetime,
    now_at: datetime,
    hours: int,
    offset_minutes: int,
    whole: Mapping[str, Swept] | None = None,
    concessions: Sequence[Concession] = (),
    vacuum_kpa: float | None = None,
    doubts: Sequence[CounterDoubt] = (),
    work: WorkInHand | None = None,
) -> OpeningAnswer:
    """Whether capacity holds with `pump` open from `at` on for so many hours, what ends it, and what takes the yes away.

    Args:
        outages: facts, and the planned openings of other pumps. hours: of work, 1 or more. vacuum_kpa: as the gauge stands now, kPa
            below atmosphere. doubts: about counters of pumps in positions. work: where somebody is in it already.
    """
    known = tuple(outages)
    about_now = at - now_at <= NOW_WITHIN
    counts = capacities_at(plant, known, at, whole)
    stretches = open_stretches(
        plant,
        known,
        pump,
        from_at=at,
        to_at=at + LOOK_AHEAD + timedelta(hours=hours),
        offset_minutes=offset_minutes,
        whole=whole,
        concessions=concessions,
    )
    first, end_at = stretches[0], at + timedelta(hours=hours)
    then = next(
        (one for one in stretches[1:] if one.margin_litres_per_h < first.margin_litres_per_h or not one.holds), None
    )
    inside = [one for one in stretches if one.from_at < end_at]
    short = next((one for one in inside if not one.holds), None)
    relied_on = tuple(one for one in doubts if one.pump == pump or counts.get(one.pump, Swept(0.0)) > Swept(0.0))
    gauge = vacuum_kpa if about_now else None
    if work is not None and about_now:
        code = OpeningCode.WORKED_ON
    elif gauge is not None and gauge < plant.start_vacuum_kpa:
        code = OpeningCode.POOR_VACUUM
    elif short is not None:
        code = OpeningCode.SHORT
    elif relied_on:
        code = OpeningCode.NOT_KNOWN
    elif then is not None and then.from_at < end_at:
        code = OpeningCode.LESS_LATER
    else:
        code = OpeningCode.HOLDS
    until_at = None if then is None else then.from_at
    counted = [one for one in inside if until_at is None or one.from_at < until_at]
    return OpeningAnswer(
        pump=pump,
        at=at,
        hours=hours,
        code=code,
        stretches=stretches,
        until_at=until_at,
        then=then,
        after_trip_litres_per_h=min(one.after_trip_litres_per_h for one in counted),
        short=short,
        next_hold=None if short is None else _next_hold(stretches, at, timedelta(hours=hours)),
        takes_nothing=counts.get(pump, Swept(0.0)) <= Swept(0.0),
        about_now=about_now,
        vacuum_kpa=gauge,
        start_vacuum_kpa=plant.start_vacuum_kpa,
        doubts=relied_on,
        work=work,
    )


def open_stretches(
    plant: Plant,
    outages: Sequence[Outage],
    pump: str | None,
    *,
    from_at: datetime,
    to_at: datetime,
    offset_minutes: int,
    whole: Mapping[str, Swept] | None = None,
    concessions: Sequence[Concession] = (),
) -> tuple[OpenStretch, ...]:
    """Touching stretches of constant margin with `pump` open all the time (none: nothing more is opened), from from_at to to_at.

    A concession counts for a stretch that it covers whole.
    """
    asked = (
        () if pump is None else (Outage(pump=pump, from_at=from_at, to_at=None, counts_for=Swept(0.0), reason="asked"),)
    )
    known = (*outages, *asked)
    found: list[OpenStretch] = []
    for begins, ends in pairwise(_edges(known, concessions, from_at, to_at, offset_minutes)):
        counts = {one: litres_down(swept) for one, swept in capacities_at(plant, known, begins, whole).items()}
        minimum, label = minimum_agreed(plant, begins, offset_minutes, concessions, ends - begins)
        need = litres_up(minimum)
        there = sum(one > 0 for one in counts.values())
        must = pumps_needed(plant, ship_time(begins, offset_minutes).replace(tzinfo=None))
        margin = sum(counts.values()) - need
        stretch = OpenStretch(
            from_at=begins,
            to_at=ends,
            margin_litres_per_h=margin,
            after_trip_litres_per_h=margin - max(counts.values(), default=0),
            minimum_litres_per_h=need,
            label=label,
            out=frozenset(one for one, litres in counts.items() if litres <= 0),
            lacking_pumps=max(0, must - there),
        )
        if found and replace(found[-1], to_at=ends) == replace(stretch, from_at=found[-1].from_at):
            stretch = replace(stretch, from_at=found.pop().from_at)
        found.append(stretch)
    return tuple(found)


def _edges(
    outages: Iterable[Outage],
    concessions: Iterable[Concession],
    from_at: datetime,
    to_at: datetime,
    offset_minutes: int,
) -> list[datetime]:
    """Every instant at which capacity or minimum may change: the ship's whole hours, and where outages and concessions begin and
    end."""
    edges = {from_at, to_at, *_ship_hours(from_at, to_at, offset_minutes)}
    changes = offset_minutes.changes if isinstance(offset_minutes, ShipOffset) else ()
    ends = [at for one in outages for at in (one.from_at, one.to_at) if at is not None]
    ends += [at for one in concessions for at in (one.from_at, one.to_at)]
    edges.update(at for at in (*ends, *(at for at, _ in changes)) if from_at < at < to_at)
    return sorted(edges)


def _ship_hours(from_at: datetime, to_at: datetime, offset_minutes: int) -> Iterator[datetime]:
    """The whole hours of the ship's clock in between, by the clock of each."""
    at = from_at
    while True:
        wall = ship_time(at, offset_minutes)
        at += timedelta(hours=1) - timedelta(minutes=wall.minute, seconds=wall.second, microseconds=wall.microsecond)
        if at >= to_at:
            return
        yield at


def _next_hold(stretches: Sequence[OpenStretch], at: datetime, length: timedelta) -> OpenStretch | None:
    """The first stretch after `at` from whose beginning the minimum holds for so long, lasting until the margin becomes less."""
    for place, one in enumerate(stretches):
        if one.from_at <= at or not one.holds:
            continue
        held_to = one.to_at
        for after in stretches[place + 1 :]:
            if not after.holds or held_to >= one.from_at + length:
                break
            held_to = after.to_at
        if held_to >= one.from_at + length:
            last = one
            for after in stretches[place + 1 :]:
                if not after.holds or after.margin_litres_per_h < one.margin_litres_per_h:
                    break
                last = after
            return replace(one, to_at=last.to_at)
    return None
