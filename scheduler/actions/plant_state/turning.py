"""When the clock alone may make something of a plant another: until then, and while nothing changes, it stands as it was loaded."""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta

from scheduler.actions.plant_state.load import PlantState
from scheduler.domain.capacity.returning import ASSUMED_AFTER
from scheduler.domain.due.meters import QUIET_AFTER_HOURS
from scheduler.shiptime import next_days
from scheduler.storage.types import floor_second

_SECOND = timedelta(seconds=1)


def turns_after(now: PlantState, others: Sequence[datetime | None] = ()) -> datetime:
    """The first whole second after the plant's instant by which one of its instants, or of others, has come or is over: a day
    later at most."""
    whole = {floor_second(one) for one in (*_instants(now), *others) if one is not None}
    turns = whole | {one + _SECOND for one in whole}
    return min(one for one in turns if one > now.at)


def _instants(now: PlantState) -> Iterator[datetime | None]:
    """Where the clock may make something another: a day begins, aboard or in UTC; a state; silence; a pump is back; a slot; a lower
    minimum; a stay in dock; the ship's clock."""
    yield from next_days(now.at, now.offset_minutes)
    for job in (*now.jobs, *now.breakdowns):
        if job.first:
            yield from (job.window_opens_at, job.due_at, job.limit_at, job.calendar_due_at, job.postponed_to)
            if job.calendar_due_at is not None:
                yield job.calendar_due_at + timedelta(days=now.plant.kind(job.job_id.kind).tolerance_days)
    quiet = {QUIET_AFTER_HOURS, *(one.quiet_after_hours for one in now.counters)}
    read = {one.newest_at for one in now.counters} | {one.as_of for one in now.hours.values()}
    yield from (at + timedelta(hours=hours) for at in read if at is not None for hours in quiet)
    for outage in now.outages:
        yield from (outage.from_at, outage.to_at, outage.expected_at, outage.from_at + ASSUMED_AFTER)
    for lower in now.concessions:
        yield from (lower.from_at, lower.to_at)
    for dock in now.docks:
        yield from (dock.from_at, dock.to_at)
    if now.taken is not None:
        for start, end in now.taken.times().values():
            yield from (start, end)
    yield from (at for at, _ in now.clock_changes)
