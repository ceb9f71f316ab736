"""The gateway against a server that fails in the ways servers fail: busy, cut off, half an answer, too large, refusing.

The server is a real one on loopback; clock, sleep and jitter are handed in, so nothing waits.
"""

import random
from collections.abc import Callable, Iterator
from datetime import UTC, datetime

import httpx
import pytest

from seed_fleet.counters import CounterValue, Event
from seed_fleet.gateway import (
    LONGEST_WAIT_SECONDS,
    DemoGateway,
    GaveUpError,
    Server,
    UnreachableError,
    post_event,
    send_vessel,
)
from tests.unit.seed_fleet.unwell import Unwell

NOW = datetime(2026, 11, 25, 9, 33, tzinfo=UTC)
READINGS = [CounterValue("vp1", f"2026-11-25T{hour:02}:00:00Z", 12000 + hour) for hour in range(9)]


@pytest.fixture
def waits() -> list[float]:
    return []


@pytest.fixture
def gateway(server: Unwell, waits: list[float]) -> Iterator[DemoGateway]:
    with httpx.Client(base_url=server.url, trust_env=False) as client:
        door = Server(client=client, sleep=waits.append, jitter=random.Random(1), tries=4)
        yield DemoGateway(door=door, key="k1", clock=lambda: NOW)


def test_raw_values_go_out_with_the_key_and_the_sending_time(server: Unwell, gateway: DemoGateway) -> None:
    """One post holds the raw integers with their own stamps, the sending time in UTC, and the counter's key."""
    gateway.take(READINGS[:2])
    gateway.send()
    assert server.bodies == [
        {
            "sent_at": "2026-11-25T09:33:00Z",
            "readings": [
                {"counter": "vp1", "observed_at": "2026-11-25T00:00:00Z", "value": 12000},
                {"counter": "vp1", "observed_at": "2026-11-25T01:00:00Z", "value": 12001},
            ],
        }
    ]
    assert server.headers[0]["authorization"] == "Bearer k1"
    assert (gateway.buffer, gateway.tally) == ({}, {"stored": 2})


@pytest.mark.parametrize("status", ["503", "429", "500", "507"])
def test_a_busy_server_is_asked_again_when_it_says(
    server: Unwell, gateway: DemoGateway, waits: list[float], status: str
) -> None:
    """Busy answers are tried again after at least what Retry-After says, and everything arrives once."""
    server.spoil = [status, status]
    gateway.take(READINGS)
    gateway.send()
    assert waits == [7.0, 7.0]
    assert gateway.tally == {"stored": 9}
    assert server.stored == {(r.counter, r.observed_at): r.value for r in READINGS}


def test_a_lost_answer_is_asked_for_again_and_comes_as_duplicates(
    server: Unwell, gateway: DemoGateway, waits: list[float]
) -> None:
    """A connection cut in the middle of the answer deletes nothing: the batch goes again, and comes back as known."""
    server.spoil = ["cut"]
    gateway.take(READINGS)
    gateway.send()
    assert len(waits) == 1
    assert gateway.tally == {"duplicate": 9}
    assert server.bodies[0]["readings"] == server.bodies[1]["readings"]


def test_only_what_the_answer_lists_is_deleted(server: Unwell, gateway: DemoGateway) -> None:
    """Readings that an answer leaves out stay in the buffer and go with the next post."""
    server.spoil = ["half"]
    gateway.take(READINGS)
    gateway.send()
    assert [len(body["readings"]) for body in server.bodies] == [9, 4]
    assert gateway.tally == {"stored": 9}


@pytest.mark.parametrize("how", ["nothing", "garbled"])
def test_an_answer_that_lists_nothing_deletes_nothing(server: Unwell, gateway: DemoGateway, how: str) -> None:
    """Unknown indexes, missing statuses or a garbled body leave the buffer whole, and end in a refusal to go on."""
    server.always = how
    gateway.take(READINGS)
    with pytest.raises(GaveUpError, match="list none of them"):
        gateway.send()
    assert len(gateway.buffer) == 9
    assert len(server.bodies) == 4


def test_out_of_reach_gives_up_in_words_and_keeps_the_buffer(
    server: Unwell, gateway: DemoGateway, waits: list[float]
) -> None:
    """After its tries the gateway says who did not answer and why, with growing waits between; later it all goes."""
    server.always = "503"
    gateway.take(READINGS)
    with pytest.raises(UnreachableError, match=r"after 4 tries \(last: 503 The engine room says no\)"):
        gateway.send()
    assert (len(gateway.buffer), len(waits)) == (9, 3)
    server.always = ""
    gateway.send()
    assert not gateway.buffer


def test_waits_grow_and_are_spread_but_stay_bounded() -> None:
    """Without a wish from the server each wait lies in the upper half of a doubling span, at most a minute."""
    waits: list[float] = []
    with httpx.Client(base_url="http://127.0.0.1:9", trust_env=False) as client:
        door = Server(client=client, sleep=waits.append, jitter=random.Random(3), tries=12)
        with pytest.raises(UnreachableError, match="ConnectError"):
            door.ask("POST", "/x", "k", {})
    spans = [min(0.5 * 2**n, LONGEST_WAIT_SECONDS) for n in range(11)]
    assert all(span / 2 <= wait <= span for wait, span in zip(waits, spans, strict=True))
    assert len(set(waits)) == 11


def test_a_batch_too_large_is_halved(server: Unwell, gateway: DemoGateway) -> None:
    """413 makes the batches smaller until they fit; nothing is lost and nothing comes twice."""
    server.most_items = 3
    gateway.take(READINGS)
    gateway.send()
    assert [len(body["readings"]) for body in server.bodies] == [9, 4, 2, 2, 2, 2, 1]
    assert gateway.tally == {"stored": 9}


@pytest.mark.parametrize("status", ["400", "401", "403", "422"])
def test_a_refusal_stops_at_once_with_the_servers_words(
    server: Unwell, gateway: DemoGateway, waits: list[float], status: str
) -> None:
    """A refused post, document or event is not tried again; the message carries status and detail."""
    server.always = status
    gateway.take(READINGS)
    event = Event(NOW, "vp3", "key-1", {"kind": "replacement"})
    attempts: list[Callable[[], object]] = [
        gateway.send,
        lambda: send_vessel(gateway.door, "k", {"id": "demo-plover"}),
        lambda: post_event(gateway.door, "k", event),
    ]
    for attempt in attempts:
        with pytest.raises(GaveUpError, match=f"{status} The engine room says no"):
            attempt()
    assert (len(server.bodies), waits, len(gateway.buffer)) == (3, [], 9)


def test_documents_are_new_ones_only_and_events_safe_to_send_twice(server: Unwell, gateway: DemoGateway) -> None:
    """A vessel is put with If-None-Match, one that is there already is left; an event carries its Idempotency-Key."""
    assert send_vessel(gateway.door, "office", {"id": "demo-plover"}) is True
    server.spoil = ["412"]
    assert send_vessel(gateway.door, "office", {"id": "demo-plover"}) is False
    server.spoil = ["503"]
    post_event(gateway.door, "engineer", Event(NOW, "vp3", "key-1", {"kind": "replacement"}))
    assert [h.get("if-none-match") for h in server.headers] == ["*", "*", None, None]
    assert [h.get("idempotency-key") for h in server.headers] == [None, None, "key-1", "key-1"]


def test_without_a_clock_no_sending_time_is_named(server: Unwell, gateway: DemoGateway) -> None:
    """A past enacted at a made-up instant goes out without sent_at, so that no server finds its clock wrong."""
    enacted = DemoGateway(door=gateway.door, key="k1", clock=None)
    enacted.take(READINGS[:1])
    enacted.send()
    assert list(server.bodies[0]) == ["readings"]
