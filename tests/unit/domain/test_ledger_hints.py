"""Hints in a held flag: what the value would mean on another scale or with its words swapped; never acted on."""

import pytest

from scheduler.domain.hours.ledger import Reading, Setup, derive
from scheduler.domain.hours.ledger_hints import hint
from scheduler.domain.hours.ledger_values import Good

T0 = 1_790_000_000
HOURS = Setup(3600, None, 1000, "VP1")
MINUTES = Setup(60, None, 1000, "VP1")


def good(milli: int) -> Good:
    """A count that rests on one reading."""
    return Good(T0, milli, 0, T0, 0, T0, 0, T0)


@pytest.mark.parametrize(
    ("setup", "last", "shown", "says"),
    [
        (HOURS, 12_000, 720_360, "720360 / 60 = 12006 would fit, as if it counted minutes now"),
        (HOURS, 12_000, 43_221_600, "43221600 / 3600 = 12006 would fit, as if it counted seconds now"),
        (HOURS, 12_000, 120_060, "120060 / 10 = 12006 would fit, as if it counted tenths of an hour now"),
        (MINUTES, 720_000, 12_006, "12006 x 60 = 720360 would fit, as if it counted hours now"),
        (HOURS, 69_999, 292_552_705, "With its two 16-bit words swapped it would be 70000, which fits"),
        (HOURS, 12_000, 12_900, ""),
        (HOURS, 90, 5_460, ""),
    ],
)
def test_what_a_value_would_mean(setup: Setup, last: int, shown: int, says: str) -> None:
    """A day later: one hint where one fits, none where nothing does or the count is too small to tell."""
    told = hint(setup, good(last * 1000), T0 + 86_400, shown * 1000)
    assert says in told
    assert bool(told) == bool(says)


def test_a_hint_credits_nothing() -> None:
    """The reading is held all the same, whatever it would mean."""
    derived = derive(HOURS, [Reading(T0, 12_000_000, T0), Reading(T0 + 86_400, 720_360_000, T0 + 86_400)])
    assert derived.state.total_s == 0
    assert "would fit" in derived.state.open[0].says
