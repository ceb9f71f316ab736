"""Readings and calendar over HTTP on real servers, against a bare endpoint in the same run, by wrk (not the bottleneck)."""

import json
import re
import socket
import subprocess
import sys
import textwrap
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from statistics import median

import httpx
import pytest

from scheduler.actions import feed, fleet, people
from scheduler.actions.actor import Actor
from scheduler.actions.documents import VESSEL
from scheduler.domain.words import Role
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import AVOCET

pytestmark = pytest.mark.bench
ROUNDS, SECONDS = 3, 2

BARE = textwrap.dedent(
    """
    import sys
    import uvicorn
    from fastapi import FastAPI, Request
    from fastapi.responses import JSONResponse, Response
    app = FastAPI()
    body = open(sys.argv[2], "rb").read()
    @app.post("/api/v1/readings")
    async def post(request: Request):
        return JSONResponse({"items": len((await request.json())["readings"])}, 207)
    @app.get("/feed")
    async def get():
        return Response(body, media_type="text/calendar")
    @app.get("/none")
    async def none():
        return Response(status_code=304)
    uvicorn.run(app, port=int(sys.argv[1]), log_level="error", access_log=False)
    """
)
POST = textwrap.dedent(
    """
    local thread_no = 0
    function setup(thread) thread:set("no", thread_no); thread_no = thread_no + 1 end
    local n = 0
    function init(args) math.randomseed(no + 1) end
    function request()
      n = n + 1
      local at = BASE + no * 4000000 + ROUND * 400000 + n
      local when = os.date("!%Y-%m-%dT%H:%M:%SZ", at)
      local body = string.format('{"readings":[{"counter":"%s","observed_at":"%s","value":0}]}', COUNTER, when)
      return wrk.format("POST", "/api/v1/readings", HEADERS, body)
    end
    """
)


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


def _wrk(url: str, path: str, *extra: str) -> float:
    out = subprocess.run(
        ["wrk", "-t2", "-c8", f"-d{SECONDS}s", *extra, f"{url}{path}"], capture_output=True, text=True, check=True
    ).stdout
    assert "Non-2xx" not in out or "/none" in path or "If-None-Match" in " ".join(extra), out
    found = re.search(r"Requests/sec:\s+([\d.]+)", out)
    assert found is not None, out
    return float(found[1])


def test_over_http_against_a_bare_endpoint(tmp_path: Path) -> None:
    """Interleaved rounds; prints ratios for single durable posts, the cached feed and its 304."""
    from api.app import open_house
    from api.pen import PEN
    from scheduler.settings import Settings

    house = open_house(Settings(database=str(tmp_path / "ship.db")))
    me = Actor("bench", "bench", Role.ADMIN)
    run = Run(AVOCET, 1, datetime.now(UTC), 0.1)
    fleet.put_vessel(house, me, VESSEL.validate_python(vessel_document(run)), if_new=True)
    key = people.add_key(house, me, role=Role.COUNTER, label="bench", vessel_id=AVOCET.vessel)
    people.add_person(house, me, person_id="chief", name="C", rank="chief", role=Role.CHIEF, vessel_id=AVOCET.vessel)
    token = people.make_feed_token(house, me, person_id="chief", vessel_id=AVOCET.vessel)
    kept = feed.refresh(house, PEN("http://127.0.0.1"), AVOCET.vessel)
    house.db.close()
    (tmp_path / "body.ics").write_bytes(kept.body)
    (tmp_path / "bare.py").write_text(BARE)
    ours_port, bare_port = _free_port(), _free_port()
    ours_command = [
        sys.executable,
        "-m",
        "api",
        "--database",
        str(tmp_path / "ship.db"),
        "serve",
        "--port",
        str(ours_port),
    ]
    bare_command = [sys.executable, str(tmp_path / "bare.py"), str(bare_port), str(tmp_path / "body.ics")]
    ratios: dict[str, list[float]] = {"single posts": [], "cached feed": [], "304": []}
    with _up(ours_command, ours_port) as ours, _up(bare_command, bare_port) as bare:
        for number in range(ROUNDS):
            script = tmp_path / f"post{number}.lua"
            head = (
                f"BASE = 1577836800\nROUND = {number}\nCOUNTER = {json.dumps(AVOCET.counter(0))}\n"
                f'HEADERS = {{["Content-Type"] = "application/json", ["Authorization"] = "Bearer {key}"}}\n'
            )
            script.write_text(head + POST)
            posts = _wrk(ours, "", "-s", str(script))
            ratios["single posts"].append(posts / _wrk(bare, "", "-s", str(script)))
            path = f"/cal/{token}/plan.ics"
            ratios["cached feed"].append(_wrk(ours, path) / _wrk(bare, "/feed"))
            tag = ("-H", f"If-None-Match: {kept.etag}")
            ratios["304"].append(_wrk(ours, path, *tag) / _wrk(bare, "/none"))
            print(f"\nround {number}: {posts:.0f} durable single posts a second")
    for what, found in ratios.items():
        print(f"{what}: {median(found):.2f} of the bare endpoint ({min(found):.2f} to {max(found):.2f})")
    assert all(median(found) > 0 for found in ratios.values())
