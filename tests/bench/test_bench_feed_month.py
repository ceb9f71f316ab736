"""A month of nightly plans on both demo ships: how much of a subscriber's calendar changes in a week.

Counters post as the demo's do; every night a plan is made and taken (a person would take fewer), four times a day the calendar is
written. Counted by event: changed at all, moved (SEQUENCE raised), and the status event.
"""

from collections import Counter
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context, Hand
from scheduler.actions.feed import refresh
from scheduler.actions.plan import planning
from scheduler.actions.vessel import changes
from scheduler.actions.vessel.document import VESSEL
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.base.enums import Role
from scheduler.domain.feed.entries import PLAN_STATUS_KEY
from scheduler.settings import Settings
from scheduler.storage.feed import feed_event_rows
from scheduler.storage.vessel import AssetKind
from seed_fleet.counters import Event, deliveries
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import AVOCET, PLOVER, ShipPlan
from tests.bench.load import SHORT
from tests.end_to_end.live import AT, TurnedClock
from tests.end_to_end.test_actions import ME, PEN_HERE
from tests.storage.stores import store
from tests.ticks import store_now

pytestmark = pytest.mark.bench
NIGHTS, PAST_YEARS = (3, 0.2) if SHORT else (30, 0.4)


def events(context: Context, vessel: str) -> dict[str, tuple[str, int]]:
    """Text and sequence of each event, by key."""
    with context.db.read() as session:
        return {row.occurrence_key: (row.text, row.sequence) for row in feed_event_rows(session, vessel)}


@pytest.mark.parametrize("ship", [PLOVER, AVOCET], ids=lambda ship: ship.key)
def test_a_month_of_nightly_plans(ship: ShipPlan, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Prints the figures of DEVELOPERS.md; the status event changes by itself once a day at most."""
    begin = AT - timedelta(days=NIGHTS)
    counted: Counter[str] = Counter()
    by_day: Counter[str] = Counter()
    with store("sqlite", tmp_path) as database:
        clock = TurnedClock()
        context = Context(database, clock, Settings(horizon_days=180, frozen_days=7))
        clock.at = begin
        run = Run(ship, 1, AT, PAST_YEARS)
        changes.put_vessel(context, ME, VESSEL.validate_python(vessel_document(run)), if_new=True)
        actor = Actor("gateway", "gateway", Role.COUNTER, ship.vessel)
        waiting = [
            {"counter": r.counter, "observed_at": r.observed_at, "value": r.value}
            for step in deliveries(run)
            if not isinstance(step, Event)
            for r in step.readings
        ]
        waiting.sort(key=lambda item: datetime.fromisoformat(item["observed_at"]))

        def post() -> None:
            due = [item for item in waiting if datetime.fromisoformat(item["observed_at"]) <= clock.at]
            del waiting[: len(due)]
            for first in range(0, len(due), 1000):
                store_now(context, actor, due[first : first + 1000])

        plant = f"{ship.key}-plant"
        post()
        seen: dict[str, tuple[str, int]] = {}
        for night in range(NIGHTS):
            for quarter in range(4):
                clock.at = begin + timedelta(days=night, hours=6 * quarter)
                post()
                if quarter == 0:
                    digest = planning.propose(context, ship.vessel, plant).digest
                    hand = Hand(ME, f"night {night}", {"night": night})
                    planning.take(context, hand, Place(plant, ship.vessel, plant, AssetKind.PLANT), digest)
                refresh.refresh(context, PEN_HERE, ship.vessel)
                now = events(context, ship.vessel)
                if night or quarter:
                    both = [key for key in now.keys() & seen.keys() if now[key][0] != seen[key][0]]
                    jobs = [key for key in both if key != PLAN_STATUS_KEY]
                    counted["changed"] += len(jobs)
                    counted["moved"] += sum(now[key][1] > seen[key][1] for key in jobs)
                    counted["new or gone"] += len(now.keys() ^ seen.keys())
                    if both == [PLAN_STATUS_KEY] and quarter:  # by itself: at the first quarter a plan was taken
                        by_day[f"{clock.at:%Y-%m-%d}"] += 1
                seen = now
        counted["events"] = len(seen)
    weeks = NIGHTS / 7
    with capsys.disabled():
        told = ", ".join(f"{counted[what] / weeks:.1f} {what}" for what in ("changed", "moved", "new or gone"))
        alone = sum(by_day.values())
        print(
            f"\n{ship.vessel}: {counted['events']} events; a week {told}; {alone} times in {NIGHTS} days the status event by itself"
        )
    assert max(by_day.values(), default=0) <= 1
