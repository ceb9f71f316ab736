"""A backup holds every row and photo of one moment, proves it, and is put back whole or not at all; on both databases."""

import fcntl
import json
import os
import re
import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select

from scheduler.errors import Clash, NotFound, Refused, SchedulerError, StorageFull
from scheduler.storage import serving
from scheduler.storage.care import backup, postgres_tools
from scheduler.storage.care.backup import (
    MANIFEST,
    Manifest,
    backups_in,
    check_backup,
    drop_oldest,
    make_backup,
    restore_backup,
)
from scheduler.storage.database import Database, open_database
from scheduler.storage.hours.counters import CounterRow
from scheduler.storage.hours.readings import ReadingRow
from scheduler.storage.migrate import create_or_check
from scheduler.storage.serving import only_server
from scheduler.storage.tables import METADATA
from tests.storage.stores import add_vessel, empty_url, kinds_long_on_postgresql, ready_url, store

AT = datetime(2026, 11, 30, 2, 15, tzinfo=UTC)
PICTURE = b"\xff\xd8\xff invented picture"
NAME = f"{sha256(PICTURE).hexdigest()}.jpg"


KINDS = kinds_long_on_postgresql()
"""PostgreSQL's programs take seconds for each."""


@pytest.fixture(params=KINDS)
def kind(request: pytest.FixtureRequest) -> str:
    """Which database."""
    return str(request.param)


def fill(database: Database) -> None:
    """A vessel, counters, readings and values that a careless copy would change."""
    numbers = add_vessel(database)
    with database.write("plover") as session:
        for at_s in range(500):
            number = numbers[at_s % len(numbers)]
            session.add(
                ReadingRow(counter_no=number, at_s=at_s, value_milli=2**62 + at_s, received_s=1, vessel_id="plover")
            )
        session.connection().exec_driver_sql(
            "INSERT INTO remembered (name, value) VALUES ('odd', 'Maß \\N \\. tab\t quote '' end')"
        )


def rows_of(database: Database) -> dict[str, list[Any]]:
    """Every row of every table."""
    with database.read() as session:
        return {
            name: sorted(map(repr, session.connection().execute(select(table)).all()))
            for name, table in METADATA.tables.items()
        }


def photos_in(folder: Path) -> Path:
    """A folder with one photo and a draft of another."""
    (folder / "plover").mkdir(parents=True)
    (folder / "plover" / NAME).write_bytes(PICTURE)
    (folder / "plover" / ".draft-x").write_bytes(b"half")
    return folder


def address(database: Database) -> str:
    """As it is set."""
    return database.url.render_as_string(hide_password=False)


@pytest.mark.long
def test_a_backup_restores_to_equal_rows_and_photos(kind: str, tmp_path: Path) -> None:
    """Into an empty place: every row of every table, every photo; and the database goes on counting where it was."""
    photos = photos_in(tmp_path / "photos")
    with store(kind, tmp_path) as database:
        fill(database)
        expected = rows_of(database)
        made = make_backup(database, tmp_path / "backups", photos, AT)
    manifest = check_backup(made)
    assert made.name == "leadline-20261130T021500Z"
    assert {table: count for table, (count, _) in manifest.rows.items() if table in expected} == {
        table: len(rows) for table, rows in expected.items()
    }
    assert [one.name for one in (tmp_path / "backups").iterdir()] == [made.name]
    assert f"photos/plover/{NAME}" in manifest.files
    assert not any("draft" in name for name in manifest.files)
    with empty_url(kind, tmp_path) as url:
        assert restore_backup(made, url, tmp_path / "new photos", AT, replace=False) is None
        restored = open_database(url)
        create_or_check(restored)
        assert rows_of(restored) == expected
        with restored.write("avocet") as session:
            session.connection().exec_driver_sql(
                "INSERT INTO vessel (id, name, imo, document, version, changed_s) "
                "VALUES ('avocet', 'Demo Avocet', '0246800', '{}', 1, 1)"
            )
        newest = max(int(re.match(r"\((\d+)", row)[1]) for row in expected["counter"])
        assert new_counter(restored, "avocet") == newest + 1
        restored.close()
    assert (tmp_path / "new photos" / "plover" / NAME).read_bytes() == PICTURE


def new_counter(database: Database, vessel: str) -> int | None:
    """The number that a counter gets which is added now."""
    with database.write(vessel) as session:
        row = CounterRow(
            id="c", vessel_id=vessel, plant_id="p", position_id="v", seconds_per_count=1, resolution_milli=1, quiet_after_hours=1
        )  # fmt: skip
        session.add(row)
        session.flush()
        return row.no


def test_a_backup_made_while_writers_go_on_is_the_state_of_one_moment(kind: str, tmp_path: Path) -> None:
    """Two tables written in one transaction have as many rows in the backup as in one another."""
    with store(kind, tmp_path) as database:
        (number, *_) = add_vessel(database)
        done = threading.Event()
        written = [0]

        def write() -> None:
            while not done.is_set():
                with database.write("plover") as session:
                    at_s = written[0]
                    session.add(
                        ReadingRow(counter_no=number, at_s=at_s, value_milli=1, received_s=1, vessel_id="plover")
                    )
                    session.connection().exec_driver_sql(f"INSERT INTO remembered (name, value) VALUES ('{at_s}', 'x')")
                written[0] += 1

        thread = threading.Thread(target=write)
        thread.start()
        while written[0] < 3:
            done.wait(0.001)
        before = written[0]
        try:
            made = make_backup(database, tmp_path / "backups", None, AT)
        finally:
            done.set()
            thread.join()
    rows = check_backup(made).rows
    assert before <= rows["reading"][0] == rows["remembered"][0] <= written[0]


def flip(file: Path) -> None:
    """Changes one bit in the middle of a file."""
    content = bytearray(file.read_bytes())
    content[len(content) // 2] ^= 1
    file.write_bytes(content)


DAMAGES: dict[str, Callable[[Path], object]] = {
    "database": lambda folder: flip(next(folder.glob("database.*"))),
    NAME: lambda folder: flip(folder / "photos" / "plover" / NAME),
    f"{NAME}: No such file": lambda folder: (folder / "photos" / "plover" / NAME).unlink(),
    "cannot be understood": lambda folder: (folder / MANIFEST).write_text("{}"),
    "no whole backup": lambda folder: (folder / MANIFEST).unlink(),
}


@pytest.mark.parametrize("says", DAMAGES)
def test_a_damaged_backup_is_refused_by_name_and_nothing_is_replaced(says: str, kind: str, tmp_path: Path) -> None:
    """One bit of the database or a photo, a missing file, a manifest that is none: named, and the database stays."""
    with store(kind, tmp_path) as database:
        fill(database)
        made = make_backup(database, tmp_path / "backups", photos_in(tmp_path / "photos"), AT)
        before = rows_of(database)
        DAMAGES[says](made)
        with pytest.raises((Refused, NotFound)) as refused:
            restore_backup(made, address(database), tmp_path / "photos", AT, replace=True)
        assert says.partition(":")[0] in refused.value.says
        assert rows_of(database) == before


def forge(folder: Path, change: Callable[[dict[str, Any]], object]) -> None:
    """Changes the manifest."""
    members = json.loads((folder / MANIFEST).read_text())
    change(members)
    (folder / MANIFEST).write_text(json.dumps(members))


def test_rows_that_are_not_those_backed_up_undo_the_restore(kind: str, tmp_path: Path) -> None:
    """One row more in the manifest than in the file: refused after all was loaded, and the old database is there as it was."""
    with ready_url(kind, tmp_path) as url:
        database = open_database(url)
        fill(database)
        made = make_backup(database, tmp_path / "backups", None, AT)
        with database.write("plover") as session:
            session.connection().exec_driver_sql("DELETE FROM remembered")
        before = rows_of(database)
        database.close()
        forge(made, lambda members: members["rows"]["counter"].__setitem__(0, 5))
        with pytest.raises(
            SchedulerError, match=r"not what was backed up|rows differ from those backed up in: counter"
        ):
            restore_backup(made, url, None, AT + timedelta(seconds=1), replace=True)
        database = open_database(url)
        assert rows_of(database) == before
        database.close()
    assert not list(tmp_path.glob(".*half"))


@pytest.mark.parametrize("kind", [one for one in KINDS if one != "sqlite"])
def test_values_that_differ_with_as_many_rows_undo_the_restore_too(kind: str, tmp_path: Path) -> None:
    """On PostgreSQL the rows are summed over all their values, since no file can be compared."""
    with ready_url(kind, tmp_path) as url:
        database = open_database(url)
        fill(database)
        made = make_backup(database, tmp_path / "backups", None, AT)
        database.close()
        forge(made, lambda members: members["rows"]["reading"].__setitem__(1, "1"))
        with pytest.raises(SchedulerError, match="differ from those backed up in: reading"):
            restore_backup(made, url, None, AT + timedelta(seconds=1), replace=True)


def test_a_database_that_is_there_goes_only_when_that_is_said_and_stays_aside(kind: str, tmp_path: Path) -> None:
    """Without replace it is refused; with it the one from before can be had again: an SQLite file, a backup of PostgreSQL."""
    with ready_url(kind, tmp_path) as url:
        database = open_database(url)
        fill(database)
        expected = rows_of(database)
        made = make_backup(database, tmp_path / "backups", None, AT)
        with database.write("plover") as session:
            session.connection().exec_driver_sql("DELETE FROM reading")
        later = rows_of(database)
        database.close()
        with pytest.raises(Clash, match="--replace"):
            restore_backup(made, url, None, AT, replace=False)
        aside = restore_backup(made, url, None, AT + timedelta(seconds=1), replace=True)
        assert aside is not None
        database = open_database(url)
        assert rows_of(database) == expected
        database.close()
        if kind == "sqlite":
            old = open_database(str(aside), create=False)
        else:
            restore_backup(aside, url, None, AT + timedelta(seconds=2), replace=True)
            old = open_database(url)
        assert rows_of(old) == later
        old.close()


def test_nothing_is_restored_under_a_server(kind: str, tmp_path: Path) -> None:
    """A served SQLite file, and a PostgreSQL database with other connections, are refused in words."""
    with ready_url(kind, tmp_path) as url:
        database = open_database(url)
        made = make_backup(database, tmp_path / "backups", None, AT)
        with only_server(database.path), pytest.raises(Clash, match=r"(?i)server"):
            restore_backup(made, url, None, AT, replace=True)
        database.close()


def test_a_backup_of_a_newer_version_or_another_kind_is_refused(kind: str, tmp_path: Path) -> None:
    """Before anything is touched, and with what to do."""
    with store(kind, tmp_path) as database:
        made = make_backup(database, tmp_path / "backups", None, AT)
        other = "sqlite" if kind == "postgresql" else "postgresql"
        forge(made, lambda members: members.update(step="v9999", version="9.0"))
        with pytest.raises(Clash, match=r"newer version \(9.0\)"):
            restore_backup(made, address(database), None, AT, replace=True)
        forge(made, lambda members: members.update(step="v0001"))
        target = str(tmp_path / "x.db") if other == "sqlite" else "postgresql://nobody@127.0.0.1/none"
        with pytest.raises(Refused, match=f"of {kind}"):
            restore_backup(made, target, None, AT, replace=True)


@pytest.mark.parametrize(
    ("member", "forged"),
    [("files", {"/etc/passwd": "0"}), ("files", {"../x": "0"}), ("files", {"a/../../x": "0"}),
     ("rows", {"x'; DROP TABLE vessel; --": [1, ""]}), ("rows", {"vessel": [1, "0') --"]}), ("rows", {"vessel": ["x", ""]})],
)  # fmt: skip
def test_a_manifest_that_points_outside_its_folder_or_its_tables_is_refused(
    member: str, forged: dict[str, Any], tmp_path: Path
) -> None:
    """Paths are looked at before any is opened, names of tables before they become part of a statement."""
    with store("sqlite", tmp_path) as database:
        made = make_backup(database, tmp_path / "backups", None, AT)
    forge(made, lambda members: members[member].update(forged))
    with pytest.raises(Refused, match="cannot be understood"):
        check_backup(made)


@pytest.mark.parametrize(("count", "left"), [(1, 1), (2, 2), (3, 3), (4, 3)])
def test_the_oldest_go_until_as_many_are_left_as_are_set(count: int, left: int, tmp_path: Path) -> None:
    """The newest stay; a half one whose process is gone goes too, one that is being made stays."""
    with store("sqlite", tmp_path) as database:
        for day in range(3):
            make_backup(database, tmp_path / "backups", None, AT + timedelta(days=day))
    busy = tmp_path / "backups" / f".leadline-20261130T021500Z.{os.getpid()}.half"
    busy.mkdir()
    (tmp_path / "backups" / ".leadline-20261130T021500Z.99999999.half").mkdir()
    before = backups_in(tmp_path / "backups")
    gone = drop_oldest(tmp_path / "backups", count)
    assert gone == before[: 3 - left]
    assert backups_in(tmp_path / "backups") == before[3 - left :]
    assert list((tmp_path / "backups").glob(".*")) == [busy]


def test_a_photo_of_the_last_backup_is_not_stored_twice_unless_it_was_damaged(tmp_path: Path) -> None:
    """The same file under two names; one whose content is not what its name says is copied anew."""
    photos = photos_in(tmp_path / "photos")
    with store("sqlite", tmp_path) as database:
        one, two, three = (AT + timedelta(days=day) for day in range(3))
        first = make_backup(database, tmp_path / "backups", photos, one) / "photos" / "plover" / NAME
        second = make_backup(database, tmp_path / "backups", photos, two) / "photos" / "plover" / NAME
        assert first.samefile(second)
        second.write_bytes(b"rot")
        third = make_backup(database, tmp_path / "backups", photos, three) / "photos" / "plover" / NAME
        assert third.read_bytes() == PICTURE


def test_a_backup_leaves_the_database_its_room(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Refused, and nothing left of it, where less is free than the file and the floor; made where just as much is."""
    with store("sqlite", tmp_path) as database:
        assert database.path is not None
        needs = database.floor_bytes + database.path.stat().st_size
        usage = backup.shutil.disk_usage(tmp_path)
        monkeypatch.setattr(backup.shutil, "disk_usage", lambda _: usage._replace(free=needs - 1))
        database.require_room = lambda: None  # type: ignore[method-assign]
        with pytest.raises(StorageFull, match="A backup needs about"):
            make_backup(database, tmp_path / "backups", None, AT)
        assert list((tmp_path / "backups").iterdir()) == []
        monkeypatch.setattr(backup.shutil, "disk_usage", lambda _: usage._replace(free=needs))
        assert make_backup(database, tmp_path / "backups", None, AT).is_dir()
        with pytest.raises(Clash, match="already"):
            make_backup(database, tmp_path / "backups", None, AT)


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    """A file where the folder should be."""
    (tmp_path / "backups").write_text("x")
    with store("sqlite", tmp_path) as database, pytest.raises(StorageFull, match="another folder"):
        make_backup(database, tmp_path / "backups", None, AT)


def test_missing_or_old_programs_are_said_with_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """None, one version too old, the right one, and of several the oldest that is new enough."""
    folders: dict[str, int] = {}

    def there() -> list[Path]:
        for name in folders:
            for program in ("pg_dump", "pg_restore", "psql"):
                (tmp_path / name).mkdir(exist_ok=True)
                (tmp_path / name / program).touch()
        return [tmp_path / name for name in folders]

    monkeypatch.setattr(postgres_tools, "_folders", there)
    monkeypatch.setattr(postgres_tools, "_major", lambda folder: folders[folder.name])
    with pytest.raises(Refused, match=r"found: none.*postgresql-client"):
        postgres_tools.find_tools(15)
    folders["old"] = 14
    with pytest.raises(Refused, match="found: 14 in"):
        postgres_tools.find_tools(15)
    folders |= {"newest": 18, "same": 15}
    assert postgres_tools.find_tools(15) == tmp_path / "same"
    assert postgres_tools.find_tools(16) == tmp_path / "newest"


def test_a_manifest_reads_as_it_was_written(tmp_path: Path) -> None:
    """Instants stay instants, rows stay counts."""
    one = Manifest(
        made_at=AT,
        version="1",
        dialect="sqlite",
        step="v0001",
        files={"database.sqlite": "0"},
        rows={"vessel": (2, "")},
    )
    (tmp_path / MANIFEST).write_text(one.text())
    assert Manifest.read(tmp_path) == one
    assert replace(one, step="v0002") != one


def test_the_next_server_waits_for_what_a_killed_one_leaves_and_for_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the process that wrote its number is gone, its timers are given time to end; under one that lives the file is refused."""
    place = tmp_path / "ship.db"
    left = os.open(tmp_path / "ship.db.serving", os.O_RDWR | os.O_CREAT)
    fcntl.flock(left, fcntl.LOCK_EX)
    waited: list[float] = []
    monkeypatch.setattr(
        serving.time, "sleep", lambda seconds: (waited.append(seconds), fcntl.flock(left, fcntl.LOCK_UN))
    )
    try:
        for holder in (os.getpid(), os.getppid()):
            os.pwrite(left, f"{holder}\n".encode(), 0)
            with pytest.raises(Clash, match=f"process {holder}"), only_server(place):
                pass
        assert waited == []
        os.pwrite(left, b"4194305\n", 0)  # above the largest number of a process: proc(5), /proc/sys/kernel/pid_max
        with only_server(place) as handle:
            assert len(waited) == 1
            assert os.pread(handle or 0, 20, 0).decode() == f"{os.getpid()}\n"
    finally:
        os.close(left)
