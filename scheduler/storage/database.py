"""The database: one narrow door for reading, one for writing, on SQLite aboard and on PostgreSQL in the office.

Writers take turns on both: on SQLite by BEGIN IMMEDIATE, on PostgreSQL by an advisory lock of the vessel, so that
"read, decide, write" inside one `write` block never loses another's update.
"""

import hashlib
import importlib
import importlib.util
import os
import shutil
import threading
from collections.abc import Callable, Hashable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext, suppress
from pathlib import Path
from types import ModuleType
from typing import Any, Literal, TypeVar, cast

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import ArgumentError
from sqlmodel import Session as Session

from scheduler.clock import system_clock
from scheduler.errors import NotFound, Refused, StorageFull
from scheduler.language import gettext
from scheduler.storage.foreign import DAMAGED, FULL, READ_ONLY, ours
from scheduler.storage.shore.capture import CapturingSession, captured, look_at_statements
from scheduler.storage.shore.home import Writing, guard
from scheduler.storage.turns import Turns
from scheduler.storage.waking import WAKE, Wake, wake_for_calendar

FLOOR_BYTES = 32 * 1024 * 1024
"""Below this much free space nothing is written, so that the write-ahead log can still be folded in."""
WAIT_SECONDS = 5  # how long a writer waits for its turn

_PRAGMAS = (
    f"PRAGMA busy_timeout = {WAIT_SECONDS * 1000}",
    "PRAGMA synchronous = FULL",
    "PRAGMA foreign_keys = ON",
    f"PRAGMA journal_size_limit = {64 * 1024 * 1024}",
)
STOPPED_SECONDS = 300  # PostgreSQL ends a writer's transaction that asks nothing for so long: its process has stopped
_POSTGRES_OPTIONS = f"-c lock_timeout={WAIT_SECONDS * 1000} -c synchronous_commit=on -c timezone=UTC"
_INSTALLATION_KEY = 7_231_004_117

RAISE_REVISION = (
    "INSERT INTO revision (vessel_id, number) VALUES ({}, 1) ON CONFLICT (vessel_id) DO UPDATE SET number = revision.number + 1, "
    "limits_watch_s = 0, counters_watch_s = 0, night_s = 0"
)
"""A vessel's revision raised, with a place for her id: what is watched of her is looked at again (`storage.watches`)."""

_READ = "read"
"""What a session that never changes has read so far (`read_once`)."""
T = TypeVar("T")

INSTALLATION = ""
"""In the place of a vessel's id: what belongs to no vessel."""


class Database:
    """An open database; `open_database` makes one. Safe to share between threads; close it at the end."""

    def __init__(self, url: URL, *, floor_bytes: int) -> None:
        self.url = url
        self.dialect: Literal["sqlite", "postgresql"] = "sqlite" if url.get_backend_name() == "sqlite" else "postgresql"
        self.path = Path(str(url.database)) if self.dialect == "sqlite" else None
        self.floor_bytes = floor_bytes
        self.write_engine, self.read_engine = _sqlite_engines(url) if self.path else _postgres_engines(url)
        look_at_statements(self.write_engine)
        self.now_s: Callable[[], int] = lambda: int(system_clock().timestamp())
        """The clock whose instants stand in changes."""
        self.wake: Wake | None = None  # where the server's own timers look for what is asked
        self._turns = Turns(WAIT_SECONDS)
        self._marker: Any = None
        self._marking = threading.Lock()

    @contextmanager
    def write(self, vessel_id: str, *, writing: Writing = Writing.TRUTH) -> Iterator[Session]:
        """A session that may write; committed at the end of the block, undone when the block raises.

        Args:
            vessel_id: the only vessel the block writes for; writers of others work at the same time on PostgreSQL.
                `INSTALLATION`: what belongs to none.
            writing: what; of a ship that writes aboard nothing but what is worked out anew, and what she sends.

        Raises:
            Busy: no turn within 5 s, or the connection was lost. StorageFull: no room. Clash: a row with that key was
            there already, or the vessel is read only here. After any of these nothing of the block is stored.
        """
        with ours(), self.turn():
            self.require_room()
            with CapturingSession(self.write_engine, expire_on_commit=False, info={WAKE: self.wake}) as session:
                self.lock_vessels(connection := session.connection(), [vessel_id])
                guard(session, vessel_id, writing)
                with captured(session, connection, self.now_s) as capture:
                    yield session
                    capture.store()
                session.commit()

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session that sees one unchanging state of the database and cannot write.

        Raises:
            Busy: no connection was free, or it was lost.
        """
        with ours(), Session(self.read_engine, expire_on_commit=False, info={_READ: {}}) as session:
            yield session

    def within(self, session: Session, vessel_id: str) -> "Database":
        """This database with a transaction of `write` that is open already: what asks it to write for that vessel writes there, so
        that several actions are stored together or not at all."""
        return _OpenDatabase(self, session, vessel_id)

    def turn(self) -> AbstractContextManager[None]:
        """The right to write, among this process' threads, on SQLite; PostgreSQL needs no turn. Raises Busy after 5 s."""
        return self._turns.take() if self.path else nullcontext()

    def lock_vessels(self, connection: Connection, vessel_ids: list[str] | None) -> None:
        """Waits until no other transaction writes for these vessels (none: for any); nothing to do on SQLite."""
        if self.path is None:
            connection.exec_driver_sql(*lock_statement(vessel_ids))

    def require_room(self) -> None:
        """Raises StorageFull when the disk of an SQLite file is read-only, or has less than `floor_bytes` left."""
        if self.path:
            disk = os.statvfs(self.path.parent)
            if disk.f_flag & os.ST_RDONLY:
                raise StorageFull(gettext(READ_ONLY))
            if disk.f_bavail * disk.f_frsize < self.floor_bytes:
                raise StorageFull(gettext(FULL))

    def free_bytes(self) -> int | None:
        """Free space on the disk of an SQLite file; none on PostgreSQL."""
        return shutil.disk_usage(self.path.parent).free if self.path else None

    def journal(self) -> tuple[str, int] | None:
        """How an SQLite file keeps its log, and how sure a commit is (2: full); none on PostgreSQL."""
        if self.path is None:
            return None
        with self.read() as session:
            ask = session.connection().exec_driver_sql
            return str(ask("PRAGMA journal_mode").scalar_one()), int(ask("PRAGMA synchronous").scalar_one())

    def connect(self) -> Any:
        """A driver connection of its own, set up as the writer's, in autocommit until BEGIN. The caller closes it."""
        with ours():
            dialect = self.write_engine.dialect
            arguments, options = dialect.create_connect_args(self.url)
            if self.path:
                connection = dialect.loaded_dbapi.connect(*arguments, **{**options, "check_same_thread": False})
                _set_up_sqlite(connection)
                return connection
            return dialect.loaded_dbapi.connect(
                *arguments, **options, options=_POSTGRES_OPTIONS, connect_timeout=WAIT_SECONDS, autocommit=True
            )

    def mark(self) -> int | None:
        """A number that is another one after any commit to an SQLite file, by whomever; none on PostgreSQL.

        It costs microseconds, so that what was read can be kept in memory until it differs.
        Source: https://www.sqlite.org/pragma.html#pragma_data_version
        """
        if self.path is None:
            return None
        with self._marking:
            if self._marker is None:
                self._marker = self.connect()
            try:
                return int(self._marker.execute("PRAGMA data_version").fetchone()[0])
            except Exception:
                with ours():
                    raise

    def engine_says(self) -> str:
        """Which database engine this runs on, with its version: `SQLite 3.40.1`."""
        with self.read() as session:
            if self.path:
                return f"SQLite {session.connection().exec_driver_sql('SELECT sqlite_version()').scalar_one()}"
            return f"PostgreSQL {session.connection().exec_driver_sql('SHOW server_version').scalar_one()}"

    def close(self) -> None:
        """Closes all connections that are not in use."""
        with self._marking:
            marker, self._marker = self._marker, None
            if marker is not None:
                marker.close()
        self.write_engine.dispose()
        if self.path:
            self.read_engine.dispose()


class _OpenDatabase(Database):
    """A database inside one of its own transactions; whoever opened that commits it."""

    def __init__(self, outer: Database, session: Session, vessel_id: str) -> None:
        self.__dict__.update(outer.__dict__)
        self._session, self._vessel_id = session, vessel_id

    @contextmanager
    def write(self, vessel_id: str, **how: Any) -> Iterator[Session]:  # noqa: ARG002 - as whoever opened it said
        if vessel_id != self._vessel_id:
            raise RuntimeError("a transaction of one vessel does not write for another")
        yield self._session
        self._session.flush()


def open_database(url: str, *, create: bool = True, check: bool = True, floor_bytes: int = FLOOR_BYTES) -> Database:
    """Opens a database and sees that it answers and is sound. Its tables are `migrate.create_or_check`'s matter.

    Args:
        url: `sqlite:///path`, a plain path, or `postgresql://user@host/name`.
        create: an SQLite file that is not there is made; else that is an error.
        check: run SQLite's quick_check over an existing file.
        floor_bytes: free bytes below which nothing is written.

    Raises:
        NotFound: no such file, folder or database. Refused: not a database, damaged, or an address of another form.
        StorageFull: the file is there and cannot be written.
        Busy: the server does not answer.
    """
    parsed = parse_url(url)
    if parsed.get_backend_name() == "sqlite":
        path = Path(str(parsed.database))
        if not path.parent.is_dir():
            raise NotFound(
                f'The folder {path.parent} of the database does not exist. Make it, or correct the setting "database".'
            )
        if path.is_dir():
            raise Refused(
                f'{path} is a folder. Name a file in it by the setting "database", such as {path / "ship.db"}.'
            )
        if not create and not path.exists():
            raise NotFound(
                f'There is no database at {path}. Check the setting "database", or make one: `leadline import` or `leadline serve`.'
            )
        _for_the_owner_alone(path)
    database = Database(parsed, floor_bytes=floor_bytes)
    try:
        with database.read() as session:
            if database.path and check:
                found = session.connection().exec_driver_sql("PRAGMA quick_check(1)").scalar_one()
                if found != "ok":
                    raise Refused(f"{DAMAGED} SQLite says: {found}")
            session.connection()
    except BaseException as error:
        database.close()
        if isinstance(error, NotFound) and database.path and database.path.exists():
            raise StorageFull(gettext(READ_ONLY)) from error  # there, but its log cannot be
        raise
    return database


def _for_the_owner_alone(path: Path) -> None:
    """Make the file with mode 0600, or take other people's rights from it and what lies beside it, as far as we may.

    SQLite gives -wal and -shm the mode of the file. An existing one is not opened here: closing it would take this
    process's locks from it (https://www.sqlite.org/howtocorrupt.html section 2.2).
    """
    with suppress(OSError):
        if not path.exists():
            os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600))
    for name in (path.name, f"{path.name}-wal", f"{path.name}-shm"):
        with suppress(OSError):
            one = path.with_name(name)
            mode = one.stat().st_mode
            if mode & 0o077:
                one.chmod(mode & 0o700)


def parse_url(url: str) -> URL:
    """The address in its full form.

    Raises:
        Refused: another database, an SQLite database in memory, a path without a file, or not an address.

    >>> parse_url("/var/lib/leadline/ship.db").render_as_string()
    'sqlite:////var/lib/leadline/ship.db'
    """
    if "://" not in url:
        return URL.create("sqlite", database=_file_named(str(Path(url).expanduser()) if url else ""))
    try:
        parsed = make_url(url)
    except ArgumentError as error:
        raise Refused(
            "The setting database cannot be read; expected sqlite:///path or postgresql://user@host/name."
        ) from error
    backend = parsed.get_backend_name()
    if backend == "sqlite" and parsed.database not in (None, "", ":memory:"):
        return URL.create("sqlite", database=_file_named(str(parsed.database)))
    if backend in ("postgresql", "postgres"):
        return parsed.set(drivername="postgresql+psycopg")
    raise Refused(
        f"The setting database names {backend!r} without a file that lasts, or a database this program does not know; "
        "expected sqlite:///path or postgresql://user@host/name."
    )


def _file_named(path: str) -> str:
    """The path as it is. Raises Refused unless a file's name stands last: what lies beside the file is named after it."""
    if path == ":memory:" or Path(path).name in ("", ".."):
        raise Refused("The setting database names no file. Give a path, sqlite:///path or postgresql://user@host/name.")
    return path


def database_path(url: str) -> Path | None:
    """The SQLite file of an address; none of PostgreSQL. Raises Refused as `parse_url`."""
    parsed = parse_url(url)
    return Path(str(parsed.database)) if parsed.get_backend_name() == "sqlite" else None


def read_once(session: Session, key: Hashable, read: Callable[[], T]) -> T:
    """What `read` gives. A session of `Database.read` sees one unchanging state: there it is read the first time alone."""
    known = session.info.get(_READ)
    if known is None:
        return read()
    if key not in known:
        known[key] = read()
    return cast(T, known[key])


def bump_revision(session: Session, vessel_id: str) -> int:
    """The vessel's new revision, one higher than before; call it once in each write. "" is the installation."""
    says = f"{RAISE_REVISION.format(':vessel_id')} RETURNING number"
    wake_for_calendar(session, vessel_id)
    return int(session.connection().execute(text(says), {"vessel_id": vessel_id}).scalar_one())


def lock_statement(vessel_ids: list[str] | None) -> tuple[str, tuple[int, ...]]:
    """PostgreSQL's statement and values that make a transaction the only one writing for these vessels, and bound its silence."""
    bounded = f"SELECT set_config('idle_in_transaction_session_timeout', '{STOPPED_SECONDS}s', true)"
    if vessel_ids is None:
        return f"{bounded}, pg_advisory_xact_lock(%s)", (_INSTALLATION_KEY,)
    keys = sorted(int.from_bytes(hashlib.sha256(one.encode()).digest()[:8], signed=True) for one in set(vessel_ids))
    locks = ", ".join("pg_advisory_xact_lock(%s)" for _ in keys)
    return f"{bounded}, pg_advisory_xact_lock_shared(%s), {locks}", (_INSTALLATION_KEY, *keys)


def _sqlite_engines(url: URL) -> tuple[Engine, Engine]:
    """One engine with one connection that writes, one with four that read."""
    module = sqlite_module()
    waiting: dict[str, Any] = {"max_overflow": 0, "pool_timeout": WAIT_SECONDS, "module": module}
    write = create_engine(url, pool_size=1, **waiting)
    read = create_engine(url, pool_size=4, **waiting)

    @event.listens_for(write, "connect")
    @event.listens_for(read, "connect")
    def set_up(connection: Any, _: object) -> None:
        _set_up_sqlite(connection)

    @event.listens_for(read, "connect")
    def forbid(connection: Any, _: object) -> None:
        connection.execute("PRAGMA query_only = ON")

    @event.listens_for(write, "checkin")
    def leave(connection: Any, _: object) -> None:
        # SQLAlchemy takes a commit that failed for the end of the transaction; SQLite may still be in it.
        if connection is not None and connection.in_transaction:
            connection.rollback()

    @event.listens_for(write, "begin")
    def begin_immediate(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE")

    @event.listens_for(read, "begin")
    def begin(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN")

    return write, read


def _set_up_sqlite(connection: Any) -> None:
    """The driver's own transactions off (they begin too late and lose updates), durability and checks on."""
    connection.isolation_level = None
    for pragma in _PRAGMAS:
        connection.execute(pragma)
    (mode,) = connection.execute("PRAGMA journal_mode = WAL").fetchone()
    if mode != "wal":
        raise Refused(f"SQLite keeps its log as {mode!r} here, not as a write-ahead log. Use a local disk.")


def sqlite_module() -> ModuleType:
    """The newer SQLite of `pysqlite3` when it is installed, else Python's own; one process uses one of them only."""
    return importlib.import_module("pysqlite3" if importlib.util.find_spec("pysqlite3") else "sqlite3")


def _postgres_engines(url: URL) -> tuple[Engine, Engine]:
    """One pool; readers get a read-only snapshot of the whole transaction."""
    if importlib.util.find_spec("psycopg") is None:
        raise Refused("PostgreSQL needs the package psycopg: pip install 'leadline[postgres]'.")
    engine = create_engine(
        url,
        pool_size=8,
        max_overflow=0,
        pool_timeout=WAIT_SECONDS,
        pool_pre_ping=True,
        isolation_level="READ COMMITTED",
        connect_args={"options": _POSTGRES_OPTIONS, "connect_timeout": WAIT_SECONDS},
    )
    return engine, engine.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
