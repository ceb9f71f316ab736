"""The real server on loopback with a clock that the test turns, and the invented fleet posting to it over HTTP."""

import random
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import httpx
import uvicorn

from api.server.app import make_app
from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.feed import addresses
from scheduler.actions.people import people
from scheduler.domain.base.enums import Role
from scheduler.settings import Settings
from seed_fleet.gateway import Server
from seed_fleet.posting import Keys, fill, put_documents
from seed_fleet.running import Run
from seed_fleet.ships import ShipPlan
from tests.ticks import write_at_once

AT = datetime(2026, 10, 20, 7, 0, tzinfo=UTC)
FIRST = Actor("set up", "set up", Role.ADMIN)


@dataclass(slots=True)
class TurnedClock:
    """Says `at` until the test turns it."""

    at: datetime = AT

    def __call__(self) -> datetime:
        return self.at


@dataclass(frozen=True, slots=True)
class Live:
    """A serving server, its context, its clock, and a client for the office and for the ship's chief."""

    url: str
    context: Context
    clock: TurnedClock
    office: httpx.Client
    chief: httpx.Client
    run: Run

    @property
    def plant(self) -> str:
        """The ship's plant."""
        return f"{self.run.ship.key}-plant"

    def feed(self) -> str:
        """A new calendar address of the chief's."""
        vessel = self.run.ship.vessel
        token = addresses.make_address(self.context, FIRST, person_id="chief", vessel_id=vessel).secret
        return f"{self.url}/cal/{token}/plan.ics"


@contextmanager
def serving(database: str, ship: ShipPlan, *, years: float, clock: TurnedClock) -> Iterator[Live]:
    """A server on `database` with the ship set up and her counters' past posted."""
    sock = socket.socket()
    sock.bind(("127.0.0.1", 0))
    sock.listen()
    url = f"http://127.0.0.1:{sock.getsockname()[1]}"
    app = make_app(Settings(database=database, base_url=url), clock=clock, timers=False)
    write_at_once(app)
    context: Context = app.state.context
    context.background.moment_seconds = 60  # a busy machine's plan is waited for
    server = uvicorn.Server(uvicorn.Config(app, log_config=None, access_log=False))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]})
    thread.start()
    try:
        while not server.started and thread.is_alive():
            time.sleep(0.01)
        run = Run(ship, 1, clock.at, years)
        people.add_person(
            context, FIRST, person_id="office", name="Demo office", rank="office", role=Role.OFFICE, vessel_id=None
        )
        office = people.add_key(context, FIRST, role=Role.OFFICE, label="office", person_id="office")
        with httpx.Client(base_url=url, timeout=30, trust_env=False) as client:
            door = Server(client=client, sleep=lambda _: None, jitter=random.Random(1), tries=3)
            put_documents([run], door, Keys(office, {}, {}, {}), lambda *_: None)
            vessel = ship.vessel
            counter = people.add_key(context, FIRST, role=Role.COUNTER, label="gateway", vessel_id=vessel)
            people.add_person(
                context, FIRST, person_id="chief", name="Demo chief", rank="chief", role=Role.CHIEF, vessel_id=vessel
            )
            chief = people.add_key(context, FIRST, role=Role.CHIEF, label="chief", vessel_id=vessel, person_id="chief")
            fill([run], door, Keys(office, {vessel: counter}, {vessel: chief}, {}), clock, lambda *_: None)
        with _client(url, office) as office_client, _client(url, chief) as chief_client:
            yield Live(url, context, clock, office_client, chief_client, run)
    finally:
        server.should_exit = True
        thread.join(20)
        sock.close()


def _client(url: str, key: str) -> httpx.Client:
    # The server ends an idle connection after 5 s, as httpx does by itself: what is shorter never meets that end half way.
    return httpx.Client(
        base_url=url,
        headers={"Authorization": f"Bearer {key}"},
        timeout=60,
        trust_env=False,
        limits=httpx.Limits(keepalive_expiry=1),
    )


def database_file(folder: Path) -> str:
    """Where a test's database stands."""
    return str(folder / "ship.db")
