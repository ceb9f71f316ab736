"""When a reminder rings: at a ship's hour on the evening before, never at night."""

from datetime import UTC, datetime, time, timedelta

from scheduler.shiptime import ShipOffset, ship_time


def evening_before(starts_s: int, hour: int, clock: ShipOffset, *, all_day: bool) -> datetime:
    """The instant of that ship's hour on the day before a job's.

    Args:
        starts_s: epoch second at which it starts; of an all-day entry the midnight UTC of its date, which is a ship's date.

    >>> evening_before(1_796_083_200, 18, ShipOffset(120), all_day=True).isoformat()
    '2026-11-30T16:00:00+00:00'
    """
    starts_at = datetime.fromtimestamp(starts_s, UTC)
    on = (starts_at if all_day else ship_time(starts_at, clock)).date() - timedelta(days=1)
    return clock.instant(datetime.combine(on, time(hour)))
