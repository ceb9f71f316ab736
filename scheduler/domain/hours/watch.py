"""Counters that say nothing, that say the same while the other pumps run (R20), or something else than another (R18)."""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from math import ceil
from types import MappingProxyType
from typing import Self

from scheduler.domain.hours.ledger_values import Code, Flag, LedgerState
from scheduler.domain.hours.running import Totals, total_at
from scheduler.domain.hours.sources import Changes, retired, source_at
from scheduler.domain.vessel.document import Counter, Plant

DAY_S = 86_400
IDLE_AFTER_S = 7 * DAY_S
COMPARED_S = 30 * DAY_S
CONFLICTS_S = 30 * DAY_S
"""Values that met another one at their instant are told of for this long."""
APART_S = 10 * 3600
"""Two counters of a position may differ by this, or by 2 %, over 30 days."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What is known of a counter. read_s: its newest reading. rose_s: its last increase, or its first reading.

    undecided: something of it is held or a reset is not confirmed, so that its last increase says nothing.
    """

    read_s: int | None
    rose_s: int | None
    undecided: bool = False

    @classmethod
    def of(cls, state: LedgerState) -> Self:
        """What the ledger's newest state knows."""
        rose_s = None if state.good is None else state.good.rose_s
        return cls(read_s=state.read_s, rose_s=rose_s, undecided=state.undecided)


def watch(
    plant: Plant,
    seen: Mapping[str, Seen],
    at: datetime,
    out_of_service: Collection[str] = (),
    changes: Changes = MappingProxyType({}),
    *,
    laid_up: bool = False,
) -> list[tuple[str, Flag]]:
    """(counter id, flag) of each counter that is silent, or stands still though it should not; empty when all is well.

    A counter is called silent when its newest reading is older than its `quiet_after_hours`. It is called standing when
    it posts but has not risen for 7 days, something else on the plant rose in the last 7 days, and its pump is in
    service. The flag's instant is that of the newest reading, or of the last increase, so it stays the same flag while
    nothing changes. A counter that another one of its position took over from is watched no more.

    Args:
        seen: by counter id; one that is missing has never posted and is not flagged.
        out_of_service: ids of pumps that are not expected to run.
        changes: when another counter of a position began to count.
        laid_up: the ship lies in lay-up or in the yard: that pumps stand says nothing.
    """
    at_s = int(at.timestamp() // 1)
    flags: list[tuple[str, Flag]] = []
    for counter in plant.counters:
        known = seen.get(counter.id)
        if known is None or known.read_s is None:
            continue
        if retired(plant, counter, at_s, changes.get(counter.position, ())):
            continue
        if at_s - known.read_s > counter.quiet_after_hours * 3600:
            facts = {"quiet_h": counter.quiet_after_hours}
            flags.append((counter.id, Flag(Code.SILENT, known.read_s, at_s - known.read_s, facts)))
        elif (
            not laid_up
            and known.rose_s is not None
            and not known.undecided
            and known.read_s - known.rose_s >= IDLE_AFTER_S
        ):
            pump = plant.pump_in(counter.position, at)
            if pump is not None and pump not in out_of_service and _others_run(plant, seen, counter, at_s):
                flags.append((counter.id, Flag(Code.STANDING, known.rose_s, known.read_s - known.rose_s, {})))
    return flags


def watch_turns(plant: Plant, seen: Mapping[str, Seen], totals: Totals, at: datetime) -> Iterator[int]:
    """Epoch seconds at which the clock alone may make `watch` or `apart` say something else than at `at`: a counter falls silent,
    its neighbours no longer rise, a pump or another counter takes over, what was compared is past."""
    at_s = int(at.timestamp() // 1)
    for counter in plant.counters:
        known = seen.get(counter.id)
        if known is not None and known.read_s is not None:
            yield known.read_s + counter.quiet_after_hours * 3600 + 1
        if known is not None and known.rose_s is not None:
            yield known.rose_s + IDLE_AFTER_S
    for stay in plant.stays:
        yield from (ceil(one.timestamp()) for one in (stay.from_at, stay.to_at) if one is not None)
    for position in plant.positions:
        yield from (from_s for from_s, _ in totals.changes(position.id))
        here = [counter.id for counter in plant.counters if counter.position == position.id]
        for name in here if len(here) > 1 else ():
            before, after = totals.around(name, at_s)
            yield from (point[0] + COMPARED_S + 1 for point in (before,) if point is not None)
            yield from (point[0] for point in (after,) if point is not None)


def apart(plant: Plant, totals: Totals, at: datetime) -> list[tuple[str, Flag]]:
    """(counter id, flag) of each counter that differs from the one it checks by more than 2 % and 10 h over 30 days.

    Compared are the last 30 days that both have counted, or what there is of them. The flag's instant is where the
    comparison ends; `ran_s` is what the counter that counts ran in it. Retired counters, and ones that
    have not counted for 30 days, are left out.
    """
    at_s = int(at.timestamp() // 1)
    flags = []
    for counter in plant.counters:
        changes = totals.changes(counter.position)
        counts = source_at(plant, counter.position, at_s, changes)
        if counts is None or counts == counter.id or retired(plant, counter, at_s, changes):
            continue
        span = _both(totals, counts, counter.id, at_s)
        if span is None or span[1] < at_s - COMPARED_S:
            continue
        ran, checked = (_run(totals, name, *span) for name in (counts, counter.id))
        if abs(ran - checked) > max(APART_S, ran // 50):
            facts = {"from_s": span[0], "until_s": span[1], "ran_s": ran, "checked_s": checked}
            flags.append((counter.id, Flag(Code.SOURCES, span[1], abs(ran - checked), facts)))
    return flags


def conflicting(times: int, newest_s: int) -> Flag:
    """Another value was posted for an instant that has one (rule R2): so many times of late, last received at `newest_s`."""
    return Flag(Code.CONFLICT, newest_s, 0, {"times": times, "newest_s": newest_s})


def _both(totals: Totals, one: str, other: str, at_s: int) -> tuple[int, int] | None:
    """The last 30 days or less that both counted, or none."""
    newest = [totals.around(name, at_s)[0] for name in (one, other)]
    if newest[0] is None or newest[1] is None:
        return None
    until_s = min(newest[0][0], newest[1][0])
    from_s = until_s - COMPARED_S
    for name in (one, other):
        before, after = totals.around(name, from_s)
        if before is None and after is not None:
            from_s = max(from_s, after[0])
    return (from_s, until_s) if from_s < until_s else None


def _run(totals: Totals, name: str, from_s: int, until_s: int) -> int:
    early, late = (total_at(*totals.around(name, at_s), at_s)[0] or 0 for at_s in (from_s, until_s))
    return late - early


def _others_run(plant: Plant, seen: Mapping[str, Seen], counter: Counter, at_s: int) -> bool:
    others = (seen.get(other.id) for other in plant.counters if other.position != counter.position)
    return any(o is not None and o.rose_s is not None and at_s - o.rose_s < IDLE_AFTER_S for o in others)
