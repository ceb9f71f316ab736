"""The real application on a SQLite file with the two invented ships aboard, a clock that the test turns, and a key a role."""

import atexit
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path
from typing import Any

from httpx2 import Response
from starlette.testclient import TestClient

from api.server.app import make_app
from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.hours.ledger import derive_all
from scheduler.actions.people import people
from scheduler.domain.base.enums import Role
from scheduler.domain.people.roles import MACHINES
from scheduler.settings import Settings
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import AVOCET, PLOVER, ShipPlan
from tests.storage.stores import sqlite_template
from tests.ticks import write_at_once

AT = datetime(2026, 10, 20, 7, 0, tzinfo=UTC)
PAST_YEARS = 20 / 365
"""Twenty days of past: the parts were renewed before it, and a few days of readings are enough for hours to exist."""
SHIPBOARD = (Role.COUNTER, Role.SHIP, Role.ENGINEER, Role.CHIEF, Role.HOTEL, Role.CHIEF_OFFICER, Role.MASTER)
NEW_KEY = count(1)


@dataclass(slots=True)
class TurnedClock:
    """Says `at` until the test turns it."""

    at: datetime = AT

    def __call__(self) -> datetime:
        return self.at


@dataclass(slots=True)
class Stage:
    """A running application. keys: (vessel id, role) to its key; the office's and the admin's stand under ""."""

    client: TestClient
    clock: TurnedClock
    database: Path
    runs: dict[str, Run]
    keys: dict[tuple[str, Role], str] = field(default_factory=dict)

    @property
    def context(self) -> Context:
        """The application's own context."""
        context: Context = self.client.app.state.context  # type: ignore[attr-defined]
        return context

    def key(self, role: Role, vessel: str = PLOVER.vessel) -> str:
        """The key of that role on that vessel."""
        return self.keys[vessel if role in SHIPBOARD else "", role]

    def ask(
        self,
        method: str,
        path: str,
        *,
        role: Role | None = Role.ENGINEER,
        vessel: str = PLOVER.vessel,
        once: str | None = None,
        headers: dict[str, str] | None = None,
        **sent: Any,
    ) -> Response:
        """The answer to a request by key; a POST carries a new Idempotency-Key unless `once` names one ("" for none)."""
        told = dict(headers or {})
        if role is not None:
            told.setdefault("Authorization", f"Bearer {self.key(role, vessel)}")
        if method == "POST" and once != "":
            told["Idempotency-Key"] = once or f"key {next(NEW_KEY)}"
        return self.client.request(method, path, headers=told, follow_redirects=False, **sent)

    def post(self, *readings: dict[str, Any], vessel: str = PLOVER.vessel) -> Response:
        """A batch of readings by the vessel's counter key."""
        return self.ask("POST", "/api/v1/readings", role=Role.COUNTER, vessel=vessel, json={"readings": list(readings)})

    def document(self, vessel: str = PLOVER.vessel) -> tuple[dict[str, Any], str]:
        """A vessel's document and its ETag."""
        answer = self.ask("GET", f"/api/v1/vessels/{vessel}", role=Role.OFFICE)
        return answer.json(), answer.headers["etag"]

    def due(
        self, plant: str = f"{PLOVER.key}-plant", vessel: str = PLOVER.vessel
    ) -> dict[tuple[str, str], dict[str, Any]]:
        """Open jobs by kind and subject."""
        answer = self.ask("GET", f"/api/v1/plants/{plant}/due", vessel=vessel)
        return {(job["kind"], job["subject"]): job for job in answer.json()["jobs"]}

    def pump(self, pump: str, vessel: str = PLOVER.vessel) -> dict[str, Any]:
        """A pump as it stands."""
        body: dict[str, Any] = self.ask("GET", f"/api/v1/pumps/{pump}", vessel=vessel).json()
        return body

    def close(self, job: str, *, role: Role = Role.ENGINEER, once: str | None = None, **told: Any) -> Response:
        """A close, done an hour ago by Demo Hand with a passed test unless told otherwise; none leaves a member out."""
        body = {"done_at": stamp(self.clock.at - timedelta(hours=1)), "done_by": "Demo Hand", "test": "passed", **told}
        sent = {name: value for name, value in body.items() if value is not None}
        return self.ask("POST", f"/api/v1/jobs/{job}/close", role=role, once=once, json=sent)

    def enter(self, person: str) -> TestClient:
        """A browser with that person signed in by a one-time link."""
        browser = TestClient(self.client.app, raise_server_exceptions=False, follow_redirects=False)
        browser.portal = (
            self.client.portal
        )  # the application's own loop: a new one for each request takes longer than most answers
        assert browser.post(f"/enter/{people.make_link(self.context, person)}").status_code == 303
        return browser


def stamp(at: datetime) -> str:
    """RFC 3339 in UTC, to the second."""
    return f"{at:%Y-%m-%dT%H:%M:%SZ}"


def past_readings(run: Run, days: int) -> list[dict[str, Any]]:
    """Readings of every pump once a watch over the last days: sound counters that count whole hours."""
    instants = [run.end - timedelta(hours=4 * n) for n in range(days * 6, -1, -1)]
    return [
        {"counter": run.ship.counter(n), "observed_at": stamp(at), "value": 100 + run.ran_seconds(n, at) // unit}
        for at in instants
        for n, unit in enumerate(pump.register.seconds_per_count for pump in run.ship.pumps)
    ]


def plain_document(run: Run) -> dict[str, Any]:
    """The ship's document with counters that never roll over, so that a test need not mind where they stand."""
    document = vessel_document(run)
    for counter in document["plants"][0]["counters"]:
        counter["modulus"] = None
    return document


_Keys = dict[tuple[str, Role], str]
_made: dict[tuple[tuple[str, ...], int], tuple[Path, _Keys]] = {}
"""Databases set up already in this process, by ships and days: a test gets a copy."""


@contextmanager
def staged(
    folder: Path, ships: tuple[ShipPlan, ...] = (PLOVER, AVOCET), *, days: int = 3, url: str | None = None
) -> Iterator[Stage]:
    """The application with the ships set up, a few days posted and a key a role, all through its own doors."""
    runs = {ship.vessel: Run(ship, 7, AT, PAST_YEARS) for ship in ships}
    if url is not None:
        with _running(folder, runs, url) as stage:
            _set_up(stage, days)
            yield stage
        return
    wanted = tuple(ship.vessel for ship in ships), days
    if wanted not in _made:
        kept = Path(tempfile.mkdtemp(prefix="leadline-stage-"))
        atexit.register(shutil.rmtree, kept, ignore_errors=True)
        shutil.copy(sqlite_template(), kept / "ships.db")
        with _running(kept, runs, str(kept / "ships.db")) as stage:
            _set_up(stage, days)
            derive_all(stage.context)
        _made[wanted] = kept / "ships.db", stage.keys
    made, keys = _made[wanted]
    shutil.copy(made, folder / "ships.db")
    with _running(folder, runs, str(folder / "ships.db")) as stage:
        stage.keys.update(keys)
        yield stage


@contextmanager
def _running(folder: Path, runs: dict[str, Run], database: str) -> Iterator[Stage]:
    clock = TurnedClock()
    settings = Settings(
        database=database,
        horizon_days=20,
        solve_seconds=5,
        base_url="http://testserver",
        photo_folder=str(folder / "photos") if "://" in database else "",
    )
    app = make_app(settings, clock=clock, timers=False)
    write_at_once(app)
    with TestClient(app, raise_server_exceptions=False) as client:
        app.state.context.background.moment_seconds = 60  # a busy machine's plan is waited for
        yield Stage(client, clock, folder / "ships.db", runs)


def _set_up(stage: Stage, days: int) -> None:
    first = Actor("set up", "set up", Role.ADMIN)
    for role in (Role.OFFICE, Role.ADMIN):
        person = role.value
        people.add_person(
            stage.context, first, person_id=person, name=f"Demo {person}", rank=person, role=role, vessel_id=None
        )
        stage.keys["", role] = people.add_key(stage.context, first, role=role, label=f"test {person}", person_id=person)
    for vessel, run in stage.runs.items():
        put = stage.ask(
            "PUT",
            f"/api/v1/vessels/{vessel}",
            role=Role.OFFICE,
            json=plain_document(run),
            headers={"If-None-Match": "*"},
        )
        assert put.status_code == 201, put.text
        for role in SHIPBOARD:
            person = None
            if role not in MACHINES:
                person = f"{role.value.replace(' ', '-')}-{run.ship.key}"
                people.add_person(
                    stage.context,
                    first,
                    person_id=person,
                    name=f"Demo {role.value}",
                    rank=role.value,
                    role=role,
                    vessel_id=vessel,
                )
            stage.keys[vessel, role] = people.add_key(
                stage.context, first, role=role, label=f"test {role.value}", vessel_id=vessel, person_id=person
            )
        readings = past_readings(run, days)
        for n in range(0, len(readings), 1000):
            posted = stage.post(*readings[n : n + 1000], vessel=vessel)
            assert posted.status_code == 207, posted.text
        assert {item["status"] for item in posted.json()["items"]} == {"stored"}
