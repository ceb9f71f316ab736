"""Taking in a ship's day at the office: CPU of the process, the ship's readings and acts of a day in one batch."""

import resource
from pathlib import Path
from time import process_time

import pytest

from scheduler.domain.shore.frame import pack
from tests.api.stage import TurnedClock, staged
from tests.office.ship import NOTE, Ship, aboard, office_at
from tests.storage import stores

pytestmark = pytest.mark.bench
DAYS = 50


@pytest.mark.parametrize("kind", stores.kinds())
def test_a_day_of_a_ship(kind: str, tmp_path: Path) -> None:
    """Fifty days, each 24 readings of each of her counters and six acts, one batch a day; a thousand ships' day reckoned from it."""
    (tmp_path / "aboard").mkdir()
    with staged(tmp_path / "aboard") as stage:
        ship = aboard(stage)[0]
        counters = [row["id"] for row in aboard(stage)[1]["counter"]]
    with stores.ready_url(kind, tmp_path) as url, office_at(url, TurnedClock()) as office:
        office.send_all(ship)
        batches = _days(ship, counters)
        taken, began = [], process_time()
        for batch in batches:
            assert office.send(batch).status_code == 200
            taken.append(process_time())
        spent = [(after - before) * 1000 for before, after in zip([began, *taken], taken, strict=False)]
        middle = sorted(spent)[len(spent) // 2]
        assert sum(spent[-10:]) < 3 * sum(spent[:10])  # what is there already costs nothing
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    print(
        f"\n{kind}: a day's batch ({len(counters)} counters) {middle:.1f} ms CPU, {len(batches[0])} bytes packed; "
        f"a thousand ships' day {middle:.0f} s CPU reckoned; {memory} MB"
    )


def _days(ship: Ship, counters: list[str]) -> list[bytes]:
    found, at_s = [], 1_800_000_000
    for day in range(DAYS):
        first = len(ship.changes) + 1
        for hour in range(24):
            at_s += 3600
            rows = [
                {"counter_no": one, "at_s": at_s, "value_milli": at_s // 3, "received_s": at_s, "skew_s": 0}
                for one in counters
            ]
            ship.change(*(("reading", "put", row) for row in rows), at_s=at_s)
            if hour < 6:
                ship.change(("handover", "put", {**NOTE, "number": day * 6 + hour + 1}), at_s=at_s)
        found.append(pack(ship.batch(first)))
    return found
