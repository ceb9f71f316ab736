"""The ledger on the invented counters: each trouble gets its verdict, and the hours come out as the pumps truly ran."""

import json
import random
from collections import Counter, defaultdict
from datetime import UTC, datetime

import pytest
from pydantic import TypeAdapter

from scheduler.domain.hours.ledger import (
    Adjustment,
    Item,
    LedgerVerdict,
    Reading,
    Replacement,
    Setup,
    derive,
    items_in_order,
)
from scheduler.domain.vessel import document as fleet
from seed_fleet.counters import Event, deliveries
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import SHIPS, ShipPlan

UNTIL = datetime(2026, 11, 25, 9, 33, tzinfo=UTC)
TROUBLES = {
    "plover-vp2-hours": {LedgerVerdict.ROLLOVER: 1},
    "plover-vp3-hours": {LedgerVerdict.REPLACEMENT: 1, LedgerVerdict.ADJUSTMENT: 1},
    "avocet-vp4-hours": {LedgerVerdict.SPIKE: 1},
}


def seconds(text: str) -> int:
    return int(datetime.fromisoformat(text).timestamp())


def items_of(run: Run) -> dict[str, list[Item]]:
    """What the server is sent about each counter, shuffled as a bad link would."""
    items: dict[str, list[Item]] = defaultdict(list)
    for step in deliveries(run):
        if not isinstance(step, Event):
            for counter, at, counts in step.readings:
                items[counter].append(Reading(seconds(at), counts * 1000, seconds(at)))
        elif step.body["kind"] == "replacement":
            exchange = Replacement(
                seconds(step.body["at"]), step.body["old_final"] * 1000, step.body["new_first"] * 1000
            )
            items[step.counter].append(exchange)
        else:
            items[step.counter].append(Adjustment(seconds(step.body["at"]), step.body["hours"] * 3600))
    for of_one in items.values():
        random.Random(1).shuffle(of_one)
    return items


@pytest.mark.long
@pytest.mark.parametrize("ship", SHIPS, ids=lambda ship: ship.key)
def test_the_ledger_credits_what_the_pumps_truly_ran(ship: ShipPlan) -> None:
    """Two years of each counter: credited hours agree with the truth within a count (1.5 h more where hours were put
    right by hand), and nothing but the meant troubles gets a verdict of its own."""
    run = Run(ship, 1, UNTIL)
    items = items_of(run)
    document = json.dumps(vessel_document(run))
    counters = TypeAdapter(fleet.Vessel).validate_json(document).plants[0].counters
    for number, counter in enumerate(counters):
        entries = derive(Setup.of(counter), items_in_order(items[counter.id])).entries
        found = Counter(entry.verdict for entry in entries)
        assert found.pop(LedgerVerdict.BASELINE) == 1
        assert found.pop(LedgerVerdict.CREDITED) > 4000
        assert found == TROUBLES.get(counter.id, {})
        true = run.ran_seconds(number, datetime.fromtimestamp(entries[-1].at_s, UTC))
        by_hand = 5400 if LedgerVerdict.ADJUSTMENT in found else 0
        assert sum(entry.credit_s for entry in entries) == pytest.approx(true, abs=counter.seconds_per_count + by_hand)
