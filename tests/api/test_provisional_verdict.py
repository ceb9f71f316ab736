"""The verdict a sender gets at once: right while readings come in order, none where only the whole ledger can tell."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from api.server.app import open_context
from scheduler.actions.base.actor import Actor
from scheduler.actions.hours.ledger import derive_vessel
from scheduler.actions.hours.readings import ReadingDoor, post
from scheduler.actions.vessel import changes
from scheduler.actions.vessel.document import VESSEL
from scheduler.clock import fixed_clock
from scheduler.domain.base.enums import Role
from scheduler.settings import Settings
from scheduler.storage.hours.intake import Intake
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import PLOVER

AT = datetime(2026, 10, 20, 7, 0, tzinfo=UTC)


@pytest.mark.long
def test_after_a_late_reading_none_is_said_until_the_ledger_is_derived(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first is the baseline, the next credited; behind a late one nothing is claimed, least of all a new baseline."""
    seconds = [100.0]
    monkeypatch.setattr("scheduler.actions.hours.readings.monotonic", lambda: seconds[0])
    context = open_context(Settings(database=str(tmp_path / "ship.db")), fixed_clock(AT))
    changes.put_vessel(
        context,
        Actor("test", "test", Role.ADMIN),
        VESSEL.validate_python(vessel_document(Run(PLOVER, 1, AT, 0.1))),
        if_new=True,
    )
    sender = Actor("key", "gateway", Role.COUNTER, PLOVER.vessel)
    with Intake(context.db, context.clock) as intake:
        door = ReadingDoor(context, intake)

        def verdict(hours_ago: float, value: float) -> object:
            at = (AT - timedelta(hours=hours_ago)).isoformat()
            body = {"readings": [{"counter": PLOVER.counter(0), "observed_at": at, "value": value}]}
            return post(door, intake, sender, body)["items"][0]["verdict"]

        assert verdict(9, 100) == "baseline"
        assert verdict(8, 101) == "credited"
        assert verdict(8.5, 100) is None
        assert verdict(7, 102) is None
        derive_vessel(context, PLOVER.vessel)
        seconds[0] += 2
        assert verdict(6, 103) == "credited"
        derive_vessel(context, PLOVER.vessel)
        door = ReadingDoor(context, intake)  # as after a new start: the state is the one stored
        assert verdict(5, 104) == "credited"
        assert verdict(4, 50) == "held: decrease"
    context.db.close()
