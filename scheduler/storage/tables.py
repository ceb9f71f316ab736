"""All tables, by the modules that hold them. One that is missing here is not made: a test goes through the folder."""

from scheduler.storage import base, capacity, due, feed, people, plan, record, summary, tasks, vessel, voyage, work
from scheduler.storage.hours import counters, day_ends, ledger, readings, signs
from scheduler.storage.photos import rows as photos
from scheduler.storage.shore import lines, requests, ships
from scheduler.storage.types import METADATA

_OF_HOURS = (counters, readings, ledger, day_ends, signs)
_OF_SHORE = (lines, requests, ships)
MODULES = (
    base,
    tasks,
    people,
    vessel,
    voyage,
    *_OF_HOURS,
    due,
    capacity,
    plan,
    work,
    photos,
    record,
    feed,
    summary,
    *_OF_SHORE,
)

__all__ = ["METADATA", "MODULES"]
