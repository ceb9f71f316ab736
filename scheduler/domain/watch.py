"""Counters that say nothing, and counters that say the same while the other pumps run (rule R20)."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Self

from scheduler.domain.fleet import Counter, Plant
from scheduler.domain.ledger_says import hours_text, instant_text
from scheduler.domain.ledger_words import Code, Flag, State

STANDING_AFTER_S = 7 * 86_400


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What is known of a counter. read_s: its newest reading. rose_s: its last increase, or its first reading.

    undecided: something of it is held or a reset is not confirmed, so that its last increase says nothing.
    """

    read_s: int | None
    rose_s: int | None
    undecided: bool = False

    @classmethod
    def of(cls, state: State) -> Self:
        """What the ledger's newest state knows."""
        rose_s = None if state.good is None else state.good.rose_s
        return cls(read_s=state.read_s, rose_s=rose_s, undecided=state.undecided)


def watch(
    plant: Plant, seen: Mapping[str, Seen], at: datetime, out_of_service: Collection[str] = ()
) -> list[tuple[str, Flag]]:
    """(counter id, flag) of each counter that is silent, or stands still though it should not; empty when all is well.

    A counter is called silent when its newest reading is older than its `quiet_after_hours`. It is called standing when
    it posts but has not risen for 7 days, something else on the plant rose in the last 7 days, and its pump is in
    service. The flag's instant is that of the newest reading, or of the last increase, so it stays the same flag while
    nothing changes. Of several counters of a position only the one with the newest reading is watched: the others were
    before it.

    Args:
        seen: by counter id; one that is missing has never posted and is not flagged.
        out_of_service: ids of pumps that are not expected to run.
    """
    at_s = int(at.timestamp() // 1)
    flags: list[tuple[str, Flag]] = []
    for counter in plant.counters:
        known = seen.get(counter.id)
        if known is None or known.read_s is None or _followed(plant, seen, counter, known.read_s):
            continue
        if at_s - known.read_s > counter.quiet_after_hours * 3600:
            flags.append((counter.id, _silent(counter, known.read_s, at_s)))
        elif known.rose_s is not None and not known.undecided and known.read_s - known.rose_s >= STANDING_AFTER_S:
            pump = plant.pump_in(counter.position, at)
            if pump is not None and pump not in out_of_service and _others_run(plant, seen, counter, at_s):
                flags.append((counter.id, _standing(counter, known.rose_s, known.read_s)))
    return flags


def _followed(plant: Plant, seen: Mapping[str, Seen], counter: Counter, read_s: int) -> bool:
    others = (seen.get(other.id) for other in plant.counters if other.position == counter.position)
    return any(o is not None and o.read_s is not None and o.read_s > read_s for o in others)


def _others_run(plant: Plant, seen: Mapping[str, Seen], counter: Counter, at_s: int) -> bool:
    others = (seen.get(other.id) for other in plant.counters if other.position != counter.position)
    return any(o is not None and o.rose_s is not None and at_s - o.rose_s < STANDING_AFTER_S for o in others)


def _silent(counter: Counter, read_s: int, at_s: int) -> Flag:
    says = (
        f"{counter.id} has not posted since {instant_text(read_s)}, {hours_text(at_s - read_s)} ago; expected within "
        f"{counter.quiet_after_hours} h. Hours are carried on at the recent rate and marked estimated. Check the gateway, "
        "or post the counter by hand."
    )
    return Flag(Code.SILENT, read_s, says, at_s - read_s)


def _standing(counter: Counter, rose_s: int, read_s: int) -> Flag:
    days = (read_s - rose_s) // 86_400
    says = (
        f"{counter.id} posts but has not risen since {instant_text(rose_s)}, {days} days, while other pumps ran: the pump is "
        "standing, or its counter is dead. See whether the pump runs in automatic; if it does, the counter needs attention."
    )
    return Flag(Code.STANDING, rose_s, says, read_s - rose_s)
