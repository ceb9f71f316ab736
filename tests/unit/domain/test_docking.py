"""What is better done in dock, to the second."""

from dataclasses import replace
from datetime import timedelta

import pytest

from scheduler.domain.base.enums import JobState
from scheduler.domain.due.docking import DUE_WITHIN, Dock, better_in_dock, dock_of
from scheduler.domain.due.jobs import DueJob
from tests.unit.domain.plants import AT, OVERHAUL, due_jobs, plant, steady_days, steady_hours

FROM, TO = AT + timedelta(days=100), AT + timedelta(days=120)
S = timedelta(seconds=1)


def _job(**changed: object) -> DueJob:
    made = due_jobs(plant=plant(OVERHAUL), done={}, hours=steady_hours(0), daily=steady_days(), at=AT)
    one = next(job for job in made if job.first)
    return replace(one, **{"due_at": FROM, "limit_at": FROM + timedelta(days=10), **changed})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("changed", "better"),
    [
        ({}, True),
        ({"limit_at": FROM}, True),
        ({"limit_at": FROM - S}, False),
        ({"due_at": TO + DUE_WITHIN}, True),
        ({"due_at": TO + DUE_WITHIN + S}, False),
        ({"first": False}, False),
        ({"takes_pump_out": False}, False),
        ({"renewed_by": "overhaul:u1:9"}, False),
        ({"state": JobState.DONE}, False),
        ({"state": JobState.WITHDRAWN}, False),
    ],
)
def test_what_is_better_done_in_dock(changed: dict[str, object], better: bool) -> None:
    """Open turns that open a pump, whose limit reaches the dock, and due within 120 days of its end."""
    job = _job(**changed)
    assert better_in_dock([job], FROM, TO) == ([job] if better else [])


def test_of_two_docks_the_newest_counts() -> None:
    """For the turns chosen for it, not for others."""
    docks = [Dock(from_at=FROM, to_at=TO, keys=("a", "b")), Dock(from_at=TO, to_at=TO + timedelta(days=9), keys=("b",))]
    assert (dock_of(docks, "a"), dock_of(docks, "b"), dock_of(docks, "c")) == (docks[0], docks[1], None)
