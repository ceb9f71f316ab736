"""Records: numbered without gaps, chained, and never changed."""

from datetime import UTC, datetime

import pytest
from sqlalchemy import exc, text

from scheduler.domain.record.chain import GENESIS, chain_hash
from scheduler.errors import Refused
from scheduler.storage import record
from scheduler.storage.database import Database
from scheduler.storage.record import append_record, chain_head, missing_guards, record_rows
from tests.storage.test_database import together

AT = datetime(2026, 11, 25, 7, 30, 15, 999_999, tzinfo=UTC)


def chain_is_whole(database: Database, vessel_id: str) -> int:
    """Checks numbers and hashes from the first record to the head; returns how many there are."""
    with database.read() as session:
        previous, count = GENESIS, 0
        for count, record in enumerate(record_rows(session, vessel_id), start=1):
            assert (record.number, record.previous_hash) == (count, previous)
            assert record.hash == chain_hash(record.text, previous)
            previous = record.hash
        assert chain_head(session, vessel_id) == (count, previous)
    return count


def test_records_are_chained_per_vessel(db: Database) -> None:
    """Each vessel's numbers run from 1, the installation's too, and each hash covers the one before."""
    for number in (1, 2, 3):
        for vessel_id in ("plover", "avocet", ""):
            with db.write(vessel_id) as session:
                assert append_record(session, vessel_id, "note", AT, {"says": f"no. {number}"})[0] == number
    assert [chain_is_whole(db, one) for one in ("plover", "avocet", "", "nobody")] == [3, 3, 3, 0]


def test_several_records_in_one_block_are_chained_too(db: Database) -> None:
    """A block may add many; they are numbered in the order in which they were added."""
    with db.write("plover") as session:
        assert [append_record(session, "plover", "note", AT, {"n": n})[0] for n in range(3)] == [1, 2, 3]
    assert chain_is_whole(db, "plover") == 3


def test_a_block_that_is_undone_leaves_no_gap(db: Database) -> None:
    """The number of an undone record is given to the next one."""

    def undone() -> None:
        with db.write("") as session:
            append_record(session, "plover", "note", AT, {"says": "never"})
            raise RuntimeError("halfway")

    with pytest.raises(RuntimeError, match="halfway"):
        undone()
    with pytest.raises(Refused), db.write("") as session:
        append_record(session, "plover", "note", AT, {"hours": float("nan")})
    with db.write("") as session:
        assert append_record(session, "plover", "note", AT, {"says": "first"})[0] == 1


@pytest.mark.parametrize("turn", [True, False])
def test_four_threads_make_one_chain(db: Database, turn: bool) -> None:
    """Records added at the same time get one number each; the chain's own lock is enough, without the writers' turns."""

    def work(number: int) -> None:
        for _ in range(10):
            with db.write("plover" if turn else f"vessel {number}") as session:
                append_record(session, "plover", "note", AT, {"by": number})

    assert together(work) == []
    assert chain_is_whole(db, "plover") == 40


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE record SET text = 'x' WHERE number = 1",
        "UPDATE record SET number = 7 WHERE number = 2",
        "DELETE FROM record WHERE number = 2",
        "DELETE FROM record",
        "INSERT INTO record SELECT vessel_id, number, 'x', hash, previous_hash, kind, recorded_s FROM record "
        "WHERE number = 1 ON CONFLICT (vessel_id, number) DO UPDATE SET text = 'x'",
    ],
)
def test_a_record_is_never_changed_or_deleted(db: Database, statement: str) -> None:
    """The database itself refuses, on both, and nothing of the block stays."""
    with db.write("") as session:
        append_record(session, "plover", "note", AT, {"n": 1})
        append_record(session, "plover", "note", AT, {"n": 2})
    with pytest.raises(exc.DBAPIError, match="a record is never"), db.write("") as session:
        session.connection().execute(text(statement))
    assert chain_is_whole(db, "plover") == 2


def test_no_way_round_the_refusal(db: Database) -> None:
    """REPLACE on SQLite and TRUNCATE on PostgreSQL are refused as well."""
    with db.write("") as session:
        append_record(session, "plover", "note", AT, {"n": 1})
    statement = "TRUNCATE record"
    if db.path:
        statement = "REPLACE INTO record SELECT vessel_id, number, 'x', hash, previous_hash, kind, 1 FROM record"
    with pytest.raises(exc.DBAPIError, match="a record is never"), db.write("") as session:
        session.connection().execute(text(statement))
    assert chain_is_whole(db, "plover") == 1


def test_records_are_read_by_range_and_kind(db: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both ends are included, the order is that of the numbers, and blocks do not show."""
    monkeypatch.setattr(record, "READ_AT_ONCE", 50)
    with db.write("") as session:
        for number in range(1, 63):
            append_record(session, "plover", "job" if number % 2 else "note", AT, {"n": number})
    with db.read() as session:
        assert [record.number for record in record_rows(session, "plover")] == list(range(1, 63))
        assert [record.number for record in record_rows(session, "plover", 49, 52)] == [49, 50, 51, 52]
        assert [record.number for record in record_rows(session, "plover", 55, kind="job")] == [55, 57, 59, 61]
        (first,) = record_rows(session, "plover", 1, 1)
    assert first.recorded_at == AT.replace(microsecond=0)
    assert first.text == '{"kind":"job","n":"1","number":"1","recorded_at":"2026-11-25T07:30:15Z"}'


def test_guards_that_are_gone_or_switched_off_are_named(db: Database) -> None:
    """None is missing from a new database; one dropped, and on PostgreSQL one switched off, is."""
    with db.read() as session:
        assert missing_guards(session) == []
    postgres = db.dialect == "postgresql"
    acts = (
        ["ALTER TABLE record DISABLE TRIGGER record_no_change", "DROP TRIGGER record_no_truncate ON record"]
        if postgres
        else ["DROP TRIGGER record_no_delete"]
    )
    with db.write("") as session:
        for one in acts:
            session.connection().exec_driver_sql(one)
    with db.read() as session:
        assert missing_guards(session) == (
            ["record_no_change", "record_no_truncate"] if postgres else ["record_no_delete"]
        )
