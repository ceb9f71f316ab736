"""A ship as an office knows her: all her truth as changes, sent by her key to the office's real application."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from httpx2 import Response
from sqlalchemy import select
from starlette.testclient import TestClient

from api.server.app import make_app
from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.people import people
from scheduler.domain.base.enums import Role
from scheduler.domain.shore.frame import FIRST_HASH, Change, ChangeBatch, canonical_body, chained, pack
from scheduler.settings import Settings
from scheduler.storage.database import Database
from scheduler.storage.migrate import newest
from scheduler.storage.shore.truth import COUNTER, TRUTH, Truth, to_travel
from seed_fleet.ships import PLOVER
from tests.api.stage import Stage, TurnedClock

Line = tuple[str, str, dict[str, Any]]
SET_UP = Actor("set up", "set up", Role.ADMIN)
NOTE: dict[str, Any] = {
    "number": 1,
    "text": "Knife of VP1 is loud",
    "written_by_id": "a",
    "written_by": "Demo A",
    "written_s": 1_760_000_000,
    "signed_by": None,
    "signed_s": None,
}
"""A handover note as it travels."""


def truth_rows(database: Database, vessel_id: str) -> dict[str, list[dict[str, Any]]]:
    """Every row of a vessel's truth as it travels, by table, in order of key."""
    with database.read() as session:
        ask = session.connection().execute
        counters = TRUTH["counter"].plain
        ids = {no: name for name, no in ask(select(counters.c.id, counters.c.no))}
        found = {}
        for truth in TRUTH.values():
            rows = [dict(row) for row in ask(select(truth.plain).where(_mine(truth, vessel_id))).mappings()]
            for row in rows:
                if COUNTER in row:
                    row[COUNTER] = ids[row[COUNTER]]
            travels = [{name: to_travel(row)[name] for name in truth.travels} for row in rows]
            found[truth.name] = sorted(travels, key=lambda row: [str(row.get(key, "")).zfill(20) for key in truth.keys])
    return found


def _mine(truth: Truth, vessel_id: str) -> Any:
    if truth.name == "plan":
        return (truth.vessel == vessel_id) & truth.plain.c.taken_s.is_not(None)
    return truth.vessel == vessel_id


@dataclass(slots=True)
class Ship:
    """What a ship's server would send. lines: changes as lists of rows."""

    vessel_id: str
    life: str = "first life"
    changes: list[Change] = field(default_factory=list)

    def change(self, *rows: Line, at_s: int = 1_760_000_000) -> None:
        """One commit more."""
        number = len(self.changes) + 1
        prev = self.changes[-1].hash if self.changes else FIRST_HASH
        self.changes += chained(prev, number, [canonical_body(at_s, number, rows)])

    def batch(self, first: int = 1, last: int | None = None, **said: Any) -> ChangeBatch:
        """The changes with those numbers, sent together."""
        last = len(self.changes) if last is None else last
        some = tuple(self.changes[first - 1 : last])
        prev = self.changes[first - 2].hash if first > 1 else FIRST_HASH
        given = {
            "vessel_id": self.vessel_id,
            "life": self.life,
            "begins": first,
            "ends": last,
            "prev": prev,
            "head": some[-1].hash if some else prev,
            "schema": newest(),
            "sent_at": 1_760_000_000,
            "changes": some,
        }
        return ChangeBatch(**{**given, **said})


def ship_of(database: Database, vessel_id: str) -> Ship:
    """The ship of a database, with all that is aboard as changes: what others refer to first, readings last, in pieces."""
    ship, rows = Ship(vessel_id), truth_rows(database, vessel_id)
    readings = rows.pop("reading")
    ship.change(
        *(("vessel", "put", row) for row in rows.pop("vessel")),
        *(("counter", "put", row) for row in rows.pop("counter")),
    )
    for name, some in rows.items():
        for row in some:
            ship.change((name, "put", row))
    for start in range(0, len(readings), 300):
        ship.change(*(("reading", "put", row) for row in readings[start : start + 300]))
    return ship


@dataclass(slots=True)
class Office:
    """The office's application, and a key of each ship's server."""

    client: TestClient
    context: Context
    clock: TurnedClock
    keys: dict[str, str] = field(default_factory=dict)

    def key(self, vessel_id: str) -> str:
        """The ship's key, made when it is first asked for."""
        if vessel_id not in self.keys:
            self.keys[vessel_id] = people.add_key(
                self.context, SET_UP, role=Role.SHIP, label="her server", vessel_id=vessel_id
            )
        return self.keys[vessel_id]

    def send(self, batch: ChangeBatch | bytes, *, to: str = PLOVER.vessel, by: str | None = None) -> Response:
        """The answer to a batch."""
        frame = batch if isinstance(batch, bytes) else pack(batch)
        headers = {"Authorization": f"Bearer {by or self.key(to)}", "Content-Type": "application/octet-stream"}
        return self.client.post(f"/api/v1/ships/{to}/changes", content=frame, headers=headers)

    def send_all(self, ship: Ship) -> None:
        """Everything, in batches of a hundred."""
        for first in range(1, len(ship.changes) + 1, 100):
            answer = self.send(ship.batch(first, min(first + 99, len(ship.changes))), to=ship.vessel_id)
            assert answer.status_code == 200, answer.text

    def rows(self, vessel_id: str = PLOVER.vessel) -> dict[str, list[dict[str, Any]]]:
        """What stands at the office of a ship's truth; people apart, who stand in a table of their own."""
        found = truth_rows(self.context.db, vessel_id)
        found.pop("person")
        return found


@contextmanager
def office_at(url: str, clock: TurnedClock) -> Iterator[Office]:
    """The office's application on a database that has its tables."""
    settings = Settings(database=url, horizon_days=20, solve_seconds=5, base_url="http://testserver")
    app = make_app(settings, clock=clock, timers=False)
    with TestClient(app, raise_server_exceptions=False) as client:
        yield Office(client, app.state.context, clock)


def aboard(stage: Stage, vessel_id: str = PLOVER.vessel) -> tuple[Ship, dict[str, list[dict[str, Any]]]]:
    """The ship of a stage, and her truth as it stands there."""
    rows = truth_rows(stage.context.db, vessel_id)
    rows.pop("person")
    return ship_of(stage.context.db, vessel_id), rows
