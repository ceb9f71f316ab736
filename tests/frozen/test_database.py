"""A database of step v0015 with the whole world in it, brought up to date by `leadline upgrade`: all is there."""

import base64
import gzip
import json
import re
import sqlite3
import zlib
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import psycopg
import pytest

from tests.frozen import doors
from tests.frozen.gathering import answers
from tests.frozen.kept import KEPT, differences, load
from tests.frozen.test_answers import named
from tests.frozen.world import opened_again

pytestmark = pytest.mark.long

TABLES: dict[str, str] = {"daybook": "voyage_version", "spell": "voyage_stretch", "feed_token": "address"}
"""Tables that have another name now: the old one to the new."""
COLUMNS: dict[tuple[str, str], str] = {}
"""Columns that have another name now: (old table, old column) to the new one."""
DROPPED: dict[tuple[str, str], str] = {}
"""Columns that are gone: (old table, old column) to the reason."""
IN_PLACE_OF_NONE: dict[tuple[str, str], Any] = {("person", "vessel_id"): ""}
"""Columns that are never empty now: (old table, old column) to what stands where nothing stood."""
SAYS_OTHERWISE = {
    "/api/v1/history": "an export is on record itself",
    "/plan/why/": "starts that are not possible are told with their seconds",
}
"""What is part of questions that are rightly answered otherwise than on the day of that database, and why."""
NOT_KEPT = {"alembic_version"}
"""Tables that say something about the program alone."""

Ask = Callable[[str], list[tuple[Any, ...]]]
_INSTANT = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d:\d\d(\.\d+)?(Z|\+00:00)?")


def plain(value: Any) -> Any:
    """A stored value whatever its type: an instant in epoch seconds, packed text as text, JSON in one spelling."""
    if isinstance(value, bool) or value is None:
        return value if value is None else int(value)
    if isinstance(value, datetime):
        return int((value if value.tzinfo else value.replace(tzinfo=UTC)).timestamp())
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal | float):
        return int(value) if value == int(value) else float(value)
    if isinstance(value, bytes | memoryview):
        return plain(_unpacked(bytes(value)))
    if isinstance(value, dict | list):
        return json.dumps(value, sort_keys=True)
    if isinstance(value, str) and _INSTANT.fullmatch(value):
        return plain(datetime.fromisoformat(value))
    if isinstance(value, str) and value[:1] in ("{", "["):
        try:
            return json.dumps(json.loads(value), sort_keys=True)
        except ValueError:
            return value
    return value


def _unpacked(value: bytes) -> str:
    try:
        return zlib.decompress(value).decode()
    except (zlib.error, UnicodeDecodeError):
        return value.hex()


def old(folder: Path) -> sqlite3.Connection:
    """The database of that day, in a file of its own."""
    connection = sqlite3.connect(folder / "old.db")
    connection.executescript(gzip.decompress((KEPT / "database.sqlite.sql.gz").read_bytes()).decode())
    return connection


def tables(connection: sqlite3.Connection) -> dict[str, list[str]]:
    """Table to its columns."""
    found = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")
    return {
        name: [column[1] for column in connection.execute(f'PRAGMA table_info("{name}")')]
        for (name,) in found.fetchall()
        if name not in NOT_KEPT
    }


def lost(before: sqlite3.Connection, ask: Ask) -> Iterator[str]:
    """What the old database has and the new one has not."""
    for table, columns in tables(before).items():
        stay = [column for column in columns if (table, column) not in DROPPED]
        there = [COLUMNS.get((table, column), column) for column in stay]
        none = [IN_PLACE_OF_NONE.get((table, column)) for column in stay]
        kept = _rows(
            [
                tuple(instead if value is None else value for value, instead in zip(row, none, strict=True))
                for row in before.execute(f'SELECT {_listed(stay)} FROM "{table}"')
            ]
        )
        found = _rows(ask(f'SELECT {_listed(there)} FROM "{TABLES.get(table, table)}"'))
        if kept.total() != found.total():
            yield f"{table}: {kept.total()} rows, now {found.total()}"
        yield from (f"{table}: {dict(zip(stay, row, strict=True))} is not there" for row in kept - found)


def _listed(columns: list[str]) -> str:
    return ", ".join(f'"{column}"' for column in columns)


def _rows(found: list[tuple[Any, ...]]) -> Counter[tuple[Any, ...]]:
    return Counter(tuple(map(plain, row)) for row in found)


def upgraded(url: str) -> None:
    """The program's own upgrade, by its command."""
    told = doors.leadline("--database", url, "upgrade")
    assert told.returncode == 0, told.stderr


@pytest.fixture
def photos(tmp_path: Path) -> Path:
    """The photos of the world as files."""
    for name, content in load("database.known.json")["photos"].items():
        file = tmp_path / "photos" / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(base64.b64decode(content))
    return tmp_path / "photos"


def same_answers(url: str, photos: Path) -> None:
    """The doors over this database answer as they did on its day; what has been added since is left aside."""
    kept = load("answers_old.json.gz")["answers"]
    with opened_again(url, photos, load("database.known.json")) as w:
        now = answers(w)
    asked = [name for name in kept.keys() & now.keys() if not any(part in name for part in SAYS_OTHERWISE)]
    found = [one for name in asked for one in differences(kept[name], now[name], name)]
    assert len(asked) > 0.9 * len(kept)
    assert not found, named(found)


def test_every_row_and_value_of_an_old_sqlite_file_is_there_after_the_upgrade_and_the_doors_answer_the_same(
    tmp_path: Path, photos: Path
) -> None:
    """Readings, records with their texts and hashes, and all else, column by column, whatever type a column has now."""
    file, before = tmp_path / "ship.db", old(tmp_path)
    with sqlite3.connect(file) as copy:
        before.backup(copy)
    copy.close()
    upgraded(str(file))
    now = sqlite3.connect(file)
    found = list(lost(before, lambda statement: now.execute(statement).fetchall()))
    now.close()
    before.close()
    assert not found, named(found)
    same_answers(str(file), photos)


@pytest.mark.skipif("postgresql" not in doors.kinds(), reason="no PostgreSQL server is there")
def test_every_row_and_value_of_an_old_postgresql_database_is_there_after_the_upgrade_and_the_doors_answer_the_same(
    tmp_path: Path, photos: Path
) -> None:
    """The same rows in PostgreSQL's own tables of that step."""
    before = old(tmp_path)
    with doors.empty_url("postgresql", tmp_path) as url:
        with psycopg.connect(url) as connection:
            connection.execute(gzip.decompress((KEPT / "database.postgresql.sql.gz").read_bytes()))
            connection.execute("SET session_replication_role = replica")  # rows come table by table
            for table, columns in {**tables(before), "alembic_version": ["version_num"]}.items():
                _copy(before, connection, table, columns)
        upgraded(url)
        with psycopg.connect(url) as connection:
            found = list(lost(before, lambda statement: connection.execute(statement).fetchall()))
        assert not found, named(found)
        same_answers(url, photos)
    before.close()


def _copy(before: sqlite3.Connection, to: psycopg.Connection[Any], table: str, columns: list[str]) -> None:
    """The rows of a table; a number the database gives goes on after the greatest one there."""
    kinds = dict(
        to.execute(
            "SELECT column_name, data_type FROM information_schema.columns WHERE table_name = %s", (table,)
        ).fetchall()
    )
    rows = [
        tuple(bool(v) if kinds[c] == "boolean" and v is not None else v for c, v in zip(columns, row, strict=True))
        for row in before.execute(f'SELECT {_listed(columns)} FROM "{table}"')
    ]
    with to.cursor() as cursor:
        places = ", ".join(["%s"] * len(columns))
        given = "OVERRIDING SYSTEM VALUE " if _counts(to, table) else ""
        cursor.executemany(f'INSERT INTO "{table}" ({_listed(columns)}) {given}VALUES ({places})', rows)
    for column in _counts(to, table):
        to.execute(
            f"SELECT setval(pg_get_serial_sequence('{table}', '{column}'), (SELECT max(\"{column}\") FROM \"{table}\"))"
        )


def _counts(to: psycopg.Connection[Any], table: str) -> list[str]:
    found = to.execute(
        "SELECT column_name FROM information_schema.columns WHERE table_name = %s "
        "AND (is_identity = 'YES' OR column_default LIKE 'nextval%%')",
        (table,),
    )
    return [column for (column,) in found.fetchall()]


def test_the_comparison_takes_another_type_for_the_same_and_another_value_for_a_loss() -> None:
    """An instant as text, JSON spelled otherwise, a truth value; then a changed value, and a row that is gone."""
    before, now = sqlite3.connect(":memory:"), sqlite3.connect(":memory:")
    before.execute("CREATE TABLE thing (at INTEGER, told TEXT, yes BOOLEAN)")
    before.execute("INSERT INTO thing VALUES (1792479600, '{\"b\": 1, \"a\": 2}', 1), (NULL, 'x', 0)")
    now.execute("CREATE TABLE thing (yes INTEGER, at TEXT, told TEXT, more TEXT)")
    now.execute(
        "INSERT INTO thing VALUES (1, '2026-10-20 07:00:00+00:00', '{\"a\":2,\"b\":1}', ''), (0, NULL, 'x', 'y')"
    )

    def ask(statement: str) -> list[tuple[Any, ...]]:
        return now.execute(statement).fetchall()

    assert list(lost(before, ask)) == []
    now.execute("UPDATE thing SET told = 'z' WHERE yes = 0")
    assert len(list(lost(before, ask))) == 1
    now.execute("DELETE FROM thing WHERE yes = 0")
    assert next(iter(lost(before, ask))) == "thing: 2 rows, now 1"
    before.close()
    now.close()
