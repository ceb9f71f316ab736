"""Which counter of a position counts when (rule R18): one at any time; the others only check it and are never added.

The vessel's document says which counts first (`Counter.primary`); a dated event makes another one count from then on.
"""

from collections.abc import Mapping, Sequence

from scheduler.domain.vessel.document import Counter, Plant

EVER_S = -(2**62)
"""Before any instant."""

Change = tuple[int, str]
"""(epoch seconds, id of the counter that counts from then on)."""
Changes = Mapping[str, Sequence[Change]]
"""The changes of each position by its id, in order."""


def sources_of(plant: Plant, position: str, changes: Sequence[Change] = ()) -> list[Change]:
    """The counters that count for a position one after the other, the first from `EVER_S` on; empty when it has none.

    >>> from scheduler.domain.vessel.document import Counter
    >>> plant = Plant(
    ...     id="p", name="p", receiver_m3=1, start_vacuum_kpa=35, stop_vacuum_kpa=55, minimum_swept_m3_per_h=1,
    ...     positions=(), pumps=(), stays=(), job_kinds=(),
    ...     counters=(Counter(id="drive", position="vp1", primary=False), Counter(id="panel", position="vp1")),
    ... )
    >>> sources_of(plant, "vp1", [(100, "drive")])[1:], source_at(plant, "vp1", 99), source_at(plant, "vp2", 99)
    ([(100, 'drive')], 'panel', None)
    """
    here = [counter for counter in plant.counters if counter.position == position]
    if not here:
        return []
    first = next((counter for counter in here if counter.primary), here[0])
    known = {counter.id for counter in here}
    return [(EVER_S, first.id), *(change for change in sorted(changes, key=lambda c: c[0]) if change[1] in known)]


def retired(plant: Plant, counter: Counter, at_s: int, changes: Sequence[Change] = ()) -> bool:
    """True when the counter counted for its position before `at_s` and another one took over: it need not post any more."""
    past = [name for from_s, name in sources_of(plant, counter.position, changes) if from_s <= at_s]
    return counter.id in past[:-1] and counter.id != past[-1]


def source_at(plant: Plant, position: str, at_s: int, changes: Sequence[Change] = ()) -> str | None:
    """Id of the counter that counts for a position at an instant, or none when it has none."""
    return counting(sources_of(plant, position, changes), at_s)


def counting(sources: Sequence[Change], at_s: int) -> str | None:
    """The one of `sources_of` that counts at an instant, or none."""
    return next((counter for from_s, counter in reversed(sources) if from_s <= at_s), None)
