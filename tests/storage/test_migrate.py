"""The way from nothing, and from an older database, to this program's tables."""

import json
import re
import shutil
import sqlite3
from datetime import UTC, datetime
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import Connection, inspect
from sqlmodel import select

from scheduler.errors import Clash, Refused
from scheduler.storage import migrate, search
from scheduler.storage.database import Database, open_database
from scheduler.storage.hours.counters import CounterRow
from scheduler.storage.hours.readings import ReadingRow
from scheduler.storage.migrate import OPTIONS, copy_to, create_or_check, newest, upgrade
from scheduler.storage.plan import PlanRow, SlotRow
from scheduler.storage.shore.capture import Capture
from scheduler.storage.tables import METADATA
from scheduler.storage.vessel import DocumentVersionRow, KindSinceRow, VesselRow
from tests.storage.stores import add_vessel, empty_url, ready_url

NOW = newest()
NEXT = f"v{int(NOW[1:]) + 1:04d}"
STEP = f'''"""A step for a test."""

import sqlalchemy as sa
from alembic import op

revision = "{NEXT}"
down_revision = "{NOW}"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """As it says."""
'''
ANEW = """    anew = "always" if op.get_bind().dialect.name == "sqlite" else "auto"
    with op.batch_alter_table("counter", recreate=anew) as table:
        table.add_column(sa.Column("note", sa.String()))
"""
HALF = (
    """    op.create_table("extra", sa.Column("no", sa.Integer(), primary_key=True))
    op.execute("INSERT INTO extra (no) VALUES (1)")
"""
    + ANEW
    + """    op.execute("INSERT INTO nowhere (no) VALUES (1)")
"""
)
ORPHANS = """    op.execute("DELETE FROM counter")
"""


_OLD_PLAN = sa.text(
    "INSERT INTO plan (id, vessel_id, plant_id, digest, problem_digest, status, made_s, taken_s, starts_s, problem, plan, lawful, "
    "version) VALUES (:id, 'plover', 'plover-plant', :id, 'p', :status, 1, :taken_s, 1, :problem, :plan, true, 1)"
)
_OLD_SLOT = sa.text(
    "INSERT INTO slot (id, vessel_id, plan_id, job_key, start_s, end_s, least_margin_litres_per_h, pinned, version) "
    "VALUES (:id, 'plover', :plan, 'overhaul:a:1', 1, 2, 0, false, 1)"
)

_OFFSET = sa.text(
    "INSERT INTO ship_offset (vessel_id, from_s, offset_minutes, actor, reason, recorded_s) "
    "VALUES ('plover', :from_s, 0, 'A', '', :recorded_s)"
)


@pytest.fixture
def next_step(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The file of a further step; a test writes its body."""
    folder = tmp_path / "migrations"
    shutil.copytree(Path(migrate.__file__).parent / "migrations", folder, ignore=shutil.ignore_patterns("__pycache__"))
    step = folder / "versions" / f"{NEXT}_test.py"
    monkeypatch.setattr(migrate, "_MIGRATIONS", folder)
    return step


def schema_of(connection: Connection) -> set[str]:
    """All columns, constraints and indexes as the database itself describes them, triggers apart."""
    if connection.dialect.name == "sqlite":
        found = connection.exec_driver_sql(
            "SELECT tbl_name, sql FROM sqlite_master WHERE sql NOT NULL AND type != 'trigger' "
            f"AND tbl_name NOT LIKE '{search.TABLE}%'"  # of each database's own kind; tests/storage/test_record_index.py
        )
        # a table that a step made anew is named in quotes
        return {
            f"{table}: {' '.join(line.split())}".replace(f'TABLE "{table}"', f"TABLE {table}")
            for table, sql in found
            for line in re.split(r",\s*(?![^()]*\))|\n", sql)  # a column added later stands on the line of the last one
        }
    statements = (
        "SELECT concat_ws(' ', table_name, column_name, data_type, character_maximum_length, is_nullable, "
        "column_default) FROM information_schema.columns WHERE table_schema = 'public' "
        f"AND table_name != '{search.TABLE}'",
        "SELECT concat_ws(' ', conrelid::regclass, conname, pg_get_constraintdef(oid)) FROM pg_constraint "
        "WHERE connamespace = 'public'::regnamespace "
        f"AND conrelid::regclass::text != '{search.TABLE}'",
        f"SELECT indexdef FROM pg_indexes WHERE schemaname = 'public' AND tablename != '{search.TABLE}'",
    )
    return {row for statement in statements for (row,) in connection.exec_driver_sql(statement)}


def without_alembic(schema: set[str]) -> set[str]:
    """The schema without the table that remembers the step."""
    return {line for line in schema if "alembic_version" not in line}


def test_tables_and_migrations_agree_as_alembic_sees_it(db: Database) -> None:
    """Nothing is left to generate: the steps lead to exactly the tables of the code."""
    with db.write_engine.connect() as connection:
        options = {name: value for name, value in OPTIONS.items() if name != "target_metadata"}
        assert compare_metadata(MigrationContext.configure(connection, opts=options), METADATA) == []


def test_tables_and_migrations_agree_to_the_letter(kind: str, tmp_path: Path) -> None:
    """Every CHECK, default, partial index and WITHOUT ROWID is the same, which alembic does not compare."""
    with empty_url(kind, tmp_path) as url:
        database = open_database(url)
        with database.write_engine.begin() as connection:
            METADATA.create_all(connection)
            wanted = schema_of(connection)
        database.close()
    with ready_url(kind, tmp_path) as url:
        database = open_database(url)
        with database.read_engine.connect() as connection:
            found = schema_of(connection)
        database.close()
    assert len(wanted) > 100
    assert without_alembic(found) == wanted


def test_names_of_tables_follow_from_the_classes() -> None:
    """Every table carries vessel_id or is the vessel, or says through its person or session whose it is."""
    by_person = {"sign_in_link", "session", "remembered"}  # the last is the installation's own
    assert {name for name, table in METADATA.tables.items() if "vessel_id" not in table.c} == by_person | {"vessel"}


@pytest.mark.long
def test_creating_twice_changes_nothing(kind: str, tmp_path: Path) -> None:
    """An empty database gets the tables; one that has them is only checked."""
    with empty_url(kind, tmp_path) as url:
        database = open_database(url)
        create_or_check(database)
        add_vessel(database)
        create_or_check(database)
        with database.read() as session:
            assert len(session.exec(select(CounterRow)).all()) == 4
        database.close()


def test_a_step_that_fails_half_way_leaves_nothing(kind: str, tmp_path: Path, next_step: Path) -> None:
    """Table, row, altered column and step number are all undone, and the database goes on working."""
    with ready_url(kind, tmp_path) as url:
        database = open_database(url)
        add_vessel(database)
        with database.read_engine.connect() as connection:
            before = schema_of(connection)
        database.close()
        next_step.write_text(STEP + HALF)
        with pytest.raises(Clash) as clash:
            upgrade(url)
        assert "nowhere" in str(clash.value.__cause__)
        database = open_database(url)
        with database.read_engine.connect() as connection:
            assert schema_of(connection) == before
            assert not inspect(connection).has_table("extra")
        with database.write("") as session:
            assert len(session.exec(select(CounterRow)).all()) == 4
            assert session.connection().exec_driver_sql("SELECT version_num FROM alembic_version").scalar_one() == NOW
        database.close()


@pytest.mark.long
def test_a_step_that_fails_on_an_empty_database_leaves_it_empty(kind: str, tmp_path: Path, next_step: Path) -> None:
    """The first start makes all tables or none."""
    next_step.write_text(STEP + HALF)
    with empty_url(kind, tmp_path) as url:
        database = open_database(url)
        with pytest.raises(Clash):
            create_or_check(database)
        with database.read_engine.connect() as connection:
            assert inspect(connection).get_table_names() == []
        next_step.unlink()
        create_or_check(database)
        database.close()


def test_an_older_database_is_refused_until_it_is_upgraded(kind: str, tmp_path: Path, next_step: Path) -> None:
    """Start-up names the command; after it rows and what points at them are there, and SQLite has a copy from before."""
    with ready_url(kind, tmp_path) as url:
        database = open_database(url)
        (number, *_) = add_vessel(database)
        with database.write("") as session:
            session.add(ReadingRow(counter_no=number, at_s=1, value_milli=1, received_s=1, vessel_id="plover"))
        next_step.write_text(STEP + ANEW)
        with pytest.raises(Clash, match="leadline upgrade"):
            create_or_check(database)
        database.close()
        done = upgrade(url)
        assert (done.before, done.after) == (NOW, NEXT)
        database = open_database(url)
        create_or_check(database)
        with database.write("") as session:
            assert session.connection().exec_driver_sql("SELECT note FROM counter").all() == [(None,)] * 4
            assert len(session.exec(select(ReadingRow)).all()) == 1
        with pytest.raises(Clash, match="not there"), database.write("") as session:  # foreign keys are on again
            session.add(ReadingRow(counter_no=999, at_s=1, value_milli=1, received_s=1, vessel_id="plover"))
        database.close()
        if kind == "sqlite":
            assert done.backup is not None
            with sqlite3.connect(done.backup) as copy:
                assert copy.execute("SELECT version_num FROM alembic_version").fetchone() == (NOW,)
                assert copy.execute("SELECT count(*) FROM reading").fetchone() == (1,)
            copy.close()
        assert upgrade(url).backup is None


def steps_until(last: str, folder: Path) -> Path:
    """A copy of the steps, without those after one."""
    older = folder / "older"
    shutil.copytree(Path(migrate.__file__).parent / "migrations", older, ignore=shutil.ignore_patterns("__pycache__"))
    for later in (older / "versions").glob("v*.py"):
        if later.name[:5] > last:
            later.unlink()
    return older


def test_plans_of_an_older_database_read_as_before_and_untaken_ones_are_pruned(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Proposed, taken and once taken stay, word for word, and packed; one that was proposed and never taken goes with its slots."""
    older = steps_until("v0011", tmp_path)
    text = json.dumps({"slots": ["VP1", "Maß", "\u2028"] * 400}, ensure_ascii=False)
    document = '{"plants": [{"id": "aft", "job_kinds": [{"code": "a"}, {"code": "b"}]}]}'
    plans = {
        "aboard": ("taken", 5),
        "shown": ("proposed", None),
        "before": ("superseded", 3),
        "never": ("superseded", None),
    }
    with empty_url(kind, tmp_path) as url:
        with monkeypatch.context() as patched:
            patched.setattr(migrate, "_MIGRATIONS", older)
            patched.setattr(Capture, "joined", frozenset())  # there was no office then
            database = open_database(url)
            create_or_check(database)
            add_vessel(database)
            with database.write("") as session:
                for key, (status, taken_s) in plans.items():
                    row = {"id": key, "status": status, "taken_s": taken_s, "problem": text, "plan": text[::-1]}
                    session.connection().execute(_OLD_PLAN, row)
                    session.connection().execute(_OLD_SLOT, {"id": f"s-{key}", "plan": key})
                session.connection().execute(sa.text("UPDATE vessel SET document = :text"), {"text": document})
                for from_s, recorded_s in ((0, 77), (50, 99)):
                    row = {"from_s": from_s, "recorded_s": recorded_s}
                    session.connection().execute(_OFFSET, row)
            database.close()
        upgrade(url)
        database = open_database(url)
        create_or_check(database)
        with database.read() as session:
            rows = {row.id: row for row in session.exec(select(PlanRow))}
            assert rows.keys() == {"aboard", "shown", "before"}
            assert all((row.problem, row.plan) == (text, text[::-1]) for row in rows.values())
            assert {slot.plan_id for slot in session.exec(select(SlotRow))} == rows.keys()
            longest = session.connection().execute(sa.text("SELECT max(length(problem)) FROM plan")).scalar_one()
            assert longest < len(text.encode()) / 20
            (version,) = session.exec(select(DocumentVersionRow))
            assert (version.vessel_id, version.version, version.document, version.by, version.record) == (
                "plover", 1, document, "", 0,
            )  # fmt: skip
            kinds = session.exec(select(KindSinceRow))
            assert {(row.plant_id, row.kind, int(row.since_at.timestamp())) for row in kinds} == {
                ("aft", "a", 77),
                ("aft", "b", 77),
            }
        database.close()


def test_a_step_that_leaves_orphans_is_undone(sqlite: Database, next_step: Path) -> None:
    """SQLite does not watch foreign keys during a step; they are looked over before the commit."""
    (number, *_) = add_vessel(sqlite)
    with sqlite.write("") as session:
        session.add(ReadingRow(counter_no=number, at_s=1, value_milli=1, received_s=1, vessel_id="plover"))
    sqlite.close()
    next_step.write_text(STEP + ORPHANS)
    with pytest.raises(Refused, match="points at nothing"):
        upgrade(sqlite.url.render_as_string())
    with sqlite.read() as session:
        assert len(session.exec(select(CounterRow)).all()) == 4


def test_a_newer_database_is_refused(fresh_db: Database) -> None:
    """Tables of a later version are left alone."""
    with fresh_db.write("") as session:
        session.connection().exec_driver_sql("UPDATE alembic_version SET version_num = 'v9999'")
    with pytest.raises(Clash, match="newer"):
        create_or_check(fresh_db)
    with pytest.raises(Clash, match="newer"):
        upgrade(fresh_db.url.render_as_string(hide_password=False))


def test_another_programs_database_is_refused(kind: str, tmp_path: Path) -> None:
    """A database with other tables is not touched."""
    with empty_url(kind, tmp_path) as url:
        database = open_database(url)
        with database.write_engine.begin() as connection:
            connection.exec_driver_sql("CREATE TABLE stores (no INTEGER)")
        with pytest.raises(Refused, match="not this program's"):
            create_or_check(database)
        with database.read_engine.connect() as connection:
            assert inspect(connection).get_table_names() == ["stores"]
        database.close()


def test_the_newest_step_is_the_last_file() -> None:
    """Step names follow the files' names."""
    files = sorted((Path(migrate.__file__).parent / "migrations" / "versions").glob("v*.py"))
    assert files[-1].name.startswith(f"{newest()}_")


def test_a_copy_holds_what_was_committed_while_a_writer_goes_on(sqlite: Database, tmp_path: Path) -> None:
    """The copy opens, passes its check, and has no row of the transaction that was open meanwhile."""
    add_vessel(sqlite)
    target = tmp_path / "copy.db"
    with sqlite.write("") as session:
        session.add(
            VesselRow(
                id="avocet", name="Demo Avocet", imo="0246800", document="{}", version=1, changed_at=datetime.now(UTC)
            )
        )
        session.flush()
        copy_to(sqlite, target)
    copy = open_database(str(target), create=False)
    create_or_check(copy)
    with copy.read() as session:
        assert session.exec(select(VesselRow.id)).all() == ["plover"]
    copy.close()
    assert [path.name for path in tmp_path.iterdir() if "half" in path.name] == []


def test_what_was_asked_for_and_what_failed_is_carried_into_numbers(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of rows of runs: a plan open twice is open once since the first; one that ended stays as it ended, and on the list of runs."""
    rows = [
        ("plan anew", "plover-plant@10-a", 10, None, None),
        ("plan anew", "plover-plant@12-b", 12, None, None),
        ("plan anew", "plover-plant@1-c", 1, 5, "failed: no memory"),
        ("plan anew", "other@2-d", 2, 3, "done"),
        ("fleet calendar", "plover@ff", 11, None, None),
        ("calendar", "plover", 7, 7, "failed: no room"),
        ("nightly round", "plover 2026-11-30", 4, 4, "done"),
    ]
    with empty_url(kind, tmp_path) as url:
        with monkeypatch.context() as patched:
            patched.setattr(migrate, "_MIGRATIONS", steps_until("v0029", tmp_path))
            patched.setattr(Capture, "joined", frozenset())  # there was no office then
            database = open_database(url)
            create_or_check(database)
            add_vessel(database)
            insert = sa.text("INSERT INTO task_run VALUES (:task, :period, 'plover', :began, :ended, :outcome)")
            with database.write("") as session:
                for row in rows:
                    named = dict(zip(("task", "period", "began", "ended", "outcome"), row, strict=True))
                    session.connection().execute(insert, named)
            database.close()
        upgrade(url)
        database = open_database(url)
        asked = (
            "SELECT plant_id, task, asked - made, asked_s, ended_s, outcome FROM pending_task ORDER BY task, plant_id"
        )
        with database.read() as session:
            assert [tuple(row) for row in session.connection().execute(sa.text(asked))] == [
                ("", "calendar", 0, 7, 7, "failed: no room"),
                ("", "fleet calendar", 1, 11, None, None),
                ("other", "plan", 0, 2, 3, "done"),
                ("plover-plant", "plan", 1, 10, 5, "failed: no memory"),
            ]
            left = session.connection().execute(sa.text("SELECT period FROM task_run ORDER BY period"))
            assert [period for (period,) in left] == sorted(row[1] for row in rows if row[3] is not None)
        database.close()
