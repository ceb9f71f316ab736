"""A spare pump that rotates through two positions over a year: hours go with the serial number, ashore and back, on both databases."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from api.pages.shared.layout import STATIC
from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.plant_state.load import PlantState, plant_state
from scheduler.actions.vessel import changes
from scheduler.actions.vessel.document import VESSEL
from scheduler.domain.base.enums import Role, Subject
from scheduler.domain.vessel.document import Pump, Stay, Vessel
from scheduler.settings import Settings
from tests.end_to_end.live import TurnedClock
from tests.storage.stores import kinds, store
from tests.ticks import store_now

BEGAN = datetime(2026, 1, 1, tzinfo=UTC)
DAY = timedelta(days=1)
FIRST, SECOND, END = 120, 240, 365
"""Days after the beginning: the spare takes VP1, what was there takes VP2, and now."""
RATE = {"gull-vp1": 10, "gull-vp2": 8}
OFFICE = Actor("office", "office", Role.ADMIN)


def shaped(*stays: tuple[str, str, int, int | None], opening: dict[str, float]) -> Vessel:
    """The example ship with a third pump and these stays (pump, position, from and to day)."""
    ship = VESSEL.validate_json((STATIC / "example-ship.json").read_bytes())
    (plant,) = ship.plants
    seen: set[str] = set()
    made = []
    for pump, position, first, last in stays:
        own = opening[pump] if pump not in seen else 0.0
        seen.add(pump)
        to_at = None if last is None else BEGAN + last * DAY
        made.append(
            Stay(pump=pump, position=position, from_at=BEGAN + first * DAY, to_at=to_at, opening_running_hours=own)
        )
    spare = Pump(id="gull-pump-c", serial="DG-3", rated_swept_m3_per_h=60.0)
    return replace(ship, plants=(replace(plant, pumps=(*plant.pumps, spare), stays=tuple(made)),))


OPENING = {"gull-pump-a": 8100.0, "gull-pump-b": 7400.0, "gull-pump-c": 500.0}
A, B, C = "gull-pump-a", "gull-pump-b", "gull-pump-c"
VP1, VP2 = "gull-vp1", "gull-vp2"


def hours(now: PlantState) -> dict[str, float]:
    """Running hours by pump, from the ledger."""
    return {pump: now.hours[Subject.PUMP, pump].seconds / 3600 for pump in (A, B, C)}


@pytest.mark.long
@pytest.mark.parametrize("kind", kinds())
def test_a_spare_brings_its_hours_back_with_it(kind: str, tmp_path: Path) -> None:
    """The document is put anew at each exchange, with its reason; each serial has what it ran wherever it stood."""
    with store(kind, tmp_path) as database:
        clock = TurnedClock()
        context = Context(database, clock, Settings(horizon_days=180))
        clock.at = BEGAN
        changes.put_vessel(context, OFFICE, shaped((A, VP1, 0, None), (B, VP2, 0, None), opening=OPENING), if_new=True)
        told: list[dict[str, float]] = []
        for version, until, stays in (
            (1, FIRST, ((A, VP1, 0, FIRST), (B, VP2, 0, None), (C, VP1, FIRST, None))),
            (2, SECOND, ((A, VP1, 0, FIRST), (B, VP2, 0, SECOND), (C, VP1, FIRST, None), (A, VP2, SECOND, None))),
            (3, END, None),
        ):
            begin = {1: 0, 2: FIRST, 3: SECOND}[version]
            readings = [
                {
                    "counter": f"{position}-hours",
                    "observed_at": (BEGAN + day * DAY).isoformat(),
                    "value": 1000 + rate * day,
                }
                for day in range(begin, until + 1)
                for position, rate in RATE.items()
            ]
            clock.at = BEGAN + until * DAY
            for n in range(0, len(readings), 500):
                answer = store_now(context, Actor("gw", "gw", Role.COUNTER, "demo-gull"), readings[n : n + 500])
                assert {one["status"] for one in answer["items"]} <= {"stored", "duplicate"}
            if stays is not None:
                ship = shaped(*stays, opening=OPENING)
                changes.put_vessel(context, OFFICE, ship, if_match=version, reason="exchanged for the spare")
            told.append(hours(plant_state(context, "demo-gull", "gull-plant")))
        first, second, end = told
        assert first == pytest.approx({A: 8100 + 10 * FIRST, B: 7400 + 8 * FIRST, C: 500})
        ran = SECOND - FIRST
        assert second == pytest.approx({A: first[A], B: 7400 + 8 * SECOND, C: 500 + 10 * ran})
        rest = END - SECOND
        assert end == pytest.approx({A: first[A] + 8 * rest, B: second[B], C: 500 + 10 * (ran + rest)})
        now = plant_state(context, "demo-gull", "gull-plant")
        overhauls = {job.job_id.subject: job for job in now.jobs if job.job_id.kind == "overhaul" and job.first}
        assert overhauls.keys() == {A, C}  # what stands ashore is not planned
        assert overhauls[A].position == VP2
        assert overhauls[A].running_seconds_left == (3900 + 8000) * 3600 - round(end[A] * 3600)
