"""A modelled power loss in mid-intake: nothing that was acknowledged is lost, and with a laxer setting it would be."""

import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from random import Random

import httpx
import pytest

from api.server.app import open_context
from scheduler.actions.base.actor import Actor
from scheduler.actions.people import people
from scheduler.domain.base.enums import Role
from scheduler.settings import Settings
from scheduler.storage.database import database_path
from seed_fleet.ships import PLOVER
from tests.durability.power import Disk, compiler
from tests.durability.served import Senders, server, set_up
from tests.durability.test_killed import stored
from tests.storage import stores

MAY_SKIP = compiler() is None and os.environ.get("LEADLINE_TEST_MOUNT") != "required"
pytestmark = [
    pytest.mark.rough,
    pytest.mark.skipif(MAY_SKIP, reason="there is no C compiler: apt-get install gcc libc6-dev"),
]

COMMITS, LOSSES = 300, 25


def _write(url: str, synchronous: str, disk: Disk) -> set[int]:
    """The seconds acknowledged by a process that stores a reading a second until its end."""
    command = [sys.executable, "-m", "tests.durability.writing", url, synchronous, str(COMMITS)]
    environment = {**os.environ, **disk.environment()}
    done = subprocess.run(
        command, capture_output=True, text=True, check=True, cwd=Path(__file__).parents[2], env=environment
    )
    disk.read_notes()
    return {int(line) for line in done.stdout.split()}


def _there(file: Path) -> set[int]:
    """The seconds that are stored, in a file that passes its full check."""
    with closing(sqlite3.connect(file)) as raw:
        assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        return {at_s for (at_s,) in raw.execute("SELECT at_s FROM reading")}


def _lost(folder: Path, synchronous: str) -> int:
    """How many of so many losses took something that was acknowledged."""
    folder.mkdir()
    with stores.store("sqlite", folder) as database:
        stores.add_vessel(database)
        assert database.path is not None
        place = database.path
    disk = Disk(place)
    acknowledged = _write(str(place), synchronous, disk)
    assert acknowledged == set(range(COMMITS))
    assert disk.whole() == {file: file.read_bytes() for file in disk.whole()}, "the shim has missed a write"
    random, lost = Random(COMMITS), 0
    for _ in range(LOSSES):
        disk.lose_power(random)
        lost += not acknowledged <= _there(place)
    return lost


def test_a_power_loss_takes_nothing_acknowledged_and_with_a_laxer_setting_it_does(tmp_path: Path) -> None:
    """Of 25 losses none with synchronous FULL; with NORMAL, on the same model, most, so that this test can fail."""
    assert _lost(tmp_path / "full", "FULL") == 0
    assert _lost(tmp_path / "normal", "NORMAL") > LOSSES / 2


def test_a_server_that_loses_power_again_and_again_has_lost_nothing(tmp_path: Path) -> None:
    """The real server under senders, five times: every acknowledged reading is there, no batch in part, the file is sound."""
    with stores.ready_url("sqlite", tmp_path) as url:
        key, random, acknowledged = set_up(url), Random(5), set()
        place = database_path(url)
        assert place is not None
        for number in range(5):
            disk, senders = Disk(place), Senders(key, number)
            with server(url, **disk.environment()) as (child, port):
                senders.post(port, random.randint(5, 120), child)
            disk.read_notes()
            assert disk.syncs > 5
            disk.lose_power(random)
            acknowledged.update(senders.acknowledged)
            there = stored(url)
            assert acknowledged <= there, f"lost in round {number}: {sorted(acknowledged - there)[:5]}"
            for batch in senders.sent:
                assert len(there.intersection(batch)) in (0, len(batch)), "a batch is there in part"
    assert len(acknowledged) > 50


def test_a_disk_that_goes_read_only_under_a_server_is_said_and_reading_goes_on(tmp_path: Path) -> None:
    """Every write fails from one moment on: 507 with the reason, readings and keys are still read; well again, it stores."""
    with stores.ready_url("sqlite", tmp_path) as url:
        key = set_up(url)
        context = open_context(Settings(database=url))
        by = Actor("set up", "set up", Role.ADMIN)
        people.add_person(
            context, by, person_id="desk", name="Demo desk", rank="office", role=Role.OFFICE, vessel_id=None
        )
        office = people.add_key(context, by, role=Role.OFFICE, label="desk", person_id="desk")
        context.db.close()
        path = database_path(url)
        assert path is not None
        sign = tmp_path / "read-only"
        environment = {**Disk(path).environment(), "UNSYNCED_REFUSE": str(sign)}
        reading = {"counter": PLOVER.counter(0), "value": 5}
        with (
            server(url, **environment) as (_, port),
            httpx.Client(
                base_url=f"http://127.0.0.1:{port}",
                headers={"Authorization": f"Bearer {key}"},
                trust_env=False,
                timeout=30,
            ) as client,
        ):

            def post(minute: int) -> httpx.Response:
                at = f"2025-01-01T00:{minute:02d}:00Z"
                return client.post("/api/v1/readings", json={"readings": [{**reading, "observed_at": at}]})

            assert post(1).status_code == 207
            sign.touch()
            refused = post(2)
            assert (refused.status_code, "read-only" in refused.json()["detail"]) == (507, True)
            read = {"Authorization": f"Bearer {office}"}
            assert client.get("/api/v1/vessels", headers=read).status_code == 200
            assert client.get("/api/v1/plants/plover-plant/due", headers=read).status_code == 200
            sign.unlink()
            assert post(2).status_code == 207
        assert len(stored(url)) == 2
