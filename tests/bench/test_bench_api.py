"""Readings over HTTP on a real server, durable when answered, against something bare in the same run.

The load comes from wrk with bodies made beforehand, so that it is not the bottleneck. Rounds of ours and of what is bare
take turns; printed are the median ratio and its spread. Raw SQLite stores four whole numbers a row into a plain table of
its own, with no second index, foreign key or text, at the same settings on the same disk.
"""

import json
import sqlite3
import textwrap
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from statistics import median

import psycopg
import pytest

from scheduler.actions.base.actor import Actor
from scheduler.actions.people import people
from scheduler.actions.vessel import changes
from scheduler.actions.vessel.document import VESSEL
from scheduler.domain.base.enums import Role
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import AVOCET
from tests.bench.load import SHORT, free_port, serving, wrk
from tests.storage.stores import kinds, ready_url

pytestmark = pytest.mark.bench
ROUNDS, SECONDS = 1 if SHORT else 5, 1
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
    local requests, n, made = {}, 0, 0
    function init()
      for i = 1, COUNT do
        local items = {}
        for j = 1, BATCH do
          local counter = COUNTERS[made % #COUNTERS + 1]
          local when = os.date("!%Y-%m-%dT%H:%M:%SZ", BASE + 60 * math.floor(made / #COUNTERS))
          items[j] = string.format('{"counter":"%s","observed_at":"%s","value":0}', counter, when)
          made = made + 1
        end
        requests[i] = wrk.format("POST", "/api/v1/readings", HEADERS, '{"readings":[' .. table.concat(items, ",") .. "]}")
      end
    end
    function request()
      n = n + 1
      return requests[n]
    end
    """
)
"""Each counter in turn, a minute on at every turn, as gateways post: in order, each post new."""
BASES = count(946_684_800, 2_000_000)


@dataclass(slots=True)
class Stand:
    """Our server on a database, a bare one, and a raw driver; a key for counters, a folder for scripts."""

    kind: str
    database: str
    ours: str
    bare: str
    key: str
    folder: Path
    instants: Iterator[int] = field(default_factory=count)

    def post(self, url: str, clients: int, batch: int, most: int) -> float:
        """Requests a second that a server answers, all of them well, at most `most` in all."""
        counters = ", ".join(json.dumps(AVOCET.counter(place)) for place in range(len(AVOCET.pumps)))
        head = (
            f"BASE, COUNT, BATCH, COUNTERS = {next(BASES)}, {most}, {batch}, {{{counters}}}\n"
            f'HEADERS = {{["Content-Type"] = "application/json", ["Authorization"] = "Bearer {self.key}"}}\n'
        )
        file = self.folder / "post.lua"
        file.write_text(head + POST)
        rate, done = wrk(url, "-s", str(file), clients=clients, seconds=SECONDS)
        assert done < most - clients, "too few bodies were made for so quick a server"
        return rate

    def raw(self, batch: int) -> float:
        """Readings a second that the bare driver stores durably, one client, so many a commit."""
        rows = [[(next(self.instants), 0, 0) for _ in range(batch)] for _ in range(max(1, 4000 // batch))]
        if self.kind == "sqlite":
            raw = sqlite3.connect(self.folder / "raw.db", isolation_level=None)
            for pragma in ("journal_mode = WAL", "synchronous = FULL"):
                raw.execute(f"PRAGMA {pragma}")
            whole, mark, end = "INTEGER", "?", "WITHOUT ROWID"
        else:
            raw = psycopg.connect(self.database, autocommit=True)
            whole, mark, end = "BIGINT", "%s", ""
        raw.execute(
            f"CREATE TABLE IF NOT EXISTS raw (c {whole}, at {whole}, v {whole}, got {whole}, PRIMARY KEY (c, at)) {end}"
        )
        cursor = raw.cursor()
        began = time.perf_counter()
        for group in rows:
            raw.execute("BEGIN")
            cursor.executemany(f"INSERT INTO raw VALUES (1, {mark}, {mark}, {mark})", group)
            raw.execute("COMMIT")
        took = time.perf_counter() - began
        raw.close()
        return len(rows) * batch / took


@pytest.fixture(scope="module", params=kinds())
def stand(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stand]:
    """Both servers up, each a process of its own, and warm."""
    from api.server.app import open_context
    from scheduler.settings import Settings

    folder = tmp_path_factory.mktemp("bench")
    with ready_url(request.param, folder) as url:
        context = open_context(Settings(database=url))
        me = Actor("bench", "bench", Role.ADMIN)
        run = Run(AVOCET, 1, datetime.now(UTC), 0.1)
        changes.put_vessel(context, me, VESSEL.validate_python(vessel_document(run)), if_new=True)
        key = people.add_key(context, me, role=Role.COUNTER, label="bench", vessel_id=AVOCET.vessel)
        context.db.close()
        (folder / "bare.py").write_text(BARE)
        ours_port, bare_port = free_port(), free_port()
        command = "-m", "api", "--database", url, "serve", "--port", str(ours_port)
        bare_command = str(folder / "bare.py"), str(bare_port)
        with serving(*command, port=ours_port) as ours, serving(*bare_command, port=bare_port) as bare:
            up = Stand(request.param, url, ours.url, bare.url, key, folder)
            for server in (ours, bare):
                up.post(server.url, 8, 1, 20_000)
            yield up


def _say(what: str, ours: list[float], other: list[float], wanted: str) -> None:
    ratios = [one / two for one, two in zip(ours, other, strict=True)]
    print(
        f"\n{what}: {median(ratios):.2f} ({min(ratios):.2f} to {max(ratios):.2f}; wanted {wanted}); "
        f"{median(ours):,.0f} against {median(other):,.0f} a second"
    )
    assert median(ratios) > LOOSE


def test_single_posts(stand: Stand) -> None:
    """One reading a post, eight clients: against an endpoint that stores nothing, and against raw single commits."""
    ours, bare, raw = [], [], []
    for _ in range(ROUNDS):
        ours.append(stand.post(stand.ours, 8, 1, 20_000))
        bare.append(stand.post(stand.bare, 8, 1, 20_000))
        raw.append(stand.raw(1))
    _say(f"{stand.kind}: single posts to the bare endpoint", ours, bare, "0.60, or on a slow disk the next line 3")
    _say(f"{stand.kind}: single posts to raw single commits", ours, raw, "3 on a slow disk")


@pytest.mark.parametrize(("batch", "clients", "wanted"), [(1000, 1, "0.50"), (100, 8, "0.90")])
def test_batches(stand: Stand, batch: int, clients: int, wanted: str) -> None:
    """Batches against the raw driver's executemany of as many rows a commit, one client."""
    ours, raw = [], []
    for _ in range(ROUNDS):
        ours.append(stand.post(stand.ours, clients, batch, 400_000 // batch) * batch)
        raw.append(stand.raw(batch))
    what = f"{stand.kind}: batches of {batch} over HTTP, {clients} client{'s' * (clients > 1)}, to raw executemany"
    _say(what, ours, raw, wanted)
