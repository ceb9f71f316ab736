"""A lower minimum asked for: how long, how low, and for a time to come; at its bounds, just under, just over."""

from dataclasses import replace
from datetime import timedelta

import pytest

from scheduler.domain.capacity.concessions import Lower, lower_faults
from scheduler.domain.capacity.minimum import Swept
from scheduler.domain.vessel.crew import MinimumBlock
from tests.unit.domain.plants import AT, plant

S, HOUR = timedelta(seconds=1), timedelta(hours=1)
ASKED = Lower(from_at=AT, to_at=AT + 10 * HOUR, minimum=Swept(80.0), reason="few aboard")
FLAT = plant(minimum_blocks=())


def _pointers(asked: Lower, ship=FLAT, now_at=AT) -> list[str]:
    return [pointer for pointer, _ in lower_faults(ship, asked, offset_minutes=0, now_at=now_at)]


@pytest.mark.parametrize(
    ("lasts", "faults"),
    [
        (HOUR - S, ["/to_at"]),
        (HOUR, []),
        (timedelta(days=366), []),
        (timedelta(days=366) + S, ["/to_at"]),
    ],
)
def test_it_lasts_from_an_hour_to_366_days(lasts, faults):
    """Both ends are allowed."""
    assert _pointers(replace(ASKED, to_at=AT + lasts)) == faults


@pytest.mark.parametrize(("left", "faults"), [(-S, ["/to_at"]), (0 * S, ["/to_at"]), (S, [])])
def test_it_is_for_a_time_to_come(left, faults):
    """One that ends now is past."""
    assert _pointers(ASKED, now_at=ASKED.to_at - left) == faults


@pytest.mark.parametrize(
    ("m3_per_h", "faults"),
    [
        (-0.1, ["/minimum_swept_m3_per_h"]),
        (0.0, []),
        (99.9, []),
        (100.0, ["/minimum_swept_m3_per_h"]),
        (float("nan"), ["/minimum_swept_m3_per_h"]),
    ],
)
def test_it_is_nought_or_more_and_lower_than_the_minimum(m3_per_h, faults):
    """As high as the minimum of 100 is not lower."""
    assert _pointers(replace(ASKED, minimum=Swept(m3_per_h))) == faults


@pytest.mark.parametrize(("lasts", "m3_per_h", "faults"), [(2, 110.0, []), (1, 110.0, ["/minimum_swept_m3_per_h"])])
def test_the_highest_minimum_of_its_hours_is_the_one_to_be_below(lasts, m3_per_h, faults):
    """From 8 to 10, busy from 9 on: 110 is below the 120 of the last hour, not below the 100 of the first alone."""
    busy = MinimumBlock(minimum_swept_m3_per_h=120.0, label="busy hours", from_hour=9, to_hour=12)
    asked = replace(ASKED, to_at=AT + lasts * HOUR, minimum=Swept(m3_per_h))
    assert _pointers(asked, plant(minimum_blocks=(busy,))) == faults


def test_it_says_why():
    """An empty reason is none."""
    assert _pointers(replace(ASKED, reason=" ")) == ["/reason"]


@pytest.mark.parametrize(("minutes", "faults"), [(0, ["/minimum_swept_m3_per_h"]), (1, [])])
def test_the_last_part_hour_counts_too(minutes, faults):
    """The minimum is higher from nine to twelve; a stretch that reaches a minute into it may be agreed below that one."""
    higher = plant(
        minimum_blocks=(MinimumBlock(minimum_swept_m3_per_h=120.0, label="morning", from_hour=9, to_hour=12),)
    )
    at_eight = AT.replace(hour=7, minute=30)
    asked = replace(ASKED, from_at=at_eight, to_at=at_eight + timedelta(minutes=90 + minutes), minimum=Swept(110.0))
    assert _pointers(asked, higher, now_at=at_eight) == faults
