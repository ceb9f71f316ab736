"""Which of several servers on one database runs the timers: a file lock on SQLite, an advisory lock on PostgreSQL."""

import fcntl
import os
import threading
from contextlib import suppress
from typing import IO, Any

from scheduler.errors import SchedulerError
from scheduler.storage.database import Database

_KEY = 7_231_004_118


class Leader:
    """Tries for the lead when asked, and keeps it until released or until the connection is lost.

    Several ticks of one server may ask at the same time: they ask one after the other, and get the same answer.
    """

    def __init__(self, database: Database) -> None:
        self._database = database
        self._file: IO[bytes] | None = None
        self._connection: Any = None
        self._lock = threading.RLock()

    def leads(self) -> bool:
        """True when this process has the lead; asked anew at each tick."""
        with self._lock:
            return self._by_file() if self._database.path else self._by_connection()

    def release(self) -> None:
        """Give the lead up."""
        with self._lock:
            if self._file is not None:
                self._file.close()
                self._file = None
            if self._connection is not None:
                with suppress(Exception):  # said aloud, since the server notices a closed connection only later
                    self._connection.execute("SELECT pg_advisory_unlock_all()")
                self._connection.close()
                self._connection = None

    def _by_file(self) -> bool:
        if self._file is not None:
            return True
        assert self._database.path is not None
        place = self._database.path.with_name(f"{self._database.path.name}.lock")
        file = os.fdopen(os.open(place, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600), "ab")
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            file.close()
            return False
        self._file = file
        return True

    def _by_connection(self) -> bool:
        try:
            if self._connection is None:
                self._connection = self._database.connect()
                (won,) = self._connection.execute("SELECT pg_try_advisory_lock(%s)", (_KEY,)).fetchone()
                if not won:
                    self.release()
                    return False
            self._connection.execute("SELECT 1")
        except SchedulerError:
            self.release()
            return False
        except Exception:
            self._connection = None  # the lock went with the connection
            return False
        return True
