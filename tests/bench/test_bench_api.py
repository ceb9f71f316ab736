"""Readings over HTTP on real servers, each against something bare in the same run.

The load comes from wrk, so that it is not the bottleneck. Ratios are printed.
"""

import json
import re
import socket
import sqlite3
import subprocess
import sys
import textwrap
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from statistics import median

import httpx
import pytest

from scheduler.actions import fleet, people
from scheduler.actions.actor import Actor
from scheduler.actions.documents import VESSEL
from scheduler.domain.words import Role
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import AVOCET

pytestmark = pytest.mark.bench
ROUNDS, SECONDS, BATCHES = 3, 1, 12
LOOSE = 0.02
"""A ratio below this is no noise of a busy machine: something waits that should not."""

BARE = textwrap.dedent(
    """
    import sys
    import uvicorn
    from fastapi import FastAPI, Request
    from fastapi.responses import JSONResponse
    app = FastAPI()
    @app.post("/api/v1/readings")
    async def post(request: Request):
        return JSONResponse({"items": len((await request.json())["readings"])}, 207)
    uvicorn.run(app, port=int(sys.argv[1]), log_level="error", access_log=False)
    """
)
POST = textwrap.dedent(
    """
    local n = 0
    function request()
      local counter = COUNTERS[n % #COUNTERS + 1]
      local at = BASE + 60 * math.floor(n / #COUNTERS)
      n = n + 1
      local when = os.date("!%Y-%m-%dT%H:%M:%SZ", at)
      local body = string.format('{"readings":[{"counter":"%s","observed_at":"%s","value":0}]}', counter, when)
      return wrk.format("POST", "/api/v1/readings", HEADERS, body)
    end
    """
)
"""Each counter in turn, a minute on at every turn, as gateways post: in order, each post new."""


def _free_port() -> int:
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


@contextmanager
def _up(command: list[str], port: int) -> Iterator[str]:
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    url = f"http://127.0.0.1:{port}"
    try:
        for _ in range(400):
            try:
                httpx.get(url, timeout=1)
                break
            except httpx.TransportError:
                time.sleep(0.05)
        yield url
    finally:
        child.terminate()
        child.wait(20)


@dataclass(frozen=True, slots=True)
class Pair:
    """Our server and a bare one; a key for counters, a folder for scripts."""

    ours: str
    bare: str
    key: str
    folder: Path

    def script(self, number: int) -> str:
        """A wrk script whose readings are new in each round."""
        counters = ", ".join(json.dumps(AVOCET.counter(place)) for place in range(len(AVOCET.pumps)))
        head = (
            f"BASE = {1577836800 + number * 30_000_000}\nCOUNTERS = {{{counters}}}\n"
            f'HEADERS = {{["Content-Type"] = "application/json", ["Authorization"] = "Bearer {self.key}"}}\n'
        )
        file = self.folder / f"post{number}.lua"
        file.write_text(head + POST)
        return str(file)


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Pair]:
    """Both servers up, each a process of its own."""
    from api.app import open_house
    from scheduler.settings import Settings

    folder = tmp_path_factory.mktemp("bench")
    house = open_house(Settings(database=str(folder / "ship.db")))
    me = Actor("bench", "bench", Role.ADMIN)
    run = Run(AVOCET, 1, datetime.now(UTC), 0.1)
    fleet.put_vessel(house, me, VESSEL.validate_python(vessel_document(run)), if_new=True)
    key = people.add_key(house, me, role=Role.COUNTER, label="bench", vessel_id=AVOCET.vessel)
    house.db.close()
    (folder / "bare.py").write_text(BARE)
    serve = ["-m", "api", "--database", str(folder / "ship.db"), "serve", "--port"]
    ours_port, bare_port = _free_port(), _free_port()
    ours_command = [sys.executable, *serve, str(ours_port)]
    bare_command = [sys.executable, str(folder / "bare.py"), str(bare_port)]
    with _up(ours_command, ours_port) as ours, _up(bare_command, bare_port) as bare:
        yield Pair(ours, bare, key, folder)


def _wrk(url: str, path: str, *extra: str) -> float:
    """Answers a second, by 8 kept connections; every one must be a success."""
    command = ["wrk", "-t1", "-c8", f"-d{SECONDS}s", *extra, f"{url}{path}"]
    out = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    assert "Non-2xx" not in out, out
    found = re.search(r"Requests/sec:\s+([\d.]+)", out)
    assert found is not None, out
    return float(found[1])


def _say(what: str, ours: list[float], bare: list[float]) -> None:
    ratios = [one / other for one, other in zip(ours, bare, strict=True)]
    print(
        f"\n{what}: {median(ratios):.2f} of the bare endpoint ({min(ratios):.2f} to {max(ratios):.2f}); "
        f"{median(ours):.0f} against {median(bare):.0f} a second"
    )
    assert median(ratios) > LOOSE


def test_single_posts(pair: Pair) -> None:
    """Each durable when it is answered, against an endpoint that stores nothing; rounds in turn, ratios printed."""
    ours, bare = [], []
    for number in range(ROUNDS):
        script = pair.script(number)
        ours.append(_wrk(pair.ours, "", "-s", script))
        bare.append(_wrk(pair.bare, "", "-s", script))
    _say("single posts", ours, bare)


def test_batches(pair: Pair) -> None:
    """Batches of 1000 over one kept connection, against executemany of the same rows on SQLite at the same settings."""
    raw = sqlite3.connect(pair.folder / "raw.db", isolation_level=None)
    raw.execute("PRAGMA journal_mode = WAL")
    raw.execute("PRAGMA synchronous = FULL")
    raw.execute("CREATE TABLE r (c INTEGER, at INTEGER, v INTEGER, got INTEGER, PRIMARY KEY (c, at)) WITHOUT ROWID")
    counter = AVOCET.counter(1)
    ours, plain = [], []
    with httpx.Client(base_url=pair.ours, headers={"Authorization": f"Bearer {pair.key}"}) as client:
        for batch in range(BATCHES):
            first = 946684800 + batch * 60_000
            instants = [first + 60 * n for n in range(1000)]
            items = [
                {"counter": counter, "observed_at": f"{datetime.fromtimestamp(at, UTC):%Y-%m-%dT%H:%M:%SZ}", "value": 0}
                for at in instants
            ]
            body = json.dumps({"readings": items})
            began = time.perf_counter()
            answer = client.post("/api/v1/readings", content=body, headers={"Content-Type": "application/json"})
            ours.append(time.perf_counter() - began)
            assert {item["status"] for item in answer.json()["items"]} == {"stored"}
            began = time.perf_counter()
            raw.execute("BEGIN IMMEDIATE")
            raw.executemany("INSERT INTO r VALUES (1, ?, 0, 0)", [(at,) for at in instants])
            raw.execute("COMMIT")
            plain.append(time.perf_counter() - began)
    raw.close()
    print(
        f"\nbatches of 1000 over HTTP: {median(plain) / median(ours):.2f} of raw executemany; "
        f"{1000 / median(ours):.0f} readings a second against {1000 / median(plain):.0f}"
    )
