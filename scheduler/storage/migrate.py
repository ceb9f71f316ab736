"""Makes the tables, checks that they are this program's, and brings an older database up to date."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, inspect

from scheduler.errors import Clash, Refused
from scheduler.storage import search
from scheduler.storage.database import Database, open_database
from scheduler.storage.disk import to_disk
from scheduler.storage.foreign import OTHER_TABLES, ours
from scheduler.storage.tables import METADATA

OPTIONS: dict[str, Any] = {
    "target_metadata": METADATA,
    "render_as_batch": True,
    "compare_type": True,
    "include_name": lambda name, kind, _: kind != "table" or not str(name).startswith(search.TABLE),
    "transactional_ddl": True,  # true of SQLite too, since the engine begins its transactions itself
}
"""How alembic sees the tables, in the steps and in the test that compares them."""

_MIGRATIONS = Path(__file__).parent / "migrations"


@dataclass(frozen=True, slots=True, kw_only=True)
class Upgraded:
    """What `upgrade` did: the step before (none: no tables) and after, and where the copy made first is."""

    before: str | None
    after: str
    backup: Path | None


def newest() -> str:
    """The step this program needs."""
    return _newest_in((_MIGRATIONS / "versions").stat().st_mtime_ns, _MIGRATIONS)


@cache
def _newest_in(_changed_ns: int, _folder: Path) -> str:
    """Each step is a module to be loaded: once for a folder as it is."""
    return str(ScriptDirectory.from_config(_config()).get_current_head())


def create_or_check(database: Database) -> None:
    """Makes the tables in an empty database; in any other, sees that they are the ones this program needs.

    Raises:
        Clash: the tables are older (the message says the command) or newer than this program.
        Refused: the database holds something else.
        Busy: somebody else holds the database.
    """
    if step_of(database) == newest():
        return  # nobody's turn to write is waited for where there is nothing to do
    with _alone(database) as connection:
        current = _current(connection)
        if current is None:
            _run(connection)
        elif current != newest():
            raise Clash(
                f"The tables of this database are at step {current}, this program needs {newest()}. Run "
                "`leadline upgrade`, which makes a copy first."
                if current in steps_known()
                else f"The tables of this database are at step {current}, which this program does not know: a newer "
                "version made them. Install that version."
            )


def step_of(database: Database) -> str | None:
    """The step of a database's tables; none when it has none. Raises Refused when it holds something else."""
    with database.read() as session:
        return _current(session.connection())


def upgrade(url: str) -> Upgraded:
    """Brings a database to this program's step, all steps or none; an SQLite file is copied first, beside itself.

    Raises:
        Clash: a newer program made the tables. Refused: the database holds something else, or a step would break a
        foreign key. StorageFull, Busy: nothing was changed.
    """
    database = open_database(url, create=False)
    try:
        before = step_of(database)
        if before == newest():
            return Upgraded(before=before, after=before, backup=None)
        if before is not None and before not in steps_known():
            raise Clash(f"The tables are at step {before}, which this program does not know. Install a newer version.")
        copy = None
        if database.path and before is not None:
            copy = database.path.with_name(f"{database.path.name}.before-{newest()}")
            copy_to(database, copy)
        with _alone(database) as connection:
            if _current(connection) != before:
                raise Clash("Somebody else is upgrading this database. Look again when that is done.")
            _run(connection)
        return Upgraded(before=before, after=newest(), backup=copy)
    finally:
        database.close()


def copy_to(database: Database, target: Path) -> None:
    """A checked, complete copy of an SQLite database at `target` (replaced if there), while others go on using it.

    Raises:
        Refused: not SQLite, or the copy does not pass its check. StorageFull, Busy: no copy was made.
    """
    if database.path is None:
        raise Refused("This copy is for SQLite; `leadline backup` copies a PostgreSQL database.")
    database.require_room()
    half = target.with_name(f".{target.name}.{os.getpid()}.half")
    half.unlink(missing_ok=True)
    try:
        with ours():
            source = database.connect()
            try:
                source.execute("VACUUM INTO ?", (str(half),))
            finally:
                source.close()
            made = database.write_engine.dialect.loaded_dbapi.connect(str(half))
            try:
                (found,) = made.execute("PRAGMA quick_check(1)").fetchone()
            finally:
                made.close()
        if found != "ok":
            raise Refused(f"The copy {target} does not pass SQLite's check ({found}); it was thrown away.")
        to_disk(half)
        half.replace(target)
        to_disk(target.parent)
    finally:
        half.unlink(missing_ok=True)


@contextmanager
def _alone(database: Database) -> Iterator[Connection]:
    """The only writer, in one transaction in which SQLite leaves foreign keys alone until the end."""
    with ours(), database.turn():
        database.require_room()
        with database.write_engine.connect() as connection:
            if database.path:
                connection.connection.execute("PRAGMA foreign_keys = OFF")  # has no effect inside a transaction
            try:
                with connection.begin():
                    database.lock_vessels(connection, None)
                    yield connection
                    if database.path:
                        broken = connection.exec_driver_sql("PRAGMA foreign_key_check").first()
                        if broken is not None:
                            raise Refused(f"A step left a row of {broken[0]} that points at nothing; all was undone.")
            finally:
                if database.path:
                    connection.connection.execute("PRAGMA foreign_keys = ON")


def _current(connection: Connection) -> str | None:
    """The step the database is at; none when it is empty."""
    step = MigrationContext.configure(connection).get_current_revision()
    if step is None and inspect(connection).get_table_names():
        raise Refused(f"The database holds tables that are not this program's, or half of them. {OTHER_TABLES}")
    return step


def _run(connection: Connection) -> None:
    config = _config()
    config.attributes["connection"] = connection
    command.upgrade(config, "head")


@cache
def steps_known() -> frozenset[str]:
    """Every step of this program's tables, the oldest one too."""
    return frozenset(script.revision for script in ScriptDirectory.from_config(_config()).walk_revisions())


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(_MIGRATIONS).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return config
