"""The coming days as legs."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.voyage.legs import STAY_DAYS, DayAhead, legs_of

FIRST = date(2026, 12, 1)


def _days(*kinds: str | None, minima: tuple[float, ...] = ()) -> list[DayAhead]:
    return [
        DayAhead(on=FIRST + timedelta(days=n), kind=kind, usual=(minima or (100.0,) * len(kinds))[n], crest=120.0)
        for n, kind in enumerate(kinds)
    ]


@pytest.mark.parametrize(("days", "legs"), [(STAY_DAYS - 1, 1), (STAY_DAYS, 3), (STAY_DAYS + 1, 3)])
def test_a_stay_is_a_leg_of_its_own_from_two_days_on(days: int, legs: int) -> None:
    """A shorter one goes with the days at sea around it, and is counted there."""
    found = legs_of(_days("sea", *["port"] * days, "sea"))
    assert len(found) == legs
    assert dict(found[0].kinds if legs == 1 else found[1].kinds)["port"] == days


def test_another_minimum_or_a_day_nobody_entered_begins_a_leg() -> None:
    """Also in the middle of a stay."""
    found = legs_of(_days("sea", "sea", None, "sea", minima=(100, 125, 100, 100)))
    assert [(leg.from_on.day, leg.to_on.day, leg.day.usual) for leg in found] == [
        (1, 1, 100), (2, 2, 125), (3, 3, 100), (4, 4, 100)
    ]  # fmt: skip


@given(st.lists(st.tuples(st.sampled_from(["sea", "port", "yard", None]), st.sampled_from([60.0, 100.0])), max_size=40))
def test_legs_hold_every_day_once(told: list[tuple[str | None, float]]) -> None:
    """In order, none left out, the counts of kinds adding up."""
    days = _days(*(kind for kind, _ in told), minima=tuple(least for _, least in told))
    found = legs_of(days)
    held = [leg.from_on + timedelta(days=n) for leg in found for n in range((leg.to_on - leg.from_on).days + 1)]
    assert held == [day.on for day in days]
    assert sum(count for leg in found for _, count in leg.kinds) == len(days)
