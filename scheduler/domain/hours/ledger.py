"""Running-hours ledger of one counter: a pure replay of its readings and events (rules R1 to R17).

Readings and events go in, in observation order; entries, flags and a small state come out. Nothing here knows a clock or
a table. Order of items at one instant: marked bad, step decision, opening balance, replacement, rescale, adjustment, reading; the
first reading received at an instant stays, another at the same instant is passed over (R2).

What a store has to do
    1. Readings and events are the truth and are only ever added. Entries, flags and checkpoints may be thrown away.
    2. A new reading or event (or one taken back) touches its instant. Take the newest checkpoint whose `last_s` is
       *before* the earliest touched instant, none: START. Drop the checkpoints that are not.
    3. Load the readings and events after that checkpoint's `last_s` in pieces, and for each of them, with the state that
       the piece before gave, call `derive(setup, piece, state)`. Pieces are cut between instants, never inside one: a
       checkpoint in the middle of an instant would lose the rest of it.
    4. In one transaction delete this counter's entries and flags from `rewrite_from_s` to the end of the piece, insert
       the entries and flags returned, and keep `state.to_text()` as a checkpoint. A state equal to the one kept there
       before, with nothing in it that may still change, and nothing touched later: what follows stands as it is.
    5. Entries may share an instant: keep them in the order given; the last one with a total_s is the total there.
    6. What a person did about a flag is kept under (counter, flag code, at_s) and outlives the rewriting.

A counter counts as its `Setup` says until a rescale, from then on as that says, and so forth: the set-up of the vessel
document is the first one, `setups_of` gives the stretches of all. A reading's instant is the one put right by its skew;
a store keys it by the stamp it came with.

`Entry.total_s` is the counter's own count and none where a value is not used; opening balances and adjustments are
summed apart, because they are steps and must not be pro-rated. Running seconds at an instant: see `hours.py`.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from typing import NamedTuple

from scheduler.domain.hours.ledger_rules import MOST_PENDING, Fold
from scheduler.domain.hours.ledger_values import (
    RANK,
    START,
    Adjustment,
    BadReading,
    Code,
    Entry,
    Event,
    Flag,
    Item,
    LedgerState,
    LedgerVerdict,
    OpeningBalance,
    Reading,
    Replacement,
    Rescale,
    Setup,
    StepDecision,
    VerdictReason,
)

__all__ = [
    "MOST_PENDING",
    "START",
    "Adjustment",
    "BadReading",
    "Code",
    "Derived",
    "Entry",
    "Event",
    "Flag",
    "Folded",
    "Item",
    "LedgerState",
    "LedgerVerdict",
    "OpeningBalance",
    "Reading",
    "Replacement",
    "Rescale",
    "Setup",
    "StepDecision",
    "VerdictReason",
    "derive",
    "fold",
    "items_in_order",
    "setup_at",
    "setups_of",
    "step",
]


class Folded(NamedTuple):
    """What a fold gave. entries and flags are settled; those that may still change are in the state."""

    state: LedgerState
    entries: list[Entry]
    flags: list[Flag]


class Derived(NamedTuple):
    """What a store writes in place of all it holds of the counter from rewrite_from_s on (none: nothing changed)."""

    entries: list[Entry]
    state: LedgerState
    flags: list[Flag]
    rewrite_from_s: int | None


def items_in_order(items: Iterable[Item]) -> list[Item]:
    """The items in observation order, one reading an instant: the first received.

    Order of arrival does not matter to the ledger (R3); what is put in here may be shuffled and doubled. Events are not
    thinned out: two equal adjustments are two.
    """
    ordered: list[Item] = []
    last_s: int | None = None
    for item in sorted(items, key=_key):
        if type(item) is Reading:
            if item.at_s == last_s:
                continue
            last_s = item.at_s
        ordered.append(item)
    return ordered


def _key(item: Item) -> tuple[int, ...]:
    match item:
        case Reading(at_s, value_milli, received_s, skew_s):
            return at_s, RANK[Reading], received_s, value_milli, skew_s
        case Replacement():
            final = -1 if item.old_final_milli is None else item.old_final_milli
            return item.at_s, RANK[Replacement], final, item.new_first_milli
        case Rescale():
            final = -1 if item.old_final_milli is None else item.old_final_milli
            modulus = -1 if item.modulus is None else item.modulus
            scale = item.seconds_per_count, modulus, item.resolution_milli
            return item.at_s, RANK[Rescale], final, item.new_first_milli, *scale
        case OpeningBalance() | Adjustment():
            return item.at_s, RANK[type(item)], -item.seconds  # given before it is taken back
        case StepDecision():
            return item.at_s, RANK[StepDecision], item.credit_s
        case BadReading():
            return item.at_s, RANK[BadReading]


def setups_of(setup: Setup, rescales: Iterable[Rescale]) -> list[tuple[int, Setup]]:
    """How a counter counted when: (from this second on, set-up), in order; the first one from the beginning of time."""
    later = sorted(rescales, key=_key)
    return [(-(2**62), setup), *((item.at_s, setup.scaled(item.scale)) for item in later)]


def setup_at(setups: Sequence[tuple[int, Setup]], at_s: int) -> Setup:
    """The set-up in force at an instant, of stretches as `setups_of` gives them."""
    return next(setup for from_s, setup in reversed(setups) if from_s <= at_s)


def fold(
    setup: Setup, items: Iterable[Item], state: LedgerState = START, *, by_hand: Collection[int] = frozenset()
) -> Folded:
    """The ledger after `items`, taken in observation order from `state` on.

    From a checkpoint it gives what it gives from the start, wherever the checkpoint was made.

    Args:
        by_hand: instants of readings that a person read and typed in; flags about them give no advice on wiring.

    Raises:
        ValueError: an item belongs before one already taken; derive again from an older checkpoint.
    """
    work = Fold(setup, state, by_hand)
    work.run(items)
    return Folded(work.state(), work.entries, work.flags)


def step(setup: Setup, state: LedgerState, item: Item) -> Folded:
    """`fold` of one item."""
    return fold(setup, (item,), state)


def derive(
    setup: Setup, items: Sequence[Item], state: LedgerState = START, *, by_hand: Collection[int] = frozenset()
) -> Derived:
    """What a store writes for a range of items after a checkpoint; see the top of this module.

    The last entry is the one of the last item, provisional or not. Items may come in any order, but none before
    `state.last_s`.

    Raises:
        ValueError: an item belongs before the checkpoint.
    """
    ordered = items_in_order(items)
    if not ordered:
        return Derived([], state, [], None)
    after, entries, flags = fold(setup, ordered, state, by_hand=by_hand)
    touched = [ordered[0].at_s, *_first(state.pending), *_first(state.open)]
    return Derived([*entries, *after.pending], after, [*flags, *after.open], min(touched))


def _first(lines: Sequence[Entry] | Sequence[Flag]) -> Iterator[int]:
    return (line.at_s for line in lines[:1])
