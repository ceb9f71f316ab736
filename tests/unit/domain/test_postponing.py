"""What a postponement asked for must say, and how far it must reach, to the second."""

from dataclasses import replace
from datetime import timedelta

import pytest

from scheduler.domain.due.postponing import Asked, ask_faults
from tests.unit.domain.plants import AT

S = timedelta(seconds=1)
LIMIT = AT + timedelta(days=3)
ASKED = Asked(to_at=LIMIT + timedelta(days=9), reason="no parts", risk="it may seize")


def _pointers(asked: Asked, limit_at=LIMIT, now_at=AT) -> list[str]:
    return [pointer for pointer, _ in ask_faults(asked, limit_at=limit_at, now_at=now_at, offset_minutes=0)]


@pytest.mark.parametrize(("later", "faults"), [(-S, ["/to_at"]), (0 * S, ["/to_at"]), (S, [])])
def test_a_postponement_ends_later_than_the_limit_that_holds(later, faults):
    """To the limit itself is none."""
    assert _pointers(replace(ASKED, to_at=LIMIT + later)) == faults


@pytest.mark.parametrize(("later", "faults"), [(0 * S, ["/to_at"]), (S, [])])
def test_of_a_job_past_its_limit_it_ends_later_than_now(later, faults):
    """A limit gone by is not put off to another day gone by."""
    assert _pointers(replace(ASKED, to_at=AT + later), limit_at=AT - timedelta(days=3)) == faults


def test_reason_and_risk_are_each_asked_for():
    """What is done meanwhile takes the place of neither."""
    assert _pointers(replace(ASKED, reason=" ", mitigation="watched")) == ["/reason"]
    assert _pointers(replace(ASKED, risk=" ", mitigation="watched")) == ["/risk"]
