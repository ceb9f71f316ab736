"""Load for the benches: wrk, which is not the bottleneck, and free ports for the servers it is put on."""

import re
import socket
import subprocess
from pathlib import Path


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


def peak_mb() -> float:
    """Most memory this process had. Not getrusage: its peak is that of the process that started this one, if larger.

    Source: proc(5), the file /proc/pid/status, VmHWM.
    """
    line = next(one for one in Path("/proc/self/status").read_text().splitlines() if one.startswith("VmHWM"))
    return int(line.split()[1]) / 1024
