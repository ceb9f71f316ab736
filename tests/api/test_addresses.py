"""Where links lead when nobody set base_url and the server listens on every address."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from api.server.app import make_app
from scheduler.actions.base.actor import Actor
from scheduler.actions.people import people
from scheduler.domain.base.enums import Role
from scheduler.settings import Settings
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import PLOVER
from tests.api.stage import AT, TurnedClock

SET_UP = Actor("set up", "set up", Role.ADMIN)


@pytest.fixture
def everywhere(tmp_path: Path) -> Iterator[tuple[TestClient, str]]:
    """A server on every address without base_url, and an engineer's key."""
    settings = Settings(database=str(tmp_path / "ship.db"), host="0.0.0.0")
    app = make_app(settings, clock=TurnedClock(), timers=False)
    with TestClient(app, raise_server_exceptions=False) as client:
        context = app.state.context
        people.add_person(context, SET_UP, person_id="o", name="O", rank="x", role=Role.OFFICE, vessel_id=None)
        key = people.add_key(context, SET_UP, role=Role.OFFICE, label="o", person_id="o")
        office = {"Authorization": f"Bearer {key}"}
        document = vessel_document(Run(PLOVER, 7, AT, 0.05))
        put = client.put(f"/api/v1/vessels/{PLOVER.vessel}", json=document, headers={**office, "If-None-Match": "*"})
        assert put.status_code == 201
        people.add_person(
            context, SET_UP, person_id="e", name="Demo hand", rank="x", role=Role.ENGINEER, vessel_id=PLOVER.vessel
        )
        yield (
            client,
            people.add_key(context, SET_UP, role=Role.ENGINEER, label="e", vessel_id=PLOVER.vessel, person_id="e"),
        )


@pytest.mark.long
def test_the_answer_names_the_host_that_was_asked(everywhere: tuple[TestClient, str]) -> None:
    """A calendar address made over HTTP leads where the asker already is; a Host that is none is refused."""
    client, key = everywhere
    asked = {"Authorization": f"Bearer {key}", "Host": "leadline.lan:8322", "Idempotency-Key": "1"}
    made = client.post("/api/v1/feeds", json={"vessel": PLOVER.vessel}, headers=asked)
    assert made.json()["address"].startswith("http://leadline.lan:8322/cal/")
    odd = client.post("/api/v1/feeds", json={"vessel": PLOVER.vessel}, headers={**asked, "Host": "a b/<x>"})
    assert odd.status_code == 400
    assert "base_url" in odd.json()["detail"]


@pytest.mark.long
def test_what_is_kept_for_others_carries_no_address(everywhere: tuple[TestClient, str]) -> None:
    """The stored calendar has events, none with a link: the Host of one asker must not be planted for all."""
    client, key = everywhere
    asked = {"Authorization": f"Bearer {key}", "Host": "planted.example", "Idempotency-Key": "1"}
    path = client.post("/api/v1/feeds", json={"vessel": PLOVER.vessel}, headers=asked).json()["address"]
    body = client.get(path.removeprefix("http://planted.example"), headers={"Host": "planted.example"}).text
    assert "BEGIN:VEVENT" in body
    assert "URL" not in body
    assert "planted" not in body
    assert "0.0.0.0" not in body
