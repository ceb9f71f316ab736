"""What a sender is told when its readings cannot be stored: never that they were."""

import os
import queue
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from scheduler.domain.base.enums import Role
from scheduler.storage.database import open_database
from scheduler.storage.hours.intake import Intake
from scheduler.storage.migrate import copy_to
from scheduler.storage.photos.files import store_photo
from seed_fleet.ships import PLOVER
from tests.api.stage import AT, Stage, staged, stamp
from tests.storage.stores import add_vessel, store

VP1 = PLOVER.counter(0)
PUMP = "plover-pump-a"


@pytest.fixture(scope="module")
def stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    """The application with one ship; two requests may wait for the writer."""
    with staged(tmp_path_factory.mktemp("answers"), (PLOVER,)) as alone:
        alone.client.app.state.intake._most_requests = 2
        yield alone


def _reading(minutes: int) -> dict[str, Any]:
    return {"counter": VP1, "observed_at": stamp(AT + timedelta(minutes=minutes)), "value": 500}


def _rows(stage: Stage) -> dict[str, int]:
    """How many rows stand in each table that these requests write."""
    with closing(sqlite3.connect(stage.database)) as raw:
        tables = ("reading", "counter_event", "outage", "record", "idempotency", "intake_log")
        return {table: raw.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in tables}


def test_a_commit_that_fails_is_never_answered_with_success(stage: Stage) -> None:
    """Readings, a counter event and a pump out of work, each failing at the COMMIT and not before: an error, and no row.

    The same requests go through once commits succeed.
    """
    broken = (
        "CREATE TABLE poison (no INTEGER REFERENCES counter (no) DEFERRABLE INITIALLY DEFERRED)",
        "CREATE TRIGGER poison AFTER UPDATE ON revision BEGIN INSERT INTO poison VALUES (-1); END",
    )
    posts: list[tuple[str, Role, dict[str, Any]]] = [
        ("/api/v1/readings", Role.COUNTER, {"readings": [_reading(1), {"counter": "unknown"}]}),
        (
            f"/api/v1/counters/{VP1}/events",
            Role.CHIEF,
            {"kind": "adjustment", "at": stamp(AT), "hours": 1, "reason": "x"},
        ),
        (f"/api/v1/pumps/{PUMP}/down", Role.CHIEF, {"at": stamp(AT), "reason": "stuck"}),
    ]
    before = _rows(stage)
    with closing(sqlite3.connect(stage.database)) as raw:
        for statement in broken:
            raw.execute(statement)
        for path, role, body in posts:
            answer = stage.ask("POST", path, role=role, json=body)
            assert answer.status_code == 409, (path, answer.text)
            assert "Nothing was stored" in answer.json()["detail"]
        assert _rows(stage) == before
        raw.execute("DROP TRIGGER poison")
    for path, role, body in posts:
        assert stage.ask("POST", path, role=role, json=body).status_code in (200, 201, 207)
    assert _rows(stage)["reading"] == before["reading"] + 1
    assert _rows(stage)["intake_log"] == before["intake_log"] + 1


def test_when_too_much_waits_the_sender_is_told_to_come_again(stage: Stage) -> None:
    """503 with Retry-After, at once, while the writer cannot write; what was taken is stored, what was not is not."""
    before = _rows(stage)["reading"]
    answers: queue.Queue[Any] = queue.Queue()
    threads = [
        threading.Thread(target=lambda at=minute: answers.put(stage.post(_reading(at)))) for minute in range(10, 16)
    ]
    with stage.context.db.write(""):
        for thread in threads:
            thread.start()
        first = answers.get(timeout=60)
    for thread in threads:
        thread.join()
    assert first.status_code == 503
    assert first.headers["retry-after"] == "1"
    assert first.headers["content-type"] == "application/problem+json"
    assert "None of these was taken" in first.json()["detail"]
    rest = [answers.get(timeout=0).status_code for _ in range(len(threads) - 1)]
    assert set(rest) <= {207, 503}
    assert 1 <= rest.count(207) == _rows(stage)["reading"] - before


def test_a_copy_made_under_load_opens_and_equals_the_state_of_one_moment(tmp_path: Path) -> None:
    """While four threads post: the copy passes the full check, has all that was acknowledged before it began, of each
    counter the first so many readings without a gap, and nothing that the database has not."""
    with store("sqlite", tmp_path) as database:
        numbers = add_vessel(database)
        done = threading.Event()
        counts = dict.fromkeys(numbers, 0)
        with Intake(database, lambda: AT) as intake:

            def pour(no: int) -> None:
                while not done.is_set():
                    intake.submit("plover", [(no, counts[no], 1, 1)]).result(timeout=60)
                    counts[no] += 1

            threads = [threading.Thread(target=pour, args=(no,)) for no in numbers]
            for thread in threads:
                thread.start()
            while not all(counts.values()):
                done.wait(0.001)
            before = dict(counts)
            copy_to(database, tmp_path / "copy.db")
            done.set()
            for thread in threads:
                thread.join()
        copy = open_database(str(tmp_path / "copy.db"), create=False)
        copy.close()
        with closing(sqlite3.connect(tmp_path / "copy.db")) as raw:
            assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            kept = raw.execute("SELECT counter_no, count(*), max(at_s) + 1 FROM reading GROUP BY counter_no").fetchall()
            marks = dict(raw.execute("SELECT no, newest_s + 1 FROM counter WHERE newest_s IS NOT NULL"))
    assert {no for no, _, _ in kept} == set(numbers)
    for no, count, last in kept:
        assert before[no] <= count == last == marks[no] <= counts[no]


def test_a_photo_is_on_the_disk_with_its_name_when_it_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Synced in this order: its content, then the folders that name it, each after the name was there."""
    synced: list[tuple[str, bool]] = []
    folder, sync = tmp_path / "photos" / "plover", os.fsync

    def noted(handle: int) -> None:
        place = Path(f"/proc/self/fd/{handle}").readlink()
        synced.append((place.name.partition("draft-")[1] or place.name, (folder / "a.jpg").exists()))
        sync(handle)

    monkeypatch.setattr(os, "fsync", noted)
    store_photo(folder, "a.jpg", b"x")
    assert synced == [("draft-", False), ("plover", True), ("photos", True), (tmp_path.name, True)]
