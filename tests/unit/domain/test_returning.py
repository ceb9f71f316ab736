"""When a pump that is out is back, as plans have it, and when somebody is asked; to the second."""

from dataclasses import replace
from datetime import timedelta

import pytest

from scheduler.domain.capacity.minimum import Outage, Swept
from scheduler.domain.capacity.returning import ASSUMED_AFTER, PlannedReturn, planned_back
from tests.unit.domain.plants import AT

S, DAY = timedelta(seconds=1), timedelta(days=1)
DOWN = Outage(pump="u1", from_at=AT, to_at=None, counts_for=Swept(0.0), reason="seized")
TOLD = replace(DOWN, expected_at=AT + 3 * DAY)


def test_as_told_else_assumed():
    """What was told counts, also beyond what would be assumed."""
    assert planned_back(DOWN, AT) == PlannedReturn(AT + ASSUMED_AFTER, assumed=True)
    for days in (3, 30):
        told = replace(DOWN, expected_at=AT + days * DAY)
        assert planned_back(told, AT) == PlannedReturn(AT + days * DAY, assumed=False)


@pytest.mark.parametrize("outage", [DOWN, TOLD])
def test_a_return_that_is_now_has_passed(outage):
    """A second before it a plan goes by it; from its instant on the pump is out without end."""
    back = planned_back(outage, AT)
    assert back is not None
    assert planned_back(outage, back.at - S) == back
    assert planned_back(outage, back.at) is None


@pytest.mark.parametrize("change", [{"to_at": AT + DAY}, {"counts_for": Swept(30.0)}])
def test_one_with_an_end_or_that_counts_for_something_is_not_planned_back(change):
    """Each alone is enough."""
    outage = replace(DOWN, **change)
    assert planned_back(outage, AT) is None
