"""The database's two doors: who may write, what is kept, which errors come out."""

import os
import threading
from collections.abc import Callable
from contextlib import AbstractContextManager, suppress
from datetime import UTC, datetime
from pathlib import Path
from unittest.mock import patch

import pytest
from sqlalchemy import Engine, create_engine, exc, insert, text
from sqlmodel import Session, select

from scheduler.domain.base.enums import Trigger
from scheduler.errors import Busy, Clash, NotFound, Refused, StorageFull
from scheduler.storage.capacity import OutageRow, OutageStatus
from scheduler.storage.database import Database, bump_revision, open_database, parse_url, read_once
from scheduler.storage.hours.readings import ReadingRow
from scheduler.storage.migrate import create_or_check
from scheduler.storage.plan import PlanRow, PlanStatus
from scheduler.storage.turns import Turns
from scheduler.storage.vessel import AssetKind, AssetRow, RevisionRow, ShipOffsetRow, VesselRow
from scheduler.storage.work import JobRow
from tests.storage.stores import POISON, add_vessel, empty_url, poison_commits

AT = datetime(2026, 11, 30, tzinfo=UTC)
THREADS, ROUNDS = 4, 25


def together(work: Callable[[int], None]) -> list[BaseException]:
    """Runs `work(number)` in four threads at once; what they raised."""
    raised: list[BaseException] = []

    def run(number: int) -> None:
        try:
            work(number)
        except BaseException as error:
            raised.append(error)

    threads = [threading.Thread(target=run, args=(number,)) for number in range(THREADS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return raised


def count_up(session_of: Callable[[int], AbstractContextManager[Session]]) -> list[BaseException]:
    """Four threads read a number, add one and write it back, meeting between read and write where they can."""
    meeting = threading.Barrier(THREADS)

    def work(number: int) -> None:
        for _ in range(ROUNDS):
            with session_of(number) as session:
                row = session.exec(select(RevisionRow).where(RevisionRow.vessel_id == "plover")).one()
                with suppress(threading.BrokenBarrierError):
                    meeting.wait(timeout=0.05)
                row.number += 1
                session.add(row)
                session.commit()

    return together(work)


def number_in(database: Database) -> int:
    """The number that `count_up` counts."""
    with database.read() as session:
        return session.exec(select(RevisionRow.number).where(RevisionRow.vessel_id == "plover")).one()


@pytest.mark.parametrize("vessel_id", ["", "plover"])
def test_four_threads_that_read_decide_and_write_lose_no_update(db: Database, vessel_id: str) -> None:
    """Writers take turns from their first statement on, so no update rests on a number read too early."""
    with db.write("") as session:
        session.add(RevisionRow(vessel_id="plover", number=0))
    assert count_up(lambda _: db.write(vessel_id)) == []
    assert number_in(db) == THREADS * ROUNDS


def test_four_programs_that_read_decide_and_write_lose_no_update(db: Database) -> None:
    """The same when each writer has the database open for itself, as the server and the command line have."""
    with db.write("") as session:
        session.add(RevisionRow(vessel_id="plover", number=0))
    opened = [open_database(db.url.render_as_string(hide_password=False)) for _ in range(THREADS)]
    assert count_up(lambda number: opened[number].write("")) == []
    assert number_in(db) == THREADS * ROUNDS
    for database in opened:
        database.close()


def test_the_drivers_default_settings_would_lose_updates_or_fail(sqlite: Database) -> None:
    """The same threads on an engine without our settings do not reach the sum, so the test above can fail."""
    with sqlite.write("") as session:
        session.add(RevisionRow(vessel_id="plover", number=0))
    engine: Engine = create_engine(sqlite.url, connect_args={"timeout": 0.2})
    raised = count_up(lambda _: Session(engine))
    engine.dispose()
    assert raised or number_in(sqlite) < THREADS * ROUNDS


def test_a_block_that_raises_stores_nothing(db: Database) -> None:
    """A write block is all or nothing."""

    def halfway() -> None:
        with db.write("") as session:
            session.add(RevisionRow(vessel_id="plover", number=1))
            session.flush()
            raise RuntimeError("halfway")

    with pytest.raises(RuntimeError, match="halfway"):
        halfway()
    with db.read() as session:
        assert session.exec(select(RevisionRow)).all() == []


def test_after_a_commit_that_failed_the_next_write_goes_through(fresh_db: Database) -> None:
    """The failed one is an error and stores nothing; the connection it used is good again."""
    (no, *_) = add_vessel(fresh_db)
    poison_commits(fresh_db)

    def write(value: int) -> None:
        with fresh_db.write("") as session:
            session.add(ReadingRow(counter_no=no, at_s=value, value_milli=value, received_s=1, vessel_id="plover"))

    for _ in range(2):
        with pytest.raises(Clash):
            write(POISON)
    write(1)
    with fresh_db.read() as session:
        assert session.exec(select(ReadingRow.at_s)).all() == [1]


def test_the_reading_door_cannot_write(db: Database) -> None:
    """A write through `read` is refused by the database itself."""
    with pytest.raises(StorageFull, match="cannot be written"), db.read() as session:
        session.connection().execute(insert(RevisionRow), {"vessel_id": "plover", "number": 1})


def test_a_reader_sees_one_state_while_others_write(db: Database) -> None:
    """What was committed after a reader's first look is not seen until its next block."""
    with db.read() as session:
        assert session.exec(select(RevisionRow)).all() == []
        with db.write("") as other:
            other.add(RevisionRow(vessel_id="plover", number=1))
        assert session.exec(select(RevisionRow)).all() == []
    assert number_in(db) == 1


def test_a_reader_reads_a_thing_once_and_a_writer_each_time(db: Database) -> None:
    """`read_once`: a reader's state never changes, so what it has read stays; a writer sees what it wrote itself."""

    def numbers(session: Session) -> list[int]:
        return list(read_once(session, "numbers", lambda: session.exec(select(RevisionRow.number)).all()))

    with db.write("plover") as session:
        assert numbers(session) == []
        bump_revision(session, "plover")
        assert numbers(session) == [1]
    with db.read() as session:
        assert numbers(session) == [1]
        assert read_once(session, "numbers", list) == [1]
    with db.read() as session:  # each reader anew
        assert read_once(session, "numbers", list) == []


def test_the_revision_goes_up_by_one_each_time(db: Database) -> None:
    """Each bump gives the next number, from 1."""
    for expected in (1, 2, 3):
        with db.write("plover") as session:
            assert bump_revision(session, "plover") == expected


def test_ids_of_assets_are_unique_across_vessels(db: Database) -> None:
    """A second vessel cannot use an id of the first."""
    add_vessel(db, "plover")
    add_vessel(db, "avocet")
    with db.write("") as session:
        session.add(AssetRow(id="p1", vessel_id="plover", kind=AssetKind.PUMP))
    with pytest.raises(Clash), db.write("") as session:
        session.add(AssetRow(id="p1", vessel_id="avocet", kind=AssetKind.PUMP))


def test_a_row_that_points_at_nothing_is_refused(db: Database) -> None:
    """Foreign keys hold on both databases; a reading must be of a counter of its own vessel."""
    (number, *_) = add_vessel(db, "plover")
    add_vessel(db, "avocet")
    with pytest.raises(Clash, match="not there"), db.write("") as session:
        session.add(AssetRow(id="p1", vessel_id="nobody", kind=AssetKind.PUMP))
    with pytest.raises(Clash, match="not there"), db.write("") as session:
        session.add(ReadingRow(counter_no=number, at_s=1, value_milli=1, received_s=1, vessel_id="avocet"))


def test_missing_values_are_refused(db: Database) -> None:
    """NOT NULL holds on both databases."""
    with pytest.raises(exc.IntegrityError), db.write("") as session:
        session.add(VesselRow(id="plover", name="Demo Plover", imo="0123450", version=1, changed_at=AT))


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE asset SET kind = 'boiler'",
        "UPDATE outage SET status = 'sleeping'",
        "UPDATE outage SET to_s = from_s - 1",
        "UPDATE ship_offset SET offset_minutes = 901",
        "UPDATE counter SET seconds_per_count = 0",
        "UPDATE job SET trigger = 'moon'",
    ],
)
def test_values_outside_their_range_are_refused(db: Database, statement: str) -> None:
    """CHECK constraints hold on both databases."""
    add_vessel(db)
    with db.write("") as session:
        session.add(AssetRow(id="p1", vessel_id="plover", kind=AssetKind.PUMP))
        session.add(
            ShipOffsetRow(vessel_id="plover", from_at=AT, offset_minutes=60, actor="a", reason="r", recorded_at=AT)
        )
        session.add(
            OutageRow(
                id="o1",
                vessel_id="plover",
                plant_id="plant",
                pump_id="p1",
                from_at=AT,
                status=OutageStatus.DOWN,
                reason="clogged",
                actor="a",
                recorded_at=AT,
            )
        )
        session.add(job())
    with pytest.raises(exc.IntegrityError), db.write("") as session:
        session.connection().execute(text(statement.replace(" trigger ", ' "trigger" ')))


def job() -> JobRow:
    """An invented job."""
    return JobRow(
        key="overhaul:p1:1",
        vessel_id="plover",
        plant_id="plant",
        kind="overhaul",
        subject_id="p1",
        sequence=1,
        state="ahead",
        due_at=AT,
        window_at=AT,
        limit_at=AT,
        trigger=Trigger.CALENDAR,
    )


def test_words_come_back_as_the_words_that_were_stored(db: Database) -> None:
    """Enums are stored by value and read back as members."""
    add_vessel(db)
    with db.write("") as session:
        session.add(job())
    with db.read() as session:
        assert session.exec(select(JobRow.trigger)).one() is Trigger.CALENDAR
        assert session.connection().exec_driver_sql('SELECT "trigger" FROM job').scalar_one() == "calendar"


@pytest.mark.parametrize("status", [PlanStatus.PROPOSED, PlanStatus.TAKEN])
def test_a_plant_has_at_most_one_plan_proposed_and_one_taken(db: Database, status: PlanStatus) -> None:
    """A second plan of the same standing is refused; superseded ones may be many."""
    add_vessel(db)

    def plan(name: str, status: PlanStatus) -> PlanRow:
        return PlanRow(
            id=name,
            vessel_id="plover",
            plant_id="plant",
            digest=name,
            problem_digest=name,
            status=status,
            made_at=AT,
            starts_at=AT,
            problem="{}",
            plan="{}",
            lawful=True,
        )

    with db.write("") as session:
        session.add_all([plan("a", status), plan("b", PlanStatus.SUPERSEDED), plan("c", PlanStatus.SUPERSEDED)])
    with pytest.raises(Clash), db.write("") as session:
        session.add(plan("d", status))


def test_a_writer_that_gets_no_turn_is_told_to_come_again(db: Database) -> None:
    """While another process writes, a write ends as Busy with the seconds to wait."""
    other = db.connect()
    with db.write("") as session:  # the one pooled connection of this test waits less than it would
        wait = "PRAGMA busy_timeout = 20" if db.path else "SET lock_timeout = 20"
        session.connection().exec_driver_sql(wait)
    other.execute("BEGIN IMMEDIATE" if db.path else "BEGIN")
    if not db.path:
        other.execute("SELECT pg_advisory_xact_lock(7231004117)")
    with pytest.raises(Busy) as busy, db.write("") as session:
        session.add(RevisionRow(vessel_id="plover", number=1))
    assert busy.value.more == {"retry_after": 1}
    other.execute("ROLLBACK")
    other.close()
    with db.write("") as session:
        session.add(RevisionRow(vessel_id="plover", number=1))


def test_a_write_inside_a_write_is_a_fault_at_once(sqlite: Database) -> None:
    """It would wait for itself; it says so instead."""
    with pytest.raises(RuntimeError, match="inside a write"), sqlite.write(""), sqlite.write(""):
        pass


def test_no_room_is_its_own_error_and_passes_when_there_is_room_again(sqlite: Database) -> None:
    """A full database file, or too little free space, stores nothing and blocks nothing."""
    with sqlite.write("") as session:
        session.connection().exec_driver_sql("PRAGMA max_page_count = 1")  # as small as the file is now
    with pytest.raises(StorageFull), sqlite.write("") as session:
        session.add_all([RevisionRow(vessel_id=f"{number}" * 200, number=number) for number in range(200)])
    with sqlite.write("") as session:
        session.connection().exec_driver_sql("PRAGMA max_page_count = 4294967294")
    sqlite.floor_bytes = 2**62
    with pytest.raises(StorageFull), sqlite.write(""):
        pass
    sqlite.floor_bytes = 0
    with sqlite.write("") as session:
        session.add(RevisionRow(vessel_id="plover", number=1))
    assert number_in(sqlite) == 1


def test_sqlite_is_set_to_keep_what_it_acknowledged(sqlite: Database) -> None:
    """Write-ahead log, synchronous FULL (2) and foreign keys on every connection of both engines."""
    for engine in (sqlite.write_engine, sqlite.read_engine):
        with engine.connect() as connection:
            found = {
                name: connection.exec_driver_sql(f"PRAGMA {name}").scalar_one()
                for name in ("journal_mode", "synchronous", "foreign_keys", "busy_timeout")
            }
        assert found == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1, "busy_timeout": 5000}


def test_a_database_without_tables_says_what_to_run(kind: str, tmp_path: Path) -> None:
    """A missing table is told as a matter of `leadline upgrade`, not as a driver's error."""
    with empty_url(kind, tmp_path) as url:
        database = open_database(url)
        with pytest.raises(Clash, match="leadline upgrade"), database.read() as session:
            session.exec(select(VesselRow)).all()
        database.close()


def test_a_database_that_is_not_there_is_named(kind: str, tmp_path: Path) -> None:
    """A wrong file, folder or database name is told plainly."""
    if kind == "sqlite":
        with pytest.raises(NotFound, match=r"nowhere\.db"):
            open_database(str(tmp_path / "nowhere.db"), create=False)
        with pytest.raises(NotFound, match="folder"):
            open_database(str(tmp_path / "no" / "ship.db"))
        with pytest.raises(Refused, match="is a folder"):
            open_database(str(tmp_path))
    else:
        with empty_url(kind, tmp_path) as url, pytest.raises(NotFound, match="no database of that name"):
            open_database(str(parse_url(url).set(database="nowhere").render_as_string(hide_password=False)))


def test_a_file_that_is_no_database_or_damaged_is_refused(sqlite: Database, tmp_path: Path) -> None:
    """Start-up looks the file over before anything is written to it."""
    text_file = tmp_path / "letter.db"
    text_file.write_text("Dear chief engineer, " * 100)
    with pytest.raises(Refused, match="not an SQLite database"):
        open_database(str(text_file))
    add_vessel(sqlite, counters=200)
    sqlite.close()
    assert sqlite.path is not None
    content = bytearray(sqlite.path.read_bytes())
    for page in range(2, len(content) // 4096):
        content[page * 4096 : page * 4096 + 64] = b"\xff" * 64
    sqlite.path.write_bytes(content)
    with pytest.raises(Refused, match="damaged"):
        open_database(str(sqlite.path))


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ("ship.db", "sqlite:///ship.db"),
        ("/data/ship.db", "sqlite:////data/ship.db"),
        ("sqlite:///ship.db", "sqlite:///ship.db"),
        ("postgresql://office@db/leadline", "postgresql+psycopg://office@db/leadline"),
    ],
)
def test_an_address_may_be_a_path_or_a_url(given: str, expected: str) -> None:
    """Plain paths, SQLite and PostgreSQL addresses are understood."""
    assert parse_url(given).render_as_string() == expected


@pytest.mark.parametrize(
    "given",
    ["", "/", ".", "a/..", ":memory:", "sqlite://", "sqlite:////", "sqlite:///.", "oracle://x/y", "http://x", "://"],
)
def test_other_addresses_are_refused(given: str) -> None:
    """A database that would not last, that names no file, or is not known, is refused with the forms that are."""
    with pytest.raises(Refused, match=r"expected|Give a path"):
        parse_url(given)


def test_an_interrupt_while_waiting_for_the_turn_leaves_it_to_the_next() -> None:
    """Somebody waits, is interrupted, and goes: the turn comes to the one after."""
    turns = Turns(5)
    holds, done = threading.Event(), threading.Event()

    def hold() -> None:
        with turns.take():
            holds.set()
            done.wait(10)

    holder = threading.Thread(target=hold)
    holder.start()
    holds.wait(10)
    interrupted = patch.object(threading.Condition, "wait_for", side_effect=KeyboardInterrupt)
    with interrupted, pytest.raises(KeyboardInterrupt), turns.take():
        pass
    done.set()
    holder.join(10)
    with turns.take():
        pass


def test_what_no_column_takes_is_refused_and_nothing_is_stored(db: Database) -> None:
    """A whole number beyond 64 bits on SQLite and PostgreSQL; on the latter a NUL in a text too."""
    (number, *_) = add_vessel(db)
    with pytest.raises(Refused, match="too large"), db.write("") as session:
        session.add(ReadingRow(counter_no=number, at_s=2**63, value_milli=1, received_s=1, vessel_id="plover"))
    if db.path is None:
        with pytest.raises(Refused, match="NUL"), db.write("") as session:
            session.add(ReadingRow(counter_no=number, at_s=1, value_milli=1, received_s=1, vessel_id="a\x00b"))
    with db.read() as session:
        assert session.exec(select(ReadingRow)).all() == []


def test_the_file_and_what_lies_beside_it_are_for_their_owner_alone(tmp_path: Path) -> None:
    """A new database has mode 0600 with its log and index, whatever the umask; an older, open one is narrowed."""
    path, before = tmp_path / "ship.db", os.umask(0)
    try:
        database = open_database(str(path))
        create_or_check(database)

        def modes() -> dict[str, int]:
            return {one.name: one.stat().st_mode & 0o777 for one in tmp_path.iterdir()}

        names = {"ship.db", "ship.db-wal", "ship.db-shm"}
        assert modes() == dict.fromkeys(names, 0o600)
        for one in tmp_path.iterdir():
            one.chmod(0o664)
        open_database(str(path)).close()
        assert modes() == dict.fromkeys(names, 0o600)
        database.close()
    finally:
        os.umask(before)
