"""The mark that tells whether anything was committed since: what is kept in memory stands or falls by it."""

import sqlite3

from scheduler.storage.database import Database, bump_revision, open_database


def test_the_mark_stays_until_somebody_commits(sqlite: Database) -> None:
    """Reading leaves it; a commit of this program, of another program, or of the bare driver changes it."""
    first = sqlite.mark()
    with sqlite.read() as session:
        session.connection().exec_driver_sql("SELECT count(*) FROM vessel")
    assert sqlite.mark() == first
    seen = {first}

    def is_new() -> None:
        mark = sqlite.mark()
        assert mark not in seen
        assert sqlite.mark() == mark
        seen.add(mark)

    with sqlite.write("") as session:
        bump_revision(session, "")
    is_new()
    other = open_database(str(sqlite.path), check=False)
    with other.write("") as session:
        bump_revision(session, "")
    is_new()
    other.close()
    bare = sqlite3.connect(str(sqlite.path))
    with bare:
        bare.execute("UPDATE revision SET number = number + 1")
    bare.close()
    is_new()


def test_a_block_that_is_undone_leaves_the_mark(sqlite: Database) -> None:
    """Nothing was committed, so what is remembered still holds."""
    before = sqlite.mark()
    try:
        with sqlite.write("") as session:
            bump_revision(session, "")
            raise KeyError
    except KeyError:
        pass
    assert sqlite.mark() == before


def test_postgresql_has_no_mark(db: Database) -> None:
    """There, nothing may be held by it."""
    assert (db.mark() is None) == (db.dialect == "postgresql")
