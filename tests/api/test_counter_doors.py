"""The doors of a counter: how it counts when, what people recorded, undo, and the hours of each day."""

from datetime import timedelta
from typing import Any

import pytest

from scheduler.domain.base.enums import Role
from seed_fleet.ships import PLOVER
from tests.api.stage import AT, Stage, stamp

HERE = f"/api/v1/counters/{PLOVER.counter(0)}"


def told(stage: Stage, **event: Any) -> Any:
    return stage.ask("POST", f"{HERE}/events", json={"at": stamp(AT - timedelta(hours=1)), "reason": "walked", **event})


def test_a_counter_shows_its_scales_and_what_was_recorded(fresh: Stage) -> None:
    """R15, R16: each stretch with its scale, each event with who and whether it counts; a wrong one is refused in words; an
    undo comes once and takes the scale back."""
    shown = fresh.ask("GET", HERE).json()
    value = shown["newest_value"]
    assert (shown["scales"], shown["events"]) == (
        [{"from": None, "to": None, "seconds_per_count": 3600, "modulus": None, "resolution": 1.0}],
        [],
    )
    assert told(fresh, kind="rescale", seconds_per_count=0, new_first=1).status_code == 422
    assert told(fresh, kind="rescale", seconds_per_count=60, new_first=1, scale=60).status_code == 422
    assert told(fresh, kind="rescale", seconds_per_count=60, modulus=100, new_first=100).status_code == 422
    done = told(fresh, kind="rescale", seconds_per_count=60, old_final=value, new_first=value * 60, modulus=10**9)
    assert done.status_code == 201, done.text
    shown = fresh.ask("GET", HERE).json()
    assert [(s["seconds_per_count"], s["modulus"]) for s in shown["scales"]] == [(3600, None), (60, 10**9)]
    assert shown["seconds_per_count"] == 60
    (event,) = shown["events"]
    assert (event["kind"], event["state"], event["new_first"], event["seconds_per_count"]) == (
        "rescale",
        "counts",
        value * 60,
        60,
    )
    path = f"{HERE}/events/{event['id']}/undo"
    assert fresh.ask("POST", path, json={"reason": " "}).status_code == 422
    assert fresh.ask("POST", path, json={"reason": "wrong counter"}).status_code == 201
    assert fresh.ask("POST", path, json={"reason": "wrong counter"}).status_code == 409
    assert fresh.ask("GET", HERE).json()["seconds_per_count"] == 3600


def test_hours_of_each_day(fresh: Stage) -> None:
    """R19: a day in a gap of more than 48 h is marked; a day not reached by a reading is not known; one that is, adds up. A
    number of days out of reason is refused."""
    for days in (0, 1101, "x"):
        assert fresh.ask("GET", f"/api/v1/plants/plover-plant/hours/daily?days={days}").status_code == 422
    newest = fresh.ask("GET", HERE).json()["newest_value"]
    fresh.clock.at = AT + timedelta(days=5)
    late = {"counter": PLOVER.counter(0), "observed_at": stamp(fresh.clock.at), "value": newest + 60}
    assert fresh.post(late).json()["items"][0]["status"] == "stored"
    book = fresh.ask("GET", "/api/v1/plants/plover-plant/hours/daily?days=8", role=Role.ENGINEER).json()
    first, second = book["positions"][:2]
    assert [day["interpolated"] for day in first["days"]] == [False] * 3 + [True] * 5
    assert sum(day["running_hours"] for day in first["days"][4:]) == pytest.approx(48, abs=0.1)
    assert [day["running_hours"] is None for day in second["days"]] == [False] * 3 + [True] * 5
    assert first["hours_as_of"] == stamp(fresh.clock.at)
    pump = next(line for line in book["pumps"] if line["pump"] == "plover-pump-a")
    assert [day["running_hours"] for day in pump["days"]] == [day["running_hours"] for day in first["days"]]
