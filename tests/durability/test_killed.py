"""kill -9 of a real server in mid-intake: what was acknowledged is there, no batch is there in part, the file is sound."""

import sqlite3
from pathlib import Path
from random import Random

import pytest

from scheduler.storage.database import open_database
from tests.durability.served import Senders, Stored, server, set_up
from tests.storage import stores


def stored(url: str) -> set[Stored]:
    """All readings of the database, opened anew as after a crash; an SQLite file passes its full check first."""
    database = open_database(url, create=False)
    try:
        if database.path:
            with sqlite3.connect(database.path) as raw:
                assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
                assert raw.execute("PRAGMA foreign_key_check").fetchall() == []
            raw.close()
        with database.read() as session:
            rows = session.connection().exec_driver_sql(
                "SELECT counter.id, reading.at_s FROM reading JOIN counter ON counter.no = reading.counter_no"
            )
            return {(name, at_s) for name, at_s in rows}
    finally:
        database.close()


def _kill_rounds(url: str, rounds: int) -> None:
    key = set_up(url)
    random = Random(rounds)
    acknowledged: set[Stored] = set()
    for number in range(rounds):
        senders = Senders(key, number)
        with server(url) as (child, port):
            senders.post(port, random.randint(5, 120), child)
        assert child.returncode == -9
        acknowledged.update(senders.acknowledged)
        there = stored(url)
        assert acknowledged <= there, f"lost in round {number}: {sorted(acknowledged - there)[:5]}"
        for batch in senders.sent:
            assert len(there.intersection(batch)) in (0, len(batch)), "a batch is there in part"
    assert len(acknowledged) > rounds * 5


@pytest.mark.long
def test_a_killed_server_has_lost_nothing_it_acknowledged(tmp_path: Path) -> None:
    """One kill, on SQLite; the next start finds the file sound and all acknowledged readings in it."""
    with stores.ready_url("sqlite", tmp_path) as url:
        _kill_rounds(url, 1)


@pytest.mark.rough
@pytest.mark.parametrize(("kind", "rounds"), [("sqlite", 25), ("postgresql", 5)])
def test_a_server_killed_again_and_again_has_lost_nothing(kind: str, rounds: int, tmp_path: Path) -> None:
    """25 kills on SQLite, 5 on PostgreSQL, at moments drawn by chance, each start going on with what the last one left."""
    with stores.ready_url(kind, tmp_path) as url:
        _kill_rounds(url, rounds)
