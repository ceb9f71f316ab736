"""What the counters show now, in their own units."""

from collections.abc import Collection
from datetime import datetime
from typing import NamedTuple

from scheduler.actions.base.context import instant
from scheduler.actions.hours.ledger import setups_of_counter
from scheduler.storage.database import Session
from scheduler.storage.hours.counters import counter_rows
from scheduler.storage.hours.readings import value_at


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
    for row in counter_rows(session, vessel_id):
        if row.id not in counters or row.no is None or row.newest_s is None:
            continue
        milli = value_at(session, row.no, row.newest_s, row.skew_most_s)
        if milli is not None:
            per = setups_of_counter(session, row)[-1][1].seconds_per_count
            found[row.position_id] = CounterShows(milli, per, instant(row.newest_s))
    return found
