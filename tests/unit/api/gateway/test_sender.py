"""Posting against a real server on loopback whose answers are spoilt: what is deleted, what waits, and how long."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import httpx
import pytest

from api.gateway.buffer import Buffer, open_buffer
from api.gateway.reading import CounterReading
from api.gateway.running import Gateway, Teller
from api.gateway.sender import Sender
from api.gateway.settings import parse
from tests.unit.seed_fleet.unwell import Unwell, serving

NOW = datetime(2026, 11, 25, 9, 33, tzinfo=UTC)
AT = 1_795_000_000


@pytest.fixture(scope="module")
def one_server() -> Iterator[Unwell]:
    with serving() as unwell:
        yield unwell


@pytest.fixture
def server(one_server: Unwell) -> Unwell:
    one_server.recover()
    return one_server


class Ship:
    """A gateway with nine readings in its buffer, on a clock the test turns."""

    def __init__(self, buffer: Buffer, client: httpx.Client) -> None:
        self.now, self.said, self.buffer = 0.0, list[str](), buffer
        settings = parse({"server": "http://x", "standard_input": True}, Path("/x/gateway.toml"))
        self.sender = Sender(client, buffer, lambda: NOW)
        tell = Teller(self.said.append, lambda: NOW, lambda: self.now)
        self.gateway = Gateway(
            settings=settings,
            buffer=buffer,
            sender=self.sender,
            clock=lambda: NOW,
            running=lambda: self.now,
            chance=lambda: 1.0,
            tell=tell,
        )
        buffer.add([CounterReading("vp1", AT + n, str(n)) for n in range(9)])


@pytest.fixture
def ship(server: Unwell, tmp_path: Path) -> Iterator[Ship]:
    buffer = open_buffer(tmp_path / "b.db")
    with httpx.Client(base_url=server.url, headers={"Authorization": "Bearer k1"}, trust_env=False) as client:
        yield Ship(buffer, client)
    buffer.close()


def test_raw_values_stamps_and_sending_time_go_out_with_the_key(server: Unwell, ship: Ship) -> None:
    """The body is what was read, digit for digit, in the order in which it was read."""
    ship.gateway.send_one()
    (body,) = server.bodies
    assert body["sent_at"] == "2026-11-25T09:33:00Z"
    assert body["readings"][1] == {"counter": "vp1", "observed_at": "2026-11-18T11:06:41Z", "value": 1}
    assert [item["value"] for item in body["readings"]] == list(range(9))
    assert server.headers[0]["authorization"] == "Bearer k1"
    assert not ship.buffer.any_waiting()


@pytest.mark.parametrize("how", ["503", "500", "429", "401", "403", "422", "507", "garbled", "cut", "nothing"])
def test_an_answer_that_lists_nothing_deletes_nothing(server: Unwell, ship: Ship, how: str) -> None:
    """Refused as a whole, garbled, torn or listing others: all nine wait, and the trouble is told."""
    server.spoil = [how]
    assert ship.gateway.send_one() is False
    assert ship.buffer.waiting() == 9
    assert "9 readings wait" in ship.said[-1]
    if how.isdigit():
        assert f"answers {how} The engine room says no" in ship.said[-1]
    assert ship.gateway.turn() > 0
    ship.now = 1000
    ship.gateway.turn()
    assert ship.buffer.waiting() == 0
    assert "takes readings again" in ship.said[-1]


def test_retry_after_is_honoured(server: Unwell, ship: Ship) -> None:
    """Asked for 7 s, not before 7 s: looked at by the turns of the loop, not by the clock on the wall."""
    server.always = "503"
    wait = ship.gateway.turn()
    assert 7 <= wait < 8
    ship.now = 6.9
    ship.gateway.turn()
    assert len(server.bodies) == 1
    ship.now = wait
    ship.gateway.turn()
    assert len(server.bodies) == 2


def test_waits_grow_while_the_server_is_away_and_start_anew_when_it_is_back(server: Unwell, ship: Ship) -> None:
    """Twice as long each time, up to five minutes."""
    server.always = "nothing"
    waits = []
    for _ in range(11):
        ship.gateway.send_one()
        waits.append(ship.gateway._send_at - ship.now)
        ship.now = ship.gateway._send_at
    assert waits[:4] == [1, 2, 4, 8]
    assert waits[-1] == 300
    assert len(ship.said) == 1, "said once within the hour, not at every try"
    server.always = ""
    ship.gateway.send_one()
    assert ship.gateway._failures == 0


def test_half_an_answer_settles_half(server: Unwell, ship: Ship) -> None:
    """The rest is sent again in the next post."""
    server.spoil = ["half"]
    assert ship.gateway.send_one() is True
    assert [one.value for one in ship.buffer.front(9)] == ["1", "3", "5", "7"]
    ship.gateway.send_one()
    assert [item["value"] for item in server.bodies[1]["readings"]] == [1, 3, 5, 7]


def test_too_large_is_halved_until_it_fits(server: Unwell, ship: Ship) -> None:
    """A proxy in between may allow less than the server."""
    server.most_items = 3
    while ship.gateway.send_one():
        pass
    assert [len(body["readings"]) for body in server.bodies][:3] == [9, 4, 2]
    assert ship.buffer.waiting() == 0


def test_conflicts_are_put_aside(server: Unwell, ship: Ship) -> None:
    """Not deleted, not sent for ever."""
    server.spoil = ["conflict"]
    ship.gateway.send_one()
    assert ship.buffer.waiting() == 0
    assert {one.status for one in ship.buffer.put_aside()} == {"conflict"}
    assert "9 readings were not taken and are put aside" in ship.said[-1]
