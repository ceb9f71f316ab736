"""Hints in a held flag: what the value would mean on another scale or with its words swapped; never acted on."""

import pytest

from scheduler.domain.hours.ledger import Reading, Setup, derive
from scheduler.domain.hours.ledger_flags import held
from scheduler.domain.hours.ledger_hints import hint
from scheduler.domain.hours.ledger_values import Good
from scheduler.wording.hours import flag_words

T0 = 1_790_000_000
HOURS = Setup(3600, None, 1000, "VP1")
MINUTES = Setup(60, None, 1000, "VP1")


def good(milli: int) -> Good:
    """A count that rests on one reading."""
    return Good(T0, milli, 0, T0, 0, T0, 0, T0)


@pytest.mark.parametrize(
    ("setup", "last", "shown", "hinted"),
    [
        (HOURS, 12_000, 720_360, {"as_per": 60, "as_value": 12_006_000}),
        (HOURS, 12_000, 43_221_600, {"as_per": 1, "as_value": 12_006_000}),
        (HOURS, 12_000, 120_060, {"as_per": 360, "as_value": 12_006_000}),
        (MINUTES, 720_000, 12_006, {"as_per": 3600, "as_value": 720_360_000}),
        (HOURS, 69_999, 292_552_705, {"swapped": 70_000_000}),
        (HOURS, 12_000, 12_900, {}),
        (HOURS, 90, 5_460, {}),
    ],
)
def test_what_a_value_would_mean(setup: Setup, last: int, shown: int, hinted: dict[str, int]) -> None:
    """A day later: one hint where one fits, none where nothing does or the count is too small to tell."""
    assert hint(setup, good(last * 1000), T0 + 86_400, shown * 1000) == hinted


@pytest.mark.parametrize(
    ("setup", "last", "shown", "said"),
    [
        (HOURS, 12_000, 720_360, "720360 / 60 = 12006 would fit, as if it counted minutes now"),
        (MINUTES, 720_000, 12_006, "12006 x 60 = 720360 would fit, as if it counted hours now"),
        (HOURS, 69_999, 292_552_705, "With its two 16-bit words swapped it would be 70000, which fits"),
    ],
)
def test_a_hint_shows_its_sum(setup: Setup, last: int, shown: int, said: str) -> None:
    """The flag's sentence ends with it."""
    flag = held(setup, good(last * 1000), T0 + 86_400, shown * 1000)
    assert said in flag_words(flag, "VP1", 0).replace("\u202f", "")


def test_a_hint_credits_nothing() -> None:
    """The reading is held all the same, whatever it would mean."""
    derived = derive(HOURS, [Reading(T0, 12_000_000, T0), Reading(T0 + 86_400, 720_360_000, T0 + 86_400)])
    assert derived.state.total_s == 0
    assert derived.state.open[0].facts["as_per"] == 60
