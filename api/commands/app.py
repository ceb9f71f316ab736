"""The command line: thin. The modules whose commands it has; one that is missing here fails a test."""

from api.commands import (
    capacity,
    care,
    due,
    feed,
    gateway,
    people,
    record,
    requests,
    ships,
    shore,
    vessel,
    voyage,
    worker,
)
from api.commands.hours import by_hand, counters, signs
from api.commands.plan import lead_order, moves, plans
from api.commands.shared.groups import app
from api.commands.work import breakdowns, handovers, jobs, nonconformities

COMMANDS = (
    people,
    vessel,
    voyage,
    by_hand,
    counters,
    signs,
    due,
    capacity,
    plans,
    moves,
    lead_order,
    jobs,
    breakdowns,
    handovers,
    nonconformities,
    record,
    requests,
    feed,
    care,
    shore,
    worker,
    gateway,
    ships,
)

__all__ = ["COMMANDS", "app"]
