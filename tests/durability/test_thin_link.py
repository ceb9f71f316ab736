"""Thirty days of work without a link go to the office over a thin one that is cut, while both servers are killed."""

import os
import random
import time
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from api.server.app import open_context
from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.people import people
from scheduler.actions.shore.joining import join_office
from scheduler.domain.base.enums import Role
from scheduler.settings import Settings
from scheduler.storage.database import open_database
from scheduler.storage.hours.counters import counter_rows
from scheduler.storage.hours.intake import Intake
from scheduler.storage.record import append_record
from scheduler.storage.shore.lines import shore_line
from scheduler.storage.work import PartCountRow
from seed_fleet.ships import PLOVER
from tests.durability.relay import Relay
from tests.durability.served import server, set_up
from tests.end_to_end.test_ship_to_office import same_truths

pytestmark = pytest.mark.rough
V = PLOVER.vessel
DAYS = 30
RATE, DELAY = float(os.environ.get("LEADLINE_TEST_RATE", "20000")), float(os.environ.get("LEADLINE_TEST_DELAY", "0.02"))
CUTS = tuple(map(float, os.environ.get("LEADLINE_TEST_CUTS", "7,7").split(",")))
"""1000, 0.3 and "15,40" are those of a thin link; the test's own are quicker."""
PATIENCE_SECONDS = 900


def work_offline(context: Context, days: int) -> None:
    """Readings each hour of every counter; six times a day somebody counts a part, which is recorded."""
    chance = random.Random(3)
    began = datetime.now(UTC).replace(minute=0, second=0, microsecond=0) - timedelta(days=days)
    with context.db.read() as session:
        numbers = [row.no for row in counter_rows(session, V)]
    with Intake(context.db, context.clock) as intake:
        for hour in range(24 * days):
            at_s = int((began + timedelta(hours=hour)).timestamp())
            values = [(no, at_s, 1000 * hour + 37 * index, at_s) for index, no in enumerate(numbers) if no is not None]
            intake.submit(V, values).result()
            if hour % 4 == 0:
                with context.db.write(V) as session:
                    name = f"part {chance.randrange(40)}"
                    count = PartCountRow(
                        vessel_id=V, plant_id="plover-plant", name=name, aboard=hour, counted_at=began, actor="me"
                    )
                    session.merge(count)
                    append_record(session, V, "part_count", began, {"part": name, "aboard": hour, "why": "looked"})


def ready(tmp_path: Path, port: int) -> tuple[str, str]:
    """Addresses of the office's database and of the ship's, who has joined and then worked alone."""
    office, ship = (str(tmp_path / name) for name in ("office.db", "ship.db"))
    context = open_context(Settings(database=office))
    me = Actor("set up", "set up", Role.ADMIN)
    file = tmp_path / "office.key"
    file.write_text(people.add_key(context, me, role=Role.SHIP, label="server", vessel_id=V))
    context.db.close()
    set_up(ship)
    context = open_context(Settings(database=ship))
    join_office(context, V, f"http://127.0.0.1:{port}", file)
    work_offline(context, DAYS)
    context.db.close()
    return office, ship


def waits(ship: str) -> int:
    database = open_database(ship, check=False)
    try:
        with database.read() as session:
            line = shore_line(session, V)
            assert line is not None
            assert line.state in ("", "reached", "away"), (line.state, line.facts)
            return line.number - line.acknowledged
    finally:
        database.close()


@pytest.mark.parametrize("rough", [False, True])
def test_a_month_alone_goes_over_a_thin_link(rough: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Calm, or with cuts each few seconds and each server killed twice: all rows and heads equal; bytes and seconds are told."""
    relay = Relay(1, RATE, DELAY, cuts=(CUTS[0], CUTS[1]) if rough else None)
    office, ship = ready(tmp_path, relay.port)
    whole, kills = waits(ship), 2 if rough else 0
    began = time.monotonic()
    while time.monotonic() - began < PATIENCE_SECONDS and (left := waits(ship)):
        with ExitStack() as running:
            _, relay.target = running.enter_context(server(office))
            running.enter_context(server(ship, LEADLINE_OFFICE_MINUTES="1"))
            while time.monotonic() - began < PATIENCE_SECONDS and (left := waits(ship)):
                if kills and left < whole * (0.3 + 0.3 * kills):
                    kills -= 1
                    break  # both are killed where they stand
                time.sleep(0.5)
    spent = time.monotonic() - began
    relay.close()
    assert waits(ship) == 0
    with capsys.disabled():
        print(f"\n{DAYS} days, {whole} changes over {RATE:.0f} B/s, {DELAY} s{', rough' if rough else ''}: ", end="")
        print(f"{relay.passed} bytes both ways, {spent:.0f} s, ", end="")
        print(f"{relay.connections} connections, {relay.cut} of their two ways cut")
    aboard, ashore = open_database(ship), open_database(office)
    try:
        same_truths(aboard, ashore)
    finally:
        aboard.close()
        ashore.close()
    assert kills == 0
