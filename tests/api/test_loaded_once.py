"""An action and a turn of the tick read a plant's state once."""

from collections import Counter
from datetime import timedelta

import pytest

from scheduler.actions.plant_state import load
from tests.api.stage import Stage, stamp
from tests.ticks import keep_up

KEY = "standby_start:plover-plant:1"
API = "/api/v1"


@pytest.fixture
def read(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """How often what is stored of each plant was read, by plant."""
    found, real = Counter[str](), load.read_plant

    def counting(session, vessel_id, plant_id, at, event_kinds):  # type: ignore[no-untyped-def]
        found[plant_id] += 1
        return real(session, vessel_id, plant_id, at, event_kinds)

    monkeypatch.setattr(load, "read_plant", counting)
    return found


def test_a_close_reads_the_plant_once(fresh: Stage, read: Counter[str]) -> None:
    """And nothing of another plant."""
    body = {"done_at": stamp(fresh.clock.at), "done_by": "R. Duarte", "test": "none"}
    answer = fresh.ask("POST", f"{API}/jobs/{KEY}/close", json=body, headers={"Idempotency-Key": "1"})
    assert answer.status_code == 200, answer.text
    assert read == {"plover-plant": 1}


def test_a_turn_of_the_tick_reads_each_plant_once(fresh: Stage, read: Counter[str]) -> None:
    """With a reading to derive and calendars to write; with nothing behind it reads none."""
    state = fresh.client.app.state  # type: ignore[attr-defined]
    keep_up(state.context, state.refresh)
    fresh.clock.at += timedelta(hours=4)
    counter = fresh.runs["demo-plover"].ship.counter(0)
    assert fresh.post({"counter": counter, "observed_at": stamp(fresh.clock.at), "value": 10**4}).status_code == 207
    read.clear()
    keep_up(state.context, state.refresh)
    assert read == {"plover-plant": 1}
    read.clear()
    keep_up(state.context, state.refresh)
    assert read == {}
