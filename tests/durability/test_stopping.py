"""A server that is asked to stop answers what is under way, and ends with 0."""

import http.client
import signal
from contextlib import closing
from pathlib import Path

import pytest

from tests.durability.served import server

pytestmark = pytest.mark.long


@pytest.mark.parametrize("asked", [signal.SIGTERM, signal.SIGINT])
def test_asked_to_stop_it_ends_with_0_and_the_database_is_whole(tmp_path: Path, asked: signal.Signals) -> None:
    """By a service manager or by Ctrl-C, with a connection open; nothing is left in the write-ahead log."""
    with (
        server(str(tmp_path / "ship.db")) as (child, port),
        closing(http.client.HTTPConnection("127.0.0.1", port)) as one,
    ):
        one.request("GET", "/livez")
        assert one.getresponse().status == 200
        child.send_signal(asked)
        assert child.wait(30) == 0
    assert not (tmp_path / "ship.db-wal").exists()
