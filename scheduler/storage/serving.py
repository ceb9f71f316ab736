"""One server a database file: the second is refused in words, and so is what may not happen under a server."""

import fcntl
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from scheduler.errors import Clash, StorageFull

ENDING = ".serving"
_PATIENCE_SECONDS = 30.0
"""So long what a killed server started may take to end."""


@contextmanager
def only_server(database_path: Path | None) -> Iterator[int | None]:
    """Holds, for the block, the right to serve an SQLite file, or to put another in its place; on PostgreSQL (none) nothing to hold.

    The system gives it back when the process ends, however it ends, and every process that was given the open file, which is
    what the block gets. Commands beside a server do not ask for it.

    Raises:
        Clash: a server has it; the message names its process and the file. StorageFull: the folder cannot be written.
    """
    if database_path is None or not database_path.parent.is_dir():
        yield None
        return
    place = database_path.with_name(f"{database_path.name}{ENDING}")
    try:
        handle = os.open(place, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise StorageFull(
            f"Nothing can be written beside {database_path}: {error.strerror}. A server needs a folder it may write to."
        ) from error
    try:
        if not _locked(handle):
            process = _holder(handle)
            which = "another process" if process is None else f"process {process}"
            raise Clash(
                f"A server runs on {database_path} already ({which}). One server a database file: stop that one first, "
                "or give this one another file (--database). Commands may go on beside a server."
            )
        os.ftruncate(handle, 0)
        os.write(handle, f"{os.getpid()}\n".encode())
        yield handle
    finally:
        os.close(handle)


def _locked(handle: int) -> bool:
    """Whether the file is locked now for this process; a server that was killed is given time to end whole."""
    ends = time.monotonic() + _PATIENCE_SECONDS
    while True:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            process = _holder(handle)
            if process is None or _lives(process) or time.monotonic() > ends:
                return False
            time.sleep(0.02)
        else:
            return True


def _holder(handle: int) -> int | None:
    """The process that wrote its number into the file."""
    said = os.pread(handle, 20, 0).decode(errors="replace").strip()
    return int(said) if said.isdigit() else None


def _lives(process: int) -> bool:
    """Whether it is there and has not ended yet. Source: proc(5), the file /proc/pid/stat, field 3."""
    try:
        state = Path(f"/proc/{process}/stat").read_text(errors="replace").rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state not in ("Z", "X")
