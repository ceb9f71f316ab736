"""What a held value would mean if the counter were set up otherwise: a hint in words, never acted on (rule R15)."""

from scheduler.domain.hours.ledger_fit import follows
from scheduler.domain.hours.ledger_values import Good, LedgerVerdict, Setup

SCALES = ((3600, "hours"), (360, "tenths of an hour"), (36, "hundredths of an hour"), (60, "minutes"), (1, "seconds"))
LEAST_S = 100 * 3600
"""Below this many hours counted values are small, and some other scale fits too easily to mean anything."""


def other_scale(setup: Setup, good: Good, at_s: int, value_milli: int) -> tuple[int, str, int] | None:
    """(seconds per count, its name, the value on the present scale in thousandths) of a scale on which the value would
    follow from the last good one, or none."""
    if setup.seconds(good.value_milli) < LEAST_S:
        return None
    for seconds_per_count, what in SCALES:
        milli = round(value_milli * seconds_per_count / setup.seconds_per_count)
        if seconds_per_count != setup.seconds_per_count and _rises(setup, good, at_s, milli):
            return seconds_per_count, what, milli
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


def hint(setup: Setup, good: Good, at_s: int, value_milli: int, *, by_hand: bool = False) -> str:
    """A sentence (with a space before it) when the value follows from the last good one on another scale or with its
    16-bit words swapped; empty otherwise.

    >>> good = Good(0, 12_000_000, 0, 0, 0, 0, 0, 0)
    >>> hint(Setup(3600, None, 1000, "VP1"), good, 86400, 720_360_000)
    ' 720360 / 60 = 12006 would fit, as if it counted minutes now: if so, record the change of scale.'
    """
    if setup.seconds(good.value_milli) < LEAST_S:
        return ""
    found = other_scale(setup, good, at_s, value_milli)
    if found is not None:
        up, what, milli = found
        down = setup.seconds_per_count
        sum_of = f"x {up // down}" if up % down == 0 else f"/ {down // up}" if down % up == 0 else f"x {up / down:g}"
        return (
            f" {_counts(value_milli)} {sum_of} = {_counts(milli)} would fit, as if it counted {what} now: "
            "if so, record the change of scale."
        )
    swapped = None if by_hand else _swapped(value_milli)  # nobody swaps words by eye
    if swapped is not None and _rises(setup, good, at_s, swapped):
        return f" With its two 16-bit words swapped it would be {_counts(swapped)}, which fits: check the word order."
    return ""


def _rises(setup: Setup, good: Good, at_s: int, milli: int) -> bool:
    plain = Setup(setup.seconds_per_count, None, setup.resolution_milli, setup.name)
    return milli >= good.value_milli and follows(plain, good.at_s, good.value_milli, at_s, milli) is not None


def _swapped(value_milli: int) -> int | None:
    value, rest = divmod(value_milli, 1000)
    if rest or value >= 2**32:
        return None
    return ((value & 0xFFFF) << 16 | value >> 16) * 1000


def _counts(value_milli: int) -> str:
    return f"{value_milli / 1000:.12g}"
