"""One server a database file: the second is refused in words, and so is what may not happen under a server."""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from scheduler.errors import Clash, StorageFull

ENDING = ".serving"


@contextmanager
def only_server(database_path: Path | None) -> Iterator[None]:
    """Holds, for the block, the right to serve an SQLite file, or to put another in its place; on PostgreSQL (none) nothing to hold.

    The system gives it back when the process ends, however it ends. Commands beside a server do not ask for it.

    Raises:
        Clash: a server has it; the message names its process and the file. StorageFull: the folder cannot be written.
    """
    if database_path is None or not database_path.parent.is_dir():
        yield
        return
    place = database_path.with_name(f"{database_path.name}{ENDING}")
    try:
        handle = os.open(place, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise StorageFull(
            f"Nothing can be written beside {database_path}: {error.strerror}. A server needs a folder it may write to."
        ) from error
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            process = os.read(handle, 20).decode(errors="replace").strip()
            which = f"process {process}" if process.isdigit() else "another process"
            raise Clash(
                f"A server runs on {database_path} already ({which}). One server a database file: stop that one first, "
                "or give this one another file (--database). Commands may go on beside a server."
            ) from None
        os.ftruncate(handle, 0)
        os.write(handle, f"{os.getpid()}\n".encode())
        yield
    finally:
        os.close(handle)
