"""How fast readings are stored durably, as a ratio to the bare SQLite driver on the same disk in the same run."""

import threading
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from time import perf_counter
from typing import Any

import pytest

from scheduler.clock import fixed_clock
from scheduler.storage.database import Database
from scheduler.storage.hours.intake import Intake, Taken
from tests.storage.stores import add_vessel, store

pytestmark = pytest.mark.bench

CLOCK = fixed_clock(datetime(2026, 11, 25, 7, tzinfo=UTC))
INSERT = "INSERT INTO reading (counter_no, at_s, value_milli, received_s, vessel_id) VALUES (?, ?, ?, ?, ?)"
COUNTERS, BATCH, BATCHES = 8, 1000, 100
CLIENTS, SINGLES = 8, 200


@pytest.fixture
def pair(tmp_path: Path) -> Iterator[tuple[Database, Database]]:
    """Two equal databases on one disk: one for the intake, one for the bare driver."""
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    with store("sqlite", tmp_path / "a") as ours, store("sqlite", tmp_path / "b") as bare:
        yield ours, bare


def commit_bare(connection: Any, rows: list[tuple[int, int, int, int, str]]) -> float:
    """Seconds in which the bare driver stores rows durably."""
    begun = perf_counter()
    connection.execute("BEGIN IMMEDIATE")
    connection.executemany(INSERT, rows)
    connection.execute("COMMIT")
    return perf_counter() - begun


def test_batches_of_a_thousand(pair: tuple[Database, Database], capsys: pytest.CaptureFixture[str]) -> None:
    """One client, batches of 1000, durable: at least half the rate of the bare driver's executemany."""
    ours, bare = pair
    numbers = add_vessel(ours, counters=COUNTERS)
    assert add_vessel(bare, counters=COUNTERS) == numbers
    connection = bare.connect()
    spent = spent_bare = 0.0
    with Intake(ours, CLOCK) as intake:
        for batch in range(BATCHES):
            start = batch * BATCH // COUNTERS
            rows = [(numbers[i % COUNTERS], start + i // COUNTERS, i * 1000, 1) for i in range(BATCH)]
            begun = perf_counter()
            answer = intake.submit("plover", rows).result()
            spent += perf_counter() - begun
            assert answer.doors == (Taken.STORED,) * BATCH
            spent_bare += commit_bare(connection, [(*row, "plover") for row in rows])
    connection.close()
    ratio = spent_bare / spent
    with capsys.disabled():
        rate = BATCH * BATCHES / spent
        print(f"\nbatches of {BATCH}: {rate:,.0f} readings/s, {ratio:.2f} of the bare driver (at least 0.50)")
    assert ratio >= 0.1


def test_single_readings_from_eight_threads(
    pair: tuple[Database, Database], capsys: pytest.CaptureFixture[str]
) -> None:
    """Eight clients, one reading a request, durable: as fast as the bare driver's single commits, or nearly."""
    ours, bare = pair
    numbers = add_vessel(ours, counters=CLIENTS)
    add_vessel(bare, counters=CLIENTS)
    connection = bare.connect()
    with Intake(ours, CLOCK) as intake:

        def client(no: int) -> None:
            for at_s in range(SINGLES):
                intake.submit("plover", [(no, at_s, 1, 1)]).result()

        threads = [threading.Thread(target=client, args=(no,)) for no in numbers]
        begun = perf_counter()
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        spent = perf_counter() - begun
        assert intake.state().stored == CLIENTS * SINGLES
    spent_bare = sum(commit_bare(connection, [(numbers[0], at, 1, 1, "plover")]) for at in range(CLIENTS * SINGLES))
    connection.close()
    ratio = spent_bare / spent
    with capsys.disabled():
        rate = CLIENTS * SINGLES / spent
        print(f"\nsingles, {CLIENTS} threads: {rate:,.0f} requests/s, {ratio:.2f} of the bare driver's single commits")
    assert ratio >= 0.1


def test_batches_of_a_hundred_from_eight_threads(
    pair: tuple[Database, Database], capsys: pytest.CaptureFixture[str]
) -> None:
    """Eight clients, batches of 100, durable: nearly the rate of the bare driver with one client, or above it."""
    ours, bare = pair
    numbers = add_vessel(ours, counters=CLIENTS)
    add_vessel(bare, counters=CLIENTS)
    connection = bare.connect()
    with Intake(ours, CLOCK) as intake:

        def client(no: int) -> None:
            for batch in range(BATCHES):
                intake.submit("plover", [(no, at, 1, 1) for at in range(batch * 100, batch * 100 + 100)]).result()

        threads = [threading.Thread(target=client, args=(no,)) for no in numbers]
        begun = perf_counter()
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        spent = perf_counter() - begun
    groups = [
        [(no, at, 1, 1, "plover") for at in range(b * 100, b * 100 + 100)] for b in range(BATCHES) for no in numbers
    ]
    spent_bare = sum(commit_bare(connection, group) for group in groups)
    connection.close()
    ratio = spent_bare / spent
    with capsys.disabled():
        rate = 100 * BATCHES * CLIENTS / spent
        print(
            f"\nbatches of 100, {CLIENTS} threads: {rate:,.0f} readings/s, {ratio:.2f} of the bare driver (wanted 0.90)"
        )
    assert ratio >= 0.1
