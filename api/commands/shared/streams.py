"""Standard input and output in whatever state the shell left them: closed, full, gone, or of another alphabet.

Data is UTF-8 wherever no terminal shows it. Talk that nobody can hear is dropped: it changes nothing of what was done.
A file named - is standard input, or standard output.
"""

import errno
import io
import os
import signal
import sys
from collections.abc import Iterable, Iterator
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import IO, Any

from scheduler.errors import NotFound, Refused, SchedulerError, TooLarge

MOST_BYTES = 64 * 1024 * 1024
"""More than this is no document, log or line of ours: /dev/zero has no end."""
STREAM = "-"
_NOT_WRITTEN = (errno.EPIPE, errno.ENOSPC, errno.EBADF, errno.EIO, errno.EFBIG, errno.EDQUOT)
_CLOSED = (os.O_WRONLY, os.O_RDONLY, os.O_WRONLY)
"""How a stream that is closed is filled: reading and writing data fails, so that it is said; talk goes nowhere."""


class _Dropping(io.FileIO):
    """Takes everything, also what cannot be written any more."""

    def write(self, data: Any) -> int:
        try:
            return super().write(data) or 0
        except OSError:
            return len(data)


def open_streams() -> None:
    """Make the streams of this process fit to be used; once, before anything else is opened or said."""
    for number, how in enumerate(_CLOSED):
        try:
            os.fstat(number)
        except OSError:  # else the next file that is opened, such as the database, would get this number
            os.open(os.devnull, how)
    if sys.stdout is None:
        sys.stdout = sys.__stdout__ = open(1, "w", encoding="utf-8", closefd=False)  # type: ignore[misc]  # noqa: SIM115
    if _own(sys.stdout) and isinstance(sys.stdout, io.TextIOWrapper):
        encoding = sys.stdout.encoding if sys.stdout.isatty() else "utf-8"
        sys.stdout.reconfigure(encoding=encoding, errors="backslashreplace")
    if sys.stderr is sys.__stderr__:
        encoding = "utf-8" if sys.stderr is None else sys.stderr.encoding
        raw = io.BufferedWriter(_Dropping(2, "wb", closefd=False))
        sys.stderr = sys.__stderr__ = io.TextIOWrapper(raw, encoding, "backslashreplace", line_buffering=True)  # type: ignore[misc]


def end_streams() -> None:
    """The last of what was said is written, and an interrupt changes nothing any more.

    Raises OSError where it cannot be; what is left is dropped then.
    """
    if not _own(sys.stdout):
        sys.stdout.flush()
        return
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        sys.stdout.flush()
    except OSError:  # what is left in the buffer would be tried again at the very end
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        raise


def output_failed(error: OSError) -> bool:
    """Whether it is standard output that could not be written: no file is named, and nothing else writes unnamed."""
    return error.filename is None and error.errno in _NOT_WRITTEN


def read_bytes(file: Path, most: int = MOST_BYTES) -> bytes:
    """All of a file, or of standard input where it is named -.

    Raises:
        NotFound: it cannot be read. TooLarge: more than `most` bytes.
    """
    try:
        with _opened(file) as source:
            found = source.read(most + 1)
    except (OSError, ValueError) as error:
        raise NotFound(f"{named(file)} cannot be read: {_why(error)}.") from error
    if len(found) > most:
        raise TooLarge(f"{named(file)} is too large: at most {most} bytes are taken.")
    return found


def read_text(file: Path) -> str:
    """As `read_bytes`, as text without a byte order mark. Raises Refused too: it is not UTF-8."""
    try:
        return read_bytes(file).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise Refused(f"{named(file)} is not plain text in UTF-8. Save it as UTF-8, a table as CSV (UTF-8).") from error


def read_lines(file: Path) -> Iterator[bytes]:
    """The lines one by one, each with its end. Raises as `read_bytes` does, for each line."""
    try:
        with _opened(file) as source:
            while line := source.readline(MOST_BYTES + 1):
                if len(line) > MOST_BYTES:
                    raise TooLarge(f"{named(file)} has a line of more than {MOST_BYTES} bytes.")
                yield line
    except (OSError, ValueError) as error:
        raise NotFound(f"{named(file)} cannot be read: {_why(error)}.") from error


def write_pieces(file: Path | None, pieces: Iterable[str | bytes]) -> None:
    """To a file, or to standard output where none is named or it is -. Raises Refused where the file cannot be written."""
    if file is None or str(file) == STREAM:
        for piece in pieces:
            if isinstance(piece, str):
                sys.stdout.write(piece)
            else:
                sys.stdout.flush()
                sys.stdout.buffer.write(piece)
        return
    try:
        with file.open("wb") as into:
            into.writelines(piece.encode() if isinstance(piece, str) else piece for piece in pieces)
    except (OSError, ValueError) as error:
        raise Refused(f"{file} cannot be written: {_why(error)}. Give another --out.") from error


def named(file: Path) -> str:
    """What a person calls it."""
    return "Standard input" if str(file) == STREAM else str(file)


def shows_terminal(stream: IO[Any] | None) -> bool:
    """Whether a person sits at it; a closed one has nobody."""
    return stream is not None and stream.isatty()


def _opened(file: Path) -> AbstractContextManager[IO[bytes]]:
    if str(file) != STREAM:
        return file.open("rb")
    if sys.stdin is None:
        raise OSError(errno.EBADF, "it is closed")
    return nullcontext(sys.stdin.buffer)


def _why(error: OSError | ValueError | SchedulerError) -> str:
    return (error.strerror or str(error)) if isinstance(error, OSError) else str(error)


def _own(stream: Any) -> bool:
    return stream is not None and stream is sys.__stdout__
