"""What the counters show now, in their own units."""

from collections.abc import Collection
from datetime import datetime
from typing import NamedTuple

from scheduler.actions.base.context import instant
from scheduler.actions.hours.ledger import setups_of_vessel
from scheduler.storage.database import Session
from scheduler.storage.hours.counters import counter_rows
from scheduler.storage.hours.readings import newest_readings, value_at


class CounterShows(NamedTuple):
    """The newest reading of a counter: thousandths of a count as shown, and what a count is worth."""

    milli: int
    seconds_per_count: int
    at: datetime

    def after(self, seconds: int) -> int:
        """What it will show, in thousandths, when so many more seconds have run; before, where that is negative."""
        return self.milli + round(seconds * 1000 / self.seconds_per_count)


def counters_show(session: Session, vessel_id: str, counters: Collection[str]) -> dict[str, CounterShows]:
    """By position, what its counter shows: of those counters that have been read."""
    found = {}
    rows = counter_rows(session, vessel_id)
    setups = setups_of_vessel(session, vessel_id, rows)
    newest = newest_readings(session, [row.no for row in rows if row.no is not None])
    for row in rows:
        if row.id not in counters or row.no is None or row.newest_s is None:
            continue
        at_s, milli = newest.get(row.no, (None, None))
        if at_s != row.newest_s or row.skew_most_s:
            milli = value_at(session, row.no, row.newest_s, row.skew_most_s)
        if milli is not None:
            per = setups[row.no][-1][1].seconds_per_count
            found[row.position_id] = CounterShows(milli, per, instant(row.newest_s))
    return found
