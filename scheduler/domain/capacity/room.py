"""Room for an opening: when any pump, or some pump, may be open by capacity alone. Hands, arrivals and gas are others' matter."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise

from scheduler.domain.capacity.minimum import Outage, Swept, capacities_at, litres_down
from scheduler.domain.vessel.document import Plant


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomStretch:
    """A stretch in which the minimum is kept with any one pump open (any_pump), with at least one of them open (some_pump), or with
    none."""

    from_at: datetime
    to_at: datetime
    any_pump: bool
    some_pump: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """What must be there in a stretch: litres an hour, and how many pumps whatever they give."""

    from_at: datetime
    to_at: datetime
    litres_per_h: int
    pumps: int = 0


def room_stretches(
    plant: Plant, needs: Sequence[Need], outages: Iterable[Outage], whole: Mapping[str, Swept] | None = None
) -> tuple[RoomStretch, ...]:
    """Touching stretches over all of `needs`, those alike joined. Facts alone: a pump that is out without end stays out.

    Args:
        needs: touching, in time order. outages: as known; planned openings are not among them.
    """
    facts = tuple(outages)
    found: list[RoomStretch] = []
    for one in _cut(needs, facts):
        gives = [litres_down(swept) for swept in capacities_at(plant, facts, one.from_at, whole).values()]
        there = [litres for litres in gives if litres > 0]
        enough = len(there) - 1 >= one.pumps

        spare = sum(gives) - one.litres_per_h if enough else -1
        made = RoomStretch(
            from_at=one.from_at,
            to_at=one.to_at,
            any_pump=bool(there) and spare >= max(there),
            some_pump=bool(there) and spare >= min(there),
        )
        if found and (found[-1].any_pump, found[-1].some_pump) == (made.any_pump, made.some_pump):
            made = replace(made, from_at=found.pop().from_at)
        found.append(made)
    return tuple(found)


def _cut(needs: Sequence[Need], outages: Sequence[Outage]) -> Iterator[Need]:
    """The needs cut where a pump goes out or comes back."""
    edges = sorted({at for one in outages for at in (one.from_at, one.to_at) if at is not None})
    for need in needs:
        inside = [need.from_at, *(at for at in edges if need.from_at < at < need.to_at), need.to_at]
        for start, end in pairwise(inside):
            yield replace(need, from_at=start, to_at=end)


def longest_room(rooms: Iterable[RoomStretch], from_at: datetime, to_at: datetime) -> timedelta:
    """The longest time within these instants in which any one pump may be open; zero for none."""
    lasting = (min(one.to_at, to_at) - max(one.from_at, from_at) for one in rooms if one.any_pump)
    return max((timedelta(0), *lasting))


def closed_spans(
    rooms: Iterable[RoomStretch], from_at: datetime, to_at: datetime
) -> tuple[tuple[datetime, datetime], ...]:
    """The stretches within these instants in which no pump at all may be open."""
    cut = ((max(one.from_at, from_at), min(one.to_at, to_at)) for one in rooms if not one.some_pump)
    return tuple((start, end) for start, end in cut if start < end)
