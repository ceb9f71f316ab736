"""The gateway's own disk buffer: everything read is here, durably, before it is sent.

A reading leaves the queue in one way only: an answer lists it. Stored and duplicate are deleted; refused and conflict
move to the put-aside list. One small SQLite file, bounded; each change is one transaction, on the disk when the call returns.
"""

import fcntl
import shutil
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import IO, NamedTuple

from api.gateway.pacing import Aside, Queued
from api.gateway.reading import BadLine, CounterReading, utc_text_of
from scheduler.errors import Busy, NotFound, Refused, SchedulerError, StorageFull

FLOOR_BYTES = 16 * 1024 * 1024
"""Below this much free space nothing more is taken, so that what is acknowledged can still be deleted."""
_FILLED = 0.9
"""Readings fill the file so far; the rest is for the put-aside list."""
_APPLICATION = 0x4C4C4757
_VERSION = 1
_PAGE_BYTES = 4096
_TABLES = """
CREATE TABLE file (id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL, digest TEXT NOT NULL, bad INTEGER NOT NULL);
CREATE TABLE queue (
    id INTEGER PRIMARY KEY AUTOINCREMENT, counter TEXT NOT NULL, at_s INTEGER NOT NULL, value TEXT NOT NULL,
    file INTEGER REFERENCES file (id), line INTEGER);
CREATE INDEX queue_file ON queue (file) WHERE file IS NOT NULL;
CREATE TABLE shown (counter TEXT PRIMARY KEY, at_s INTEGER NOT NULL);
CREATE TABLE aside (
    id INTEGER PRIMARY KEY AUTOINCREMENT, counter TEXT, at_s INTEGER, value TEXT NOT NULL, status TEXT NOT NULL,
    why TEXT NOT NULL, source TEXT NOT NULL, aside_s INTEGER NOT NULL);
"""


class PutAside(NamedTuple):
    """What the server will not take, or a line that is no reading (then no counter and no instant, value is the line)."""

    id: int
    counter: str | None
    observed_at: str | None
    value: str
    status: str
    why: str
    source: str
    aside_at: str

    def says(self) -> str:
        """The entry as a line for a person."""
        what = self.value if self.counter is None else f"{self.counter},{self.observed_at},{self.value}"
        return f"{what}  {self.status}{f' ({self.source})' if self.source else ''}: {self.why}"


class TakenFile(NamedTuple):
    """A file whose lines are in the queue, or were. bad: lines in it that are no readings."""

    id: int
    name: str
    digest: str
    bad: int


class Buffer:
    """An open buffer; `open_buffer` makes one. Used by one thread; close it at the end."""

    def __init__(self, path: Path, most_mb: int, floor_bytes: int, lock: IO[bytes] | None) -> None:
        self.path = path
        self._floor_bytes, self._most_pages, self._lock = floor_bytes, most_mb * 1024 * 1024 // _PAGE_BYTES, lock
        self._db = sqlite3.connect(path, isolation_level=None, timeout=5)

    def set_up(self) -> None:
        """Make or check the tables. Raises Refused when the file is something else or damaged."""
        with self._ours():
            self._db.execute(f"PRAGMA page_size = {_PAGE_BYTES}")
            mine = self._one("PRAGMA application_id"), self._one("PRAGMA user_version")
            if mine == (0, 0) and self._one("SELECT count(*) FROM sqlite_master") == 0:
                self._db.executescript(
                    f"PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; BEGIN IMMEDIATE; {_TABLES}"
                    f"PRAGMA application_id = {_APPLICATION}; PRAGMA user_version = {_VERSION}; COMMIT;"
                )
            elif mine != (_APPLICATION, _VERSION):
                raise Refused(f'{self.path} is no gateway buffer of this program. Give "buffer" another name.')
            self._db.execute("PRAGMA synchronous = FULL")
            self._db.execute(f"PRAGMA max_page_count = {self._most_pages}")
            if self._one("PRAGMA quick_check(1)") != "ok":
                raise sqlite3.DatabaseError("quick_check")

    def add(self, readings: Sequence[CounterReading], file: TakenFile | None = None) -> int:
        """Take readings in, all or none, and return how many; on the disk when this returns.

        Args:
            file: the one they are the lines of (its id is not used).

        Raises:
            StorageFull: no room; nothing was taken.
        """
        self._require_room()
        with self._changing() as db:
            number = None
            if file is not None:
                columns = "INSERT INTO file (name, digest, bad) VALUES (?, ?, ?)"
                number = db.execute(columns, (file.name, file.digest, file.bad)).lastrowid
            db.executemany(
                "INSERT INTO queue (counter, at_s, value, file, line) VALUES (?, ?, ?, ?, ?)",
                ((one.counter, one.at_s, one.value, number, one.line) for one in readings),
            )
        return len(readings)

    def add_shown(self, readings: Iterable[CounterReading]) -> int:
        """Take in what registers showed just now, and return how many. All or none, on the disk when this returns.

        Instants are to the second, so a counter read twice within one (after a quick restart) counts as read once: the
        first stays. Raises StorageFull.
        """
        self._require_room()
        with self._changing() as db:
            last = dict(db.execute("SELECT counter, at_s FROM shown").fetchall())
            new = [(one.counter, one.at_s, one.value) for one in readings if last.get(one.counter) != one.at_s]
            db.executemany("INSERT INTO queue (counter, at_s, value) VALUES (?, ?, ?)", new)
            db.executemany(
                "INSERT INTO shown VALUES (?, ?) ON CONFLICT (counter) DO UPDATE SET at_s = excluded.at_s",
                (one[:2] for one in new),
            )
        return len(new)

    def add_bad(self, lines: Sequence[BadLine], source: str, now_s: int) -> None:
        """Put lines aside that are no readings, so that they are not lost. Raises StorageFull."""
        rows = [(one.text, f"line {one.number}: {one.says}", source, now_s) for one in lines]
        with self._changing() as db:
            db.executemany(
                "INSERT INTO aside (value, status, why, source, aside_s) VALUES (?, 'not a reading', ?, ?, ?)", rows
            )

    def front(self, most: int) -> list[Queued]:
        """The oldest readings that wait, at most so many."""
        rows = self._rows(
            "SELECT q.id, q.counter, q.at_s, q.value, f.name, q.line FROM queue q LEFT JOIN file f ON f.id = q.file "
            "ORDER BY q.id LIMIT ?",
            most,
        )
        return [
            Queued(id, counter, utc_text_of(at_s), value, f"{name} line {line}" if name else "")
            for id, counter, at_s, value, name, line in rows
        ]

    def waiting(self) -> int:
        """Readings that wait."""
        return int(self._rows("SELECT count(*) FROM queue")[0][0])

    def any_waiting(self) -> bool:
        """True when a reading waits; quick, however many do."""
        return bool(self._rows("SELECT EXISTS (SELECT 1 FROM queue)")[0][0])

    def settle(self, taken: Sequence[int], aside: Sequence[Aside], now_s: int) -> None:
        """Delete what the server has, and move what it will not take to the put-aside list, as its answer lists them.

        Raises:
            StorageFull: no room for the put-aside list; what the server has is deleted all the same.
        """
        with self._changing() as db:
            db.executemany("DELETE FROM queue WHERE id = ?", ((id,) for id in taken))
        if not aside:
            return
        with self._changing() as db:
            db.executemany(
                "INSERT INTO aside (counter, at_s, value, status, why, source, aside_s) SELECT q.counter, q.at_s, q.value, "
                "?, ?, coalesce(f.name || ' line ' || q.line, ''), ? FROM queue q LEFT JOIN file f ON f.id = q.file WHERE q.id = ?",
                ((one.status, one.why[:500], now_s, one.id) for one in aside),
            )
            db.executemany("DELETE FROM queue WHERE id = ?", ((one.id,) for one in aside))

    def files(self) -> list[TakenFile]:
        """Every file taken and not yet ended."""
        return [TakenFile(*row) for row in self._rows("SELECT id, name, digest, bad FROM file ORDER BY id")]

    def sent_files(self) -> list[TakenFile]:
        """Files of which no line waits any more."""
        return [
            TakenFile(*row)
            for row in self._rows(
                "SELECT id, name, digest, bad FROM file f WHERE NOT EXISTS (SELECT 1 FROM queue WHERE file = f.id) ORDER BY id"
            )
        ]

    def end_file(self, id: int) -> None:
        """The file has been moved away. Its lines must be through."""
        with self._changing() as db:
            db.execute("DELETE FROM file WHERE id = ?", (id,))

    def put_aside(self) -> list[PutAside]:
        """The put-aside list, oldest first."""
        rows = self._rows("SELECT id, counter, at_s, value, status, why, source, aside_s FROM aside ORDER BY id")
        return [
            PutAside(
                id,
                counter,
                None if at_s is None else utc_text_of(at_s),
                value,
                status,
                why,
                source,
                utc_text_of(aside_s),
            )
            for id, counter, at_s, value, status, why, source, aside_s in rows
        ]

    def send_again(self) -> int:
        """Move the put-aside readings back to the queue; lines that are no readings stay. Returns how many moved."""
        with self._changing() as db:
            moved = db.execute(
                "INSERT INTO queue (counter, at_s, value) SELECT counter, at_s, value FROM aside WHERE counter IS NOT NULL "
                "ORDER BY id"
            ).rowcount
            db.execute("DELETE FROM aside WHERE counter IS NOT NULL")
        return moved

    def forget_aside(self, ids: Iterable[int]) -> None:
        """Delete from the put-aside list what now stands elsewhere."""
        with self._changing() as db:
            db.executemany("DELETE FROM aside WHERE id = ?", ((id,) for id in ids))

    def close(self) -> None:
        """Close it; what was taken stays."""
        self._db.close()
        if self._lock is not None:
            self._lock.close()

    def _require_room(self) -> None:
        if self._disk_is_full():
            raise StorageFull(f"{self._no_disk()} {self.waiting()} readings wait in it.")
        with self._ours():
            used = int(self._one("PRAGMA page_count")) - int(self._one("PRAGMA freelist_count"))
        if used > self._most_pages * _FILLED:
            raise StorageFull(self._full())

    def _disk_is_full(self) -> bool:
        return shutil.disk_usage(self.path.parent).free < self._floor_bytes

    def _no_disk(self) -> str:
        free = shutil.disk_usage(self.path.parent).free // 1024 // 1024
        return (
            f"The disk of the buffer {self.path} has {free} MB left: nothing new is read until there is room. The counters "
            "count on by themselves. Free space on that disk."
        )

    def _full(self) -> str:
        return (
            f'The buffer {self.path} is full ("buffer_mb"): nothing new is read until there is room; {self.waiting()} readings '
            f"wait in it and {len(self.put_aside())} are put aside. The counters count on by themselves. See why the server "
            "does not take them; leadline gateway --put-aside shows what it refused."
        )

    def _one(self, statement: str) -> int | str:
        (value,) = self._db.execute(statement).fetchone()
        return value  # type: ignore[no-any-return]

    def _rows(self, statement: str, *values: object) -> list[tuple]:  # type: ignore[type-arg]
        with self._ours():
            return self._db.execute(statement, values).fetchall()

    @contextmanager
    def _changing(self) -> Iterator[sqlite3.Connection]:
        with self._ours():
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield self._db
                self._db.execute("COMMIT")
            except BaseException:
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                raise

    @contextmanager
    def _ours(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            # https://www.sqlite.org/rescode.html, the low byte of the code
            code = (getattr(error, "sqlite_errorcode", None) or 11) & 0xFF
            if code in (10, 13) and self._disk_is_full():  # 10 too: no room for SQLite's own shared-memory file
                raise StorageFull(self._no_disk()) from error
            if code == 13:
                raise StorageFull(self._full()) from error
            if code in (5, 6):
                raise Busy(f"Another program holds the buffer {self.path}. Try again in a moment.") from error
            if code == 10:
                raise SchedulerError(f"The disk of the buffer {self.path} fails: {error}. Look at the disk.") from error
            if code in (8, 14):
                raise Refused(
                    f"The buffer {self.path} cannot be written: {error}. See whom file and folder belong to."
                ) from error
            raise Refused(
                f"The buffer {self.path} is damaged or no buffer ({error}). Stop, keep the file with its -wal, move it away; "
                "the gateway starts a new one."
            ) from error


def open_buffer(
    path: Path, *, most_mb: int = 256, floor_bytes: int = FLOOR_BYTES, new: bool = True, alone: bool = True
) -> Buffer:
    """Open the buffer, and make it where there is none.

    Args:
        most_mb: most it may take on the disk, in MiB.
        floor_bytes: free space on the disk below which nothing more is taken.
        new: False: it must be there already.
        alone: hold it for this process; False to look in while a gateway runs.

    Raises:
        NotFound: not there, or its folder is not. Refused: not a buffer, damaged or not writable.
        Busy: another gateway runs on it.
    """
    if not path.parent.is_dir():
        raise NotFound(f'The folder of the buffer {path} is not there. Make it, or give "buffer" another name.')
    if not new and not path.exists():
        raise NotFound(f"There is no buffer {path}: the gateway has not run with these settings yet.")
    lock = _lock(path.with_name(f"{path.name}.lock")) if alone else None
    try:
        buffer = Buffer(path, most_mb, floor_bytes, lock)
    except sqlite3.Error as error:
        if lock is not None:
            lock.close()
        raise Refused(f"The buffer {path} cannot be opened: {error}. See whom file and folder belong to.") from error
    try:
        buffer.set_up()
    except BaseException:
        buffer.close()
        raise
    return buffer


def _lock(path: Path) -> IO[bytes]:
    try:
        file = path.open("ab")
    except OSError as error:
        raise Refused(
            f"The lock {path} cannot be written: {error.strerror}. See whom the folder belongs to."
        ) from error
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        file.close()
        raise Busy(
            f"Another gateway runs on the buffer {str(path).removesuffix('.lock')}. Stop it, or give this one its own."
        ) from None
    return file
