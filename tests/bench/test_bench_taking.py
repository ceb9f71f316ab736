"""A ship's day taken in at the office, readings and acts in one batch, and what is worked out after it: CPU of the process."""

import resource
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from time import process_time
from typing import Any

import pytest

from api.ics.writer import calendar_writer
from scheduler.actions.care.rounds import write_behind
from scheduler.actions.feed.refresh import renew
from scheduler.actions.hours.ledger import derive_vessel
from scheduler.actions.shore import taking
from scheduler.domain.shore.frame import pack
from tests.api.stage import TurnedClock, staged
from tests.office.ship import NOTE, Office, Ship, aboard, office_at
from tests.storage import stores

pytestmark = pytest.mark.bench
DAYS = 50
START_S = 1_800_000_000


@pytest.mark.parametrize("kind", stores.kinds())
def test_a_day_of_a_ship(kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Fifty days, each 24 readings of each of her counters and six acts, one batch a day; a thousand ships' day reckoned from it."""
    (tmp_path / "aboard").mkdir()
    with staged(tmp_path / "aboard") as stage:
        ship, rows = aboard(stage)
    newest: dict[str, int] = {row["id"]: 0 for row in rows["counter"]}
    for row in rows["reading"]:
        newest[row["counter_no"]] = max(newest[row["counter_no"]], row["value_milli"])
    with stores.ready_url(kind, tmp_path) as url, office_at(url, TurnedClock()) as office:
        office.send_all(ship)
        batches = _days(ship, newest)
        inside = _timed(monkeypatch)
        taken, derived, shown = [], [], []
        for day, batch in enumerate(batches, 1):
            office.clock.at = datetime.fromtimestamp(START_S + day * 86_400, UTC)
            taken.append(_spent(lambda batch=batch: _sent(office, batch)))  # type: ignore[misc]
            derived.append(_spent(lambda: derive_vessel(office.context, ship.vessel_id)))
            shown.append(_spent(lambda: _shown(office)))
        assert sum(taken[-10:]) < 3 * sum(taken[:10])  # what is there already costs nothing
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    after = _middle(derived) + _middle(shown)
    print(
        f"\n{kind}: a day's batch ({len(newest)} counters, {len(batches[0])} bytes packed) {_middle(inside):.1f} ms CPU to take, "
        f"{_middle(taken):.1f} ms with client and door; then its ledger {_middle(derived):.1f} ms, calendar and summary "
        f"{_middle(shown):.1f} ms; a thousand ships' day, reckoned: {_middle(inside):.0f} s and {after:.0f} s after it; {memory} MB"
    )


def _spent(act: Callable[[], object]) -> float:
    """Milliseconds of CPU that it takes."""
    began = process_time()
    act()
    return (process_time() - began) * 1000


def _middle(spent: list[float]) -> float:
    return sorted(spent)[len(spent) // 2]


def _timed(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """Milliseconds of CPU of each `take_frame` from now on."""
    inside: list[float] = []
    real = taking.take_frame

    def take_frame(*given: Any) -> taking.TakenSoFar:
        began = process_time()
        try:
            return real(*given)
        finally:
            inside.append((process_time() - began) * 1000)

    monkeypatch.setattr(taking, "take_frame", take_frame)
    return inside


def _sent(office: Office, batch: bytes) -> None:
    assert office.send(batch).status_code == 200


def _shown(office: Office) -> None:
    writer = calendar_writer("http://testserver")
    write_behind(office.context, lambda vessel_id: renew(office.context, writer, vessel_id))


def _days(ship: Ship, newest: dict[str, int]) -> list[bytes]:
    """A batch a day: a reading of each counter each hour, 14.4 h a day more, and six notes."""
    found, at_s = [], START_S
    for day in range(DAYS):
        first = len(ship.changes) + 1
        for hour in range(24):
            at_s += 3600
            rows = [
                {
                    "counter_no": one,
                    "at_s": at_s,
                    "value_milli": value + (at_s - START_S) // 6,
                    "received_s": at_s,
                    "skew_s": 0,
                }
                for one, value in newest.items()
            ]
            ship.change(*(("reading", "put", row) for row in rows), at_s=at_s)
            if hour < 6:
                ship.change(("handover", "put", {**NOTE, "number": day * 6 + hour + 1}), at_s=at_s)
        found.append(pack(ship.batch(first, sent_at=at_s)))
    return found
