"""All tables, by the modules that hold them. One that is missing here is not made: a test goes through the folder."""

from scheduler.storage import base, capacity, due, feed, people, plan, record, vessel, voyage, work
from scheduler.storage.hours import counters, day_ends, ledger, readings
from scheduler.storage.types import METADATA

MODULES = (base, people, vessel, voyage, counters, readings, ledger, day_ends, due, capacity, plan, work, record, feed)

__all__ = ["METADATA", "MODULES"]
