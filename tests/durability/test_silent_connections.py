"""Connections that say nothing stop nobody else, and fill no disk with log."""

import http.client
import os
import resource
import socket
import subprocess
import sys
from contextlib import ExitStack, closing, suppress
from pathlib import Path

import pytest

from tests.end_to_end.automation import free_port

pytestmark = pytest.mark.long
SILENT, FILES = 1_100, 1_024


def _answers(port: int) -> bool:
    with suppress(OSError), closing(http.client.HTTPConnection("127.0.0.1", port, timeout=20)) as asked:
        asked.request("GET", "/livez")
        return asked.getresponse().status == 200
    return False


@pytest.mark.parametrize("addresses", [1, 8])
def test_more_silent_connections_than_open_files_shut_nobody_out(tmp_path: Path, addresses: int) -> None:
    """1,100 of them on a server that may open 1,024 files, from one address or from eight: it answers, with little log."""
    port, log = free_port(), tmp_path / "log"
    own = {name: value for name, value in os.environ.items() if not name.startswith("LEADLINE_")}
    command = [sys.executable, "-m", "api", "--database", str(tmp_path / "ship.db"), "serve", "--port", str(port)]
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft < SILENT + 200:
        resource.setrlimit(resource.RLIMIT_NOFILE, (min(SILENT + 200, hard), hard))
    with ExitStack() as stack, log.open("wb") as out:
        child = subprocess.Popen(["prlimit", f"--nofile={FILES}", *command], env=own, stdout=out, stderr=out)
        stack.callback(child.wait, 20)
        stack.callback(child.terminate)
        while not _answers(port):
            assert child.poll() is None, log.read_text()
        for number in range(SILENT):
            one = stack.enter_context(closing(socket.socket()))
            one.settimeout(30)
            one.bind((f"127.0.1.{1 + number % addresses}", 0))
            one.connect(("127.0.0.1", port))
            if number % 100 == 99:
                assert _answers(port), f"nobody is answered after {number + 1}"
        assert all(_answers(port) for _ in range(20))
        assert log.stat().st_size < 50_000
