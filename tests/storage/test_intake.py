"""The readings' way in: what is answered, when, and what stays when things fail."""

import threading
from collections.abc import Sequence
from concurrent.futures import Future
from datetime import UTC, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlmodel import select

from scheduler.clock import fixed_clock
from scheduler.errors import Busy, Clash, StorageFull
from scheduler.storage.database import Database
from scheduler.storage.hours.counters import CounterRow
from scheduler.storage.hours.intake import Intake, IntakeAnswer, LogItem, PostedReading, Taken
from scheduler.storage.hours.readings import IntakeLogRow, ReadingRow, Unstored
from scheduler.storage.vessel import RevisionRow
from tests.storage.stores import POISON, add_vessel, poison_commits

CLOCK = fixed_clock(datetime(2026, 11, 25, 7, tzinfo=UTC))


def take(database: Database, *requests: Sequence[tuple[int, int, int, int]]) -> list[IntakeAnswer]:
    """The answers to requests that waited together, so that they went in as one group."""
    intake = Intake(database, CLOCK)
    futures = [intake.submit("plover", request) for request in requests]
    with intake:
        return [future.result(timeout=30) for future in futures]


def stored(database: Database) -> dict[tuple[int, int], int]:
    """All readings: value by counter and instant."""
    with database.read() as session:
        found = session.exec(select(ReadingRow.counter_no, ReadingRow.at_s, ReadingRow.value_milli)).all()
    return {(no, at): value for no, at, value in found}


def test_the_door_says_stored_duplicate_or_conflict(db: Database) -> None:
    """The same value again is a duplicate; another value at the same instant is a conflict and the first one stays."""
    a, b, *_ = add_vessel(db)
    first = take(db, [(a, 100, 5000, 101), (b, 100, 7000, 101)])
    again = take(db, [(a, 100, 5000, 102), (b, 100, 7500, 102), (a, 200, 6000, 202)])
    assert first == [IntakeAnswer((Taken.STORED, Taken.STORED), {a: 100, b: 100})]
    assert again == [IntakeAnswer((Taken.DUPLICATE, Taken.CONFLICT, Taken.STORED), {a: 200, b: 100})]
    assert stored(db) == {(a, 100): 5000, (b, 100): 7000, (a, 200): 6000}


def test_requests_of_one_group_are_told_apart_as_if_they_came_one_by_one(db: Database) -> None:
    """Within a group, and within a request, the first in order of arrival is stored."""
    (a, *_) = add_vessel(db)
    answers = take(
        db, [(a, 1, 10, 1), (a, 1, 10, 1), (a, 1, 11, 1)], [(a, 1, 10, 2)], [(a, 1, 12, 2), (a, 2, 13, 2)], []
    )
    assert [answer.doors for answer in answers] == [
        (Taken.STORED, Taken.DUPLICATE, Taken.CONFLICT),
        (Taken.DUPLICATE,),
        (Taken.CONFLICT, Taken.STORED),
        (),
    ]
    assert stored(db) == {(a, 1): 10, (a, 2): 13}


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow], max_examples=15)
@given(
    groups=st.lists(
        st.lists(st.lists(st.tuples(st.integers(0, 2), st.integers(0, 4), st.integers(0, 2)), max_size=6), max_size=4),
        max_size=3,
    )
)
def test_any_grouping_answers_as_a_plain_dictionary_would(
    db: Database, groups: list[list[list[tuple[int, int, int]]]]
) -> None:
    """However readings are cut into requests and groups, doors, rows, newest_s and dirty_from_s are those of a dict."""
    with db.write("") as session:
        for table in ("reading", "intake_log", "counter", "vessel"):
            session.connection().exec_driver_sql(f"DELETE FROM {table}")
    numbers = add_vessel(db, counters=3)
    held: dict[tuple[int, int], int] = {}
    for group in groups:
        requests = [[(numbers[no], at, value, 9) for no, at, value in request] for request in group]
        for answer, request in zip(take(db, *requests), requests, strict=True):
            expected = []
            for no, at, value, _ in request:
                new = (no, at) not in held
                same = held.setdefault((no, at), value) == value
                expected.append(Taken.STORED if new else Taken.DUPLICATE if same else Taken.CONFLICT)
            assert answer.doors == tuple(expected)
    assert stored(db) == held
    with db.read() as session:
        for row in session.exec(select(CounterRow)):
            instants = [at for no, at in held if no == row.no]
            assert (row.newest_s, row.dirty_from_s) == (max(instants, default=None), min(instants, default=None))


def test_late_readings_move_the_dirty_mark_back_and_never_the_newest(db: Database) -> None:
    """What must be derived anew starts at the earliest new instant; duplicates and conflicts move nothing."""
    a, b, *_ = add_vessel(db)
    take(db, [(a, 500, 1, 500), (b, 500, 1, 500)])
    with db.write("") as session:
        for row in session.exec(select(CounterRow)):
            row.dirty_from_s = None
    take(db, [(a, 300, 1, 500), (a, 400, 1, 500), (b, 500, 1, 500), (b, 500, 2, 500)])
    with db.read() as session:
        marks = {row.no: (row.newest_s, row.dirty_from_s) for row in session.exec(select(CounterRow))}
    assert (marks[a], marks[b]) == ((500, 300), (500, None))


def test_refused_items_and_conflicts_are_kept_in_the_intake_log(db: Database) -> None:
    """What is not stored can be read later, as it came and with the reason."""
    (a, *_) = add_vessel(db)
    take(db, [(a, 100, 12_006_500, 1)])
    refused = LogItem("plover-c9", 7, Unstored.REFUSED, "no such counter", '{"value": 5}')
    with Intake(db, CLOCK) as intake:
        intake.submit("plover", [(a, 100, 12_007_000, 8)], [refused]).result()
        intake.submit("plover", [], [refused]).result()
    with db.read() as session:
        rows = session.exec(select(IntakeLogRow).order_by("id")).all()
    assert [(row.vessel_id, row.counter_ref, row.received_s, row.status) for row in rows] == [
        ("plover", "plover-c9", 7, Unstored.REFUSED),
        ("plover", "plover-c1", 8, Unstored.CONFLICT),
        ("plover", "plover-c9", 7, Unstored.REFUSED),
    ]
    assert rows[1].why == "the counter showed 12006.5 at that instant already; the first one stays"
    assert rows[1].item == '{"counter": "plover-c1", "at_s": 100, "value": "12007"}'


def test_the_revision_moves_when_something_was_stored(db: Database) -> None:
    """Caches of the vessel fall out of date with a new reading, not with a duplicate, and no other vessel's do."""
    (a, *_) = add_vessel(db)
    add_vessel(db, "avocet")
    for _ in range(2):
        take(db, [(a, 1, 1, 1)])
    with db.read() as session:
        assert [(row.vessel_id, row.number) for row in session.exec(select(RevisionRow))] == [("plover", 1)]


def test_a_request_is_answered_only_after_its_commit(db: Database) -> None:
    """When the answer comes, another connection sees the rows; while the commit cannot happen, no answer comes."""
    (a, *_) = add_vessel(db)
    seen: list[int] = []
    with Intake(db, CLOCK) as intake:
        with db.write("plover"):
            futures = [intake.submit("plover", [(a, at, 1, 1)]) for at in range(5)]
            for future in futures:
                future.add_done_callback(lambda _: seen.append(len(stored(db))))
            assert not any(future.done() for future in futures)
            assert stored(db) == {}
        for future in futures:
            future.result(timeout=30)
    assert all(count >= number for number, count in enumerate(seen, start=1))
    assert len(seen) == 5


def test_a_commit_that_fails_never_answers_stored(fresh_db: Database) -> None:
    """The request whose commit fails gets the error; the others of its group are stored by themselves."""
    a, b, *_ = add_vessel(fresh_db)
    poison_commits(fresh_db)
    intake = Intake(fresh_db, CLOCK)
    good = intake.submit("plover", [(a, 1, 1, 1)])
    bad = intake.submit("plover", [(a, 2, 2, 1), (b, 2, POISON, 1)])
    late = intake.submit("plover", [(a, 3, 3, 1)])
    with intake:
        assert good.result(timeout=30).doors == late.result(timeout=30).doors == (Taken.STORED,)
        with pytest.raises(Clash):
            bad.result(timeout=30)
        assert intake.submit("plover", [(a, 4, 4, 1)]).result(timeout=30).doors == (Taken.STORED,)
    assert stored(fresh_db) == {(a, 1): 1, (a, 3): 3, (a, 4): 4}
    assert (intake.state().stored, intake.state().failed) == (3, 1)


def test_a_counter_of_another_vessel_is_a_clash_of_that_request_alone(db: Database) -> None:
    """A reading cannot be stored under a vessel that does not own the counter."""
    (a, *_) = add_vessel(db)
    add_vessel(db, "avocet")
    intake = Intake(db, CLOCK)
    wrong, right = intake.submit("avocet", [(a, 1, 1, 1)]), intake.submit("plover", [(a, 2, 2, 1)])
    with intake:
        assert right.result(timeout=30).doors == (Taken.STORED,)
        with pytest.raises(Clash):
            wrong.result(timeout=30)
    assert stored(db) == {(a, 2): 2}


def test_a_full_queue_says_when_to_come_again_and_what_waits_is_stored(sqlite: Database) -> None:
    """Beyond the bound nothing is taken; stopping stores what was."""
    (a, *_) = add_vessel(sqlite)
    intake = Intake(sqlite, CLOCK, waiting_requests=2)
    waiting = [intake.submit("plover", [(a, at, 1, 1)]) for at in (1, 2)]
    with pytest.raises(Busy, match="None of these was taken") as busy:
        intake.submit("plover", [(a, 3, 1, 1)])
    assert busy.value.more == {"retry_after": 1}
    assert intake.state().waiting_requests == 2
    intake.start().stop()
    assert all(future.result(timeout=0).doors == (Taken.STORED,) for future in waiting)
    assert stored(sqlite) == {(a, 1): 1, (a, 2): 1}


def test_waiting_readings_are_bounded_too(sqlite: Database) -> None:
    """Few requests with many readings fill it as well; one large request alone is taken."""
    (a, *_) = add_vessel(sqlite)
    intake = Intake(sqlite, CLOCK, waiting_readings=3)
    intake.submit("plover", [(a, at, 1, 1) for at in range(5)])
    with pytest.raises(Busy):
        intake.submit("plover", [(a, 9, 1, 1)])
    intake.start().stop()
    assert len(stored(sqlite)) == 5


def test_a_stopped_intake_takes_nothing(sqlite: Database) -> None:
    """After stop, and after a second stop, requests are sent away."""
    (a, *_) = add_vessel(sqlite)
    intake = Intake(sqlite, CLOCK).start()
    intake.stop()
    intake.stop()
    with pytest.raises(Busy, match="stopping"):
        intake.submit("plover", [(a, 1, 1, 1)])


def test_a_request_that_was_cancelled_while_it_waited_is_not_stored(sqlite: Database) -> None:
    """Cancelling works until the writer has taken the request."""
    (a, *_) = add_vessel(sqlite)
    intake = Intake(sqlite, CLOCK)
    futures: list[Future[IntakeAnswer]] = [intake.submit("plover", [PostedReading(a, at, 1, 1)]) for at in (1, 2)]
    assert futures[0].cancel()
    with intake:
        futures[1].result(timeout=30)
    assert stored(sqlite) == {(a, 2): 1}


def test_no_room_is_told_and_passes(sqlite: Database) -> None:
    """Below the floor of free space requests get StorageFull; when space is there again they are stored."""
    (a, *_) = add_vessel(sqlite)
    with Intake(sqlite, CLOCK) as intake:
        sqlite.floor_bytes = 2**62
        with pytest.raises(StorageFull):
            intake.submit("plover", [(a, 1, 1, 1)]).result(timeout=30)
        sqlite.floor_bytes = 0
        assert intake.submit("plover", [(a, 1, 1, 1)]).result(timeout=30).doors == (Taken.STORED,)
    assert intake.state().last_commit_at == CLOCK()


@pytest.mark.parametrize("kind", ["postgresql"], indirect=True)
def test_a_torn_connection_is_busy_once_and_then_made_anew(db: Database) -> None:
    """When the server ends the connection, the waiting request is told to come again, and the next one is stored."""
    (a, *_) = add_vessel(db)
    with Intake(db, CLOCK) as intake:
        intake.submit("plover", [(a, 1, 1, 1)]).result(timeout=30)
        with db.write("") as session:
            session.connection().exec_driver_sql(
                "SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity "
                "WHERE datname = current_database() AND pid != pg_backend_pid()"
            )
        with pytest.raises(Busy):
            intake.submit("plover", [(a, 2, 1, 1)]).result(timeout=30)
        assert intake.submit("plover", [(a, 2, 1, 1)]).result(timeout=30).doors == (Taken.STORED,)
    assert len(stored(db)) == 2


def test_people_get_their_turn_while_readings_pour_in(sqlite: Database) -> None:
    """Twenty hand writes go through beside four threads that post without pause, and nothing is lost."""
    numbers = add_vessel(sqlite)
    done = threading.Event()
    counts = dict.fromkeys(numbers, 0)
    with Intake(sqlite, CLOCK) as intake:

        def pour(no: int) -> None:
            while not done.is_set() or not counts[no]:
                intake.submit("plover", [(no, counts[no], 1, 1)]).result(timeout=30)
                counts[no] += 1

        threads = [threading.Thread(target=pour, args=(no,)) for no in numbers]
        for thread in threads:
            thread.start()
        for number in range(20):
            with sqlite.write("") as session:
                session.add(RevisionRow(vessel_id=f"hand {number}", number=1))
        done.set()
        for thread in threads:
            thread.join()
    assert len(stored(sqlite)) == sum(counts.values())
