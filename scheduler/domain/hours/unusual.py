"""A value read by eye that can have run, and is still far more than the counter runs: said at once, with what was likely meant.

A rise that is at least twice the usual one and 6 h more is unusual (judgement, no source): a slip of one digit or two changed
about makes as much, and a pump that took the lead for a day does not.
"""

from collections.abc import Iterator
from typing import NamedTuple

from scheduler.domain.hours.ledger_values import Setup

LEAST_S = 6 * 3600
TIMES = 2


class Unusual(NamedTuple):
    """credit_s: what the value counts; usual_s: what runs in that time at the usual rate. meant_milli: the value that differs by
    one digit, or by two changed about, and is nearest to the usual; none where none comes near."""

    credit_s: int
    usual_s: int
    meant_milli: int | None


def unusual(
    setup: Setup, before: tuple[int, int], at_s: int, value_milli: int, *, seconds_per_day: float
) -> Unusual | None:
    """What is unusual about a value; none when nothing is, or the usual is not known.

    Args:
        before: (instant, thousandths) of the reading it follows from. seconds_per_day: what the counter ran a day lately; 0 when
            that is not known.
    """
    credit_s = setup.seconds(value_milli) - setup.seconds(before[1])
    usual_s = round((at_s - before[0]) * seconds_per_day / 86_400)
    if seconds_per_day <= 0 or credit_s < TIMES * usual_s or credit_s - usual_s < LEAST_S:
        return None
    near = max(usual_s // 2, setup.resolution_seconds)
    apart = ((abs(setup.seconds(milli) - setup.seconds(before[1]) - usual_s), milli) for _, milli in slips(value_milli))
    best = min(apart, default=None)
    return Unusual(credit_s, usual_s, best[1] if best is not None and best[0] <= near else None)


def slips(figure: int) -> Iterator[tuple[bool, int]]:
    """The figures one slip away: (False, with another digit at one place), (True, with two neighbours changed about)."""
    digits = str(figure)
    for place, old in enumerate(digits):
        for new in "0123456789":
            if new != old:
                yield False, int(digits[:place] + new + digits[place + 1 :])
        if place and old != digits[place - 1]:
            yield True, int(digits[: place - 1] + old + digits[place - 1] + digits[place + 1 :])
