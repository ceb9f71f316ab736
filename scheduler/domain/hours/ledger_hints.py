"""What a held value would mean if the counter were set up otherwise: a hint never acted on (rule R15)."""

from scheduler.domain.hours.ledger_fit import follows
from scheduler.domain.hours.ledger_values import Good, LedgerVerdict, Setup

SCALES = (3600, 360, 36, 60, 1)
"""Seconds per count of the usual registers: hours, tenths, hundredths, minutes, seconds."""
LEAST_S = 100 * 3600
"""Below this many hours counted values are small, and some other scale fits too easily to mean anything."""


def other_scale(setup: Setup, good: Good, at_s: int, value_milli: int) -> tuple[int, int] | None:
    """(seconds per count, the value on the present scale in thousandths) of a scale on which the value would follow from the
    last good one, or none."""
    if setup.seconds(good.value_milli) < LEAST_S:
        return None
    for seconds_per_count in SCALES:
        milli = round(value_milli * seconds_per_count / setup.seconds_per_count)
        if seconds_per_count != setup.seconds_per_count and _rises(setup, good, at_s, milli):
            return seconds_per_count, milli
    return None


def follows_otherwise(
    setup: Setup, good: Good, held: tuple[int, int], at_s: int, value_milli: int
) -> tuple[LedgerVerdict, int] | None:
    """How a value follows from a held one (instant, thousandths) on the scale on which that would follow from the last good one;
    none when there is no such scale, or it does not. The seconds are those of that scale."""
    found = other_scale(setup, good, *held)
    if found is None:
        return None
    return follows(Setup(found[0], None, setup.resolution_milli, setup.name), *held, at_s, value_milli)


def hint(setup: Setup, good: Good, at_s: int, value_milli: int, *, by_hand: bool = False) -> dict[str, int]:
    """On which other scale (`as_per`, seconds a count; `as_value`, on the present one) the value follows from the last good
    one, or what it is with its 16-bit words swapped (`swapped`); empty when neither. Values in thousandths.

    >>> good = Good(0, 12_000_000, 0, 0, 0, 0, 0, 0)
    >>> hint(Setup(3600, None, 1000, "VP1"), good, 86400, 720_360_000)
    {'as_per': 60, 'as_value': 12006000}
    """
    if setup.seconds(good.value_milli) < LEAST_S:
        return {}
    found = other_scale(setup, good, at_s, value_milli)
    if found is not None:
        return {"as_per": found[0], "as_value": found[1]}
    swapped = None if by_hand else _swapped(value_milli)  # nobody swaps words by eye
    return {"swapped": swapped} if swapped is not None and _rises(setup, good, at_s, swapped) else {}


def _rises(setup: Setup, good: Good, at_s: int, milli: int) -> bool:
    plain = Setup(setup.seconds_per_count, None, setup.resolution_milli, setup.name)
    return milli >= good.value_milli and follows(plain, good.at_s, good.value_milli, at_s, milli) is not None


def _swapped(value_milli: int) -> int | None:
    value, rest = divmod(value_milli, 1000)
    if rest or value >= 2**32:
        return None
    return ((value & 0xFFFF) << 16 | value >> 16) * 1000
