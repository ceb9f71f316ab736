"""A modelled power loss in mid-intake: nothing that was acknowledged is lost, and with a laxer setting it would be."""

import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from random import Random

import pytest

from scheduler.storage.database import open_database
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
        database = open_database(url)
        place = database.path
        database.close()
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
