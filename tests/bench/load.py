"""Load for the benches: wrk, which is not the bottleneck, and free ports for the servers it is put on."""

import os
import re
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx

SHORT = os.environ.get("LEADLINE_TEST_BENCH") == "short"
"""CI's form: seconds each, to see that every bench works; whole on demand."""
LEEWAY = 4 if SHORT else 1
"""By how much a bound on speed is loosened in the short form, where few rounds are made beside other work."""
PATIENCE = 180
"""Seconds a server may take to come up on a machine that has much else to do."""


def free_port() -> int:
    """A port nobody listens on now."""
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


def wrk(url: str, *extra: str, clients: int = 8, seconds: int = 1) -> tuple[float, int]:
    """Answers a second over kept connections, and how many there were in all; every one must be a success."""
    command = ["wrk", "-t1", f"-c{clients}", f"-d{seconds}s", *extra, url]
    out = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    assert "Non-2xx" not in out, out
    rate, done = (re.search(pattern, out) for pattern in (r"Requests/sec:\s+([\d.]+)", r"(\d+) requests in"))
    assert rate is not None, out
    assert done is not None, out
    return float(rate[1]), int(done[1])


@dataclass(frozen=True, slots=True)
class Server:
    """A serving process."""

    url: str
    pid: int

    def cpu_seconds(self) -> float:
        """CPU time of the process so far. Source: proc(5), /proc/pid/stat, fields 14 and 15."""
        fields = Path(f"/proc/{self.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def rates(self, path: str, *extra: str) -> tuple[float, float]:
        """Requests a second of a short run, and requests a second of CPU time in it."""
        before, began = self.cpu_seconds(), time.monotonic()
        rate, _ = wrk(f"{self.url}{path}", *extra)
        return rate, rate * (time.monotonic() - began) / (self.cpu_seconds() - before)


@contextmanager
def serving(*command: str, port: int) -> Iterator[Server]:
    """The Python command as a process, once it answers; one that ends or stays silent fails with what it said."""
    with tempfile.TemporaryFile() as said:
        child = subprocess.Popen([sys.executable, *command], stdout=subprocess.DEVNULL, stderr=said)
        url = f"http://127.0.0.1:{port}"
        try:
            until = time.monotonic() + PATIENCE
            while True:
                try:
                    httpx.get(url, timeout=5)
                    break
                except httpx.TransportError:
                    if child.poll() is not None or time.monotonic() > until:
                        said.seek(0)
                        tail = said.read()[-2000:].decode(errors="replace")
                        raise AssertionError(f"no answer from {command} (ended with {child.poll()}): {tail}") from None
                    time.sleep(0.05)
            yield Server(url, child.pid)
        finally:
            child.terminate()
            child.wait(60)


def peak_mb() -> float:
    """Most memory this process had. Not getrusage: its peak is that of the process that started this one, if larger.

    Source: proc(5), the file /proc/pid/status, VmHWM.
    """
    line = next(one for one in Path("/proc/self/status").read_text().splitlines() if one.startswith("VmHWM"))
    return int(line.split()[1]) / 1024
