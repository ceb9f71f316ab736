"""How many connections may be open, and how long each may keep the server waiting; the loop's clock is handed in."""

import asyncio
import logging
import resource
import socket
from collections.abc import Callable, Iterator
from contextlib import suppress

import pytest
import uvicorn
from starlette.types import Receive, Scope, Send

from api.server import connections as limits
from api.server.connections import Connections, Damped, protocol_with, room_for
from api.server.serving import server_for
from scheduler.settings import Settings


class TurnedLoop(asyncio.SelectorEventLoop):
    """An event loop whose seconds go on as always, and by a leap when a test says so."""

    leapt = 0.0

    def time(self) -> float:
        return super().time() + self.leapt


async def _echo(scope: Scope, receive: Receive, send: Send) -> None:
    """Reads the body to its end; answers with as many bytes as the path says."""
    more = True
    while more:
        message = await receive()
        if message["type"] == "http.disconnect":
            return
        more = message.get("more_body", False)
    many = int(scope["path"].strip("/") or 0)
    await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"%d" % many)]})
    await send({"type": "http.response.body", "body": b"x" * many})


class Site:
    """A server in the test's own loop, on loopback."""

    def __init__(self, loop: TurnedLoop, connections: Connections) -> None:
        self.loop = loop
        self.local = "127.0.0.1"
        self.server = uvicorn.Server(
            uvicorn.Config(
                _echo,
                http=protocol_with(connections),
                ws="none",
                log_config=None,
                lifespan="off",
                timeout_keep_alive=limits.IDLE_SECONDS,
            )
        )
        self.sock = socket.create_server(("127.0.0.1", 0))
        self.serving = loop.create_task(self.server._serve([self.sock]))

    async def up(self) -> None:
        while not self.server.started:
            await asyncio.sleep(0)

    async def open(self) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        return await asyncio.open_connection(*self.sock.getsockname()[:2], local_addr=(self.local, 0))

    async def let_pass(self, seconds: float) -> None:
        """Lets the loop's clock leap, and what is due then happen."""
        self.loop.leapt += seconds
        for _ in range(20):
            await asyncio.sleep(0)


@pytest.fixture
def loop() -> Iterator[TurnedLoop]:
    loop = TurnedLoop()
    yield loop
    loop.run_until_complete(loop.shutdown_asyncgens())
    loop.close()


def _on_site(loop: TurnedLoop, connections: Connections, act: Callable[[Site], object]) -> None:
    async def whole() -> None:
        site = Site(loop, connections)
        await site.up()
        try:
            await act(site)  # type: ignore[misc]
        finally:
            site.server.should_exit = site.server.force_exit = True
            await site.serving
            site.sock.close()

    loop.run_until_complete(asyncio.wait_for(whole(), 3_000))


HEAD = b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: 4\r\n\r\n"


async def _closed(reader: asyncio.StreamReader) -> bool:
    """Whether the other side has closed, with nothing said."""
    with suppress(ConnectionError):
        return await reader.read(1) == b""
    return True


def test_an_idle_connection_is_kept_longer_than_clients_keep_it_and_ended_cleanly(loop: TurnedLoop) -> None:
    """Just under the limit the next request is answered; after it the end is an end, no reset. Source: RFC 9112 section 9.6."""
    assert server_for(_echo, Settings()).config.timeout_keep_alive == limits.IDLE_SECONDS
    assert 5 < limits.IDLE_SECONDS < limits.HEAD_SECONDS, "httpx keeps an idle connection for 5 s"

    async def act(site: Site) -> None:
        reader, writer = await site.open()
        for _ in range(2):
            writer.write(b"GET /3 HTTP/1.1\r\nHost: a\r\n\r\n")
            assert (await reader.readuntil(b"xxx")).startswith(b"HTTP/1.1 200")
            await site.let_pass(limits.IDLE_SECONDS - 0.5)
        await site.let_pass(1)
        assert await reader.read() == b""
        writer.close()

    _on_site(loop, Connections(10, 10), act)


@pytest.mark.parametrize(
    ("sent", "seconds"),
    [
        pytest.param(b"", limits.HEAD_SECONDS, id="silent"),
        pytest.param(b"GET / HTTP/1.1\r\nHost:", limits.HEAD_SECONDS, id="half a head"),
        pytest.param(HEAD + b"ab", limits.BODY_SECONDS, id="half a body"),
    ],
)
def test_who_keeps_the_server_waiting_is_closed_and_not_before(loop: TurnedLoop, sent: bytes, seconds: float) -> None:
    """Just under the limit the request can still be finished; just over it the connection is gone."""

    async def act(site: Site) -> None:
        patient, late = await site.open(), await site.open()
        for _, writer in (patient, late):
            writer.write(sent)
        await site.let_pass(0)
        await asyncio.sleep(0.05)
        await site.let_pass(seconds - 0.5)
        patient[1].write((HEAD + b"abcd")[len(sent) :] if sent.startswith(b"POST") or not sent else b" a\r\n\r\n")
        assert (await patient[0].readline()).startswith(b"HTTP/1.1 200")
        await site.let_pass(limits._LOOK_SECONDS + 0.5)
        assert await _closed(late[0])
        for _, writer in (patient, late):
            writer.close()

    _on_site(loop, Connections(10, 10), act)


def test_a_head_that_trickles_is_closed_all_the_same(loop: TurnedLoop) -> None:
    """A byte every second does not win time: the head as a whole has ten seconds."""

    async def act(site: Site) -> None:
        reader, writer = await site.open()
        writer.write(b"GET / HTTP/1.1\r\nX: ")
        for _ in range(int(limits.HEAD_SECONDS) + 2):
            await asyncio.sleep(0.01)
            await site.let_pass(1)
            with suppress(ConnectionError):
                writer.write(b"x")
        assert await _closed(reader)
        writer.close()

    _on_site(loop, Connections(10, 10), act)


def test_a_body_that_goes_on_arriving_is_waited_for(loop: TurnedLoop) -> None:
    """A slow ship's network may take longer over a photo than one wait, as long as something comes."""

    async def act(site: Site) -> None:
        reader, writer = await site.open()
        writer.write(HEAD)
        for byte in (b"a", b"b", b"c", b"d"):
            await asyncio.sleep(0.01)
            await site.let_pass(limits.BODY_SECONDS - 1)
            writer.write(byte)
        assert (await reader.readline()).startswith(b"HTTP/1.1 200")
        writer.close()

    _on_site(loop, Connections(10, 10), act)


def test_an_answer_that_nobody_reads_is_given_up(loop: TurnedLoop) -> None:
    """Who asks for much and reads nothing holds neither the connection nor the memory for long."""

    async def act(site: Site) -> None:
        reader, writer = await site.open()
        writer.transport.pause_reading()  # type: ignore[attr-defined]
        writer.write(b"GET /50000000 HTTP/1.1\r\nHost: a\r\n\r\n")
        await asyncio.sleep(0.2)
        await site.let_pass(limits.ANSWER_SECONDS - 1)
        assert len(site.server.server_state.connections) == 1
        await site.let_pass(limits._LOOK_SECONDS + 1)
        assert not site.server.server_state.connections
        writer.close()
        reader.feed_eof()

    _on_site(loop, Connections(10, 10), act)


def test_an_address_has_its_share_and_what_is_over_hears_why(
    loop: TurnedLoop, caplog: pytest.LogCaptureFixture
) -> None:
    """The fifth of four is answered 503 with Retry-After; once one ends there is room; refusals are one line of log."""

    async def act(site: Site) -> None:
        held = [await site.open() for _ in range(4)]
        await asyncio.sleep(0.01)
        for _ in range(3):
            reader, writer = await site.open()
            told = (await reader.read()).decode()
            assert told.startswith("HTTP/1.1 503 ")
            assert "Retry-After: 5" in told
            head, _, body = told.partition("\r\n\r\n")
            assert f"Content-Length: {len(body)}" in head
            writer.close()
        held[0][1].close()
        await asyncio.sleep(0.01)
        reader, writer = await site.open()
        writer.write(HEAD + b"abcd")
        assert (await reader.readline()).startswith(b"HTTP/1.1 200")
        for _, one in (*held[1:], (reader, writer)):
            one.close()

    with caplog.at_level(logging.WARNING, "leadline"):
        _on_site(loop, Connections(10, 4), act)
    assert len([one for one in caplog.records if "connections were refused" in one.getMessage()]) == 1


def test_where_all_are_taken_an_idle_one_of_who_has_most_makes_room(loop: TurnedLoop) -> None:
    """Silent connections from many addresses shut nobody out; a request under way is never cut for another."""

    async def act(site: Site) -> None:
        greedy = [await site.open() for _ in range(3)]
        site.local = "127.0.0.2"
        modest = await site.open()
        await asyncio.sleep(0.01)
        greedy[0][1].write(b"GET / HTTP")
        await asyncio.sleep(0.01)
        site.local = "127.0.0.3"
        new = await site.open()
        new[1].write(HEAD + b"abcd")
        assert (await new[0].readline()).startswith(b"HTTP/1.1 200")
        assert await _closed(greedy[1][0])
        greedy[0][1].write(b"/1.1\r\nHost: a\r\n\r\n")
        for one, sent in ((greedy[0], b""), (greedy[2], HEAD + b"abcd"), (modest, HEAD + b"abcd")):
            one[1].write(sent)
            assert (await one[0].readline()).startswith(b"HTTP/1.1 200")
        for _, one in (*greedy, modest, new):
            one.close()

    _on_site(loop, Connections(4, 4), act)


def test_a_named_proxy_has_no_share_of_its_own_but_all_have_a_limit(loop: TurnedLoop) -> None:
    """It stands for many people; the limit in all holds for it too."""

    async def act(site: Site) -> None:
        held = [await site.open() for _ in range(6)]
        for _, one in held:
            one.write(HEAD)
        await asyncio.sleep(0.01)
        assert len(site.server.server_state.connections) == 6
        reader, writer = await site.open()
        assert (await reader.readline()).startswith(b"HTTP/1.1 503")
        for _, one in (*held, (reader, writer)):
            one.close()

    _on_site(loop, Connections(6, 4, lambda address: address == "127.0.0.1"), act)


def test_a_warning_that_comes_a_thousand_times_is_written_once_a_minute(caplog: pytest.LogCaptureFixture) -> None:
    """The first at once, then one a minute that says how many there were."""
    damped = Damped("times, the last from")
    with caplog.at_level(logging.WARNING, "leadline"):
        for tenth in range(1_000):
            damped.note(tenth / 10, "somewhere")
    assert [one.getMessage() for one in caplog.records] == [
        "1 times, the last from somewhere",
        "600 times, the last from somewhere",
    ]


def test_errors_of_accepting_are_damped_and_others_are_not(loop: TurnedLoop, caplog: pytest.LogCaptureFixture) -> None:
    """What asyncio says when files run out, as it says it, is one line; any other trouble is written as ever."""
    limits.damp_accept_errors(loop)
    full = {"message": "socket.accept() out of system resource", "exception": OSError(24, "Too many open files")}
    with caplog.at_level(logging.WARNING):
        for _ in range(500):
            loop.call_exception_handler(full)
        loop.call_exception_handler({"message": "another trouble", "exception": OSError(5, "broken")})
    assert [one.name for one in caplog.records] == ["leadline", "asyncio"]
    assert "Too many open files" in caplog.text


@pytest.mark.parametrize(
    ("soft", "hard", "room", "raised"),
    [
        (1024, 4096, 1000, 1428),
        (1428, 4096, 1000, 1428),
        (1427, 1427, 999, 1427),
        (256, 512, 84, 512),
        (64, 64, 1, 64),
    ],
)
def test_no_more_is_accepted_than_files_can_be_opened(
    monkeypatch: pytest.MonkeyPatch, soft: int, hard: int, room: int, raised: int
) -> None:
    """The limit on open files is raised as far as it may be; the database always finds one left."""
    now = [soft, hard]
    monkeypatch.setattr(resource, "getrlimit", lambda _: tuple(now))
    monkeypatch.setattr(resource, "setrlimit", lambda _, both: now.__setitem__(slice(None), list(both)))
    assert room_for(1000) == room
    assert now[0] == raised
