"""What a service manager is sent, over a real socket; what it asked to be sent to is taken out of the environment."""

import asyncio
import os
import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import uvicorn

from api.server.notify import NotifyingServer, ServiceManager
from api.server.serving import listen


@pytest.fixture(params=["path", "abstract"])
def manager_socket(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[socket.socket, str]]:
    """A socket such as systemd listens on, and how NOTIFY_SOCKET names it. Source: sd_notify(3)."""
    abstract = request.param == "abstract"
    name = f"@leadline-test-{os.getpid()}" if abstract else str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sock:
        sock.bind(f"\0{name[1:]}" if abstract else name)
        sock.settimeout(20)
        yield sock, name


async def _app(_scope: Any, _receive: Any, _send: Any) -> None:
    """Answers nothing; lifespan is off."""


def server_for(environment: dict[str, str], alive: bool = True) -> NotifyingServer:
    """A server that nobody asks anything."""
    config = uvicorn.Config(_app, lifespan="off", log_config=None)
    return NotifyingServer(config, ServiceManager(environment), lambda: alive)


def test_ready_alive_and_stopping_are_sent_in_this_order(manager_socket: tuple[socket.socket, str]) -> None:
    """READY once the server answers, then signs of life within the time asked for, STOPPING first of all at the end."""
    sock, name = manager_socket
    environment = {"NOTIFY_SOCKET": name, "WATCHDOG_USEC": "30000", "WATCHDOG_PID": str(os.getpid()), "OTHER": "stays"}
    server = server_for(environment)
    assert environment == {"OTHER": "stays"}
    listening = listen("127.0.0.1", 0)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    try:
        assert sock.recv(100).decode().splitlines()[0] == "READY=1"
        assert server.started
        assert sock.recv(100) == b"WATCHDOG=1"
        server.should_exit = True
        while (said := sock.recv(100).decode()) == "WATCHDOG=1":
            pass
        assert said.splitlines()[0] == "STOPPING=1"
    finally:
        server.should_exit = True
        thread.join(20)
        listening.close()


def test_a_server_that_does_not_live_gives_no_sign(manager_socket: tuple[socket.socket, str]) -> None:
    """The manager then ends and starts it anew, as it was asked to."""
    sock, name = manager_socket
    sock.setblocking(False)
    asyncio.run(server_for({"NOTIFY_SOCKET": name}, alive=False)._sign_of_life())
    with pytest.raises(BlockingIOError):
        sock.recv(100)
    asyncio.run(server_for({"NOTIFY_SOCKET": name})._sign_of_life())
    assert sock.recv(100) == b"WATCHDOG=1"


@pytest.mark.parametrize(
    ("environment", "seconds"),
    [
        ({"WATCHDOG_USEC": "60000000"}, 60),
        ({"WATCHDOG_USEC": "60000000", "WATCHDOG_PID": "1"}, None),
        ({"WATCHDOG_USEC": "0"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
        ({}, None),
    ],
)
def test_only_the_process_that_is_watched_gives_signs(environment: dict[str, str], seconds: float | None) -> None:
    """Source: sd_watchdog_enabled(3): microseconds, and the process they are meant for."""
    assert ServiceManager(environment).watchdog_seconds == seconds


@pytest.mark.parametrize("name", ["", "/no/such/socket"])
def test_a_manager_that_is_not_there_is_no_error(name: str) -> None:
    """Nothing is sent, and the server goes on."""
    assert ServiceManager({"NOTIFY_SOCKET": name} if name else {}).send("READY=1") is False
