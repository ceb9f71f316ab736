"""When a pump that is out is back, as far as a plan may go by it: as told, else assumed, else without end.

The present margin and the record never use this; no postponement rests on it.
"""

from datetime import datetime, timedelta
from typing import NamedTuple

from scheduler.domain.capacity.minimum import Outage

ASSUMED_AFTER = timedelta(days=14)
"""From the stop, where nobody said when the pump is back. Judgement (7, 14 and 30 days were tried)."""


class PlannedReturn(NamedTuple):
    """When a plan has a pump back. assumed: nobody said so."""

    at: datetime
    assumed: bool


def planned_back(outage: Outage, now_at: datetime) -> PlannedReturn | None:
    """When plans have the pump of an outage back; none where it has an end of its own, still counts for something, or the time
    that was told or assumed has passed: then it is out without end, and somebody is asked."""
    if outage.to_at is not None or outage.counts_for.m3_per_h > 0:
        return None
    back = PlannedReturn(outage.expected_at or outage.from_at + ASSUMED_AFTER, outage.expected_at is None)
    return back if back.at > now_at else None
