"""Turns what the database drivers raise into our errors, at the edge where it arises."""

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import exc

from scheduler.errors import Busy, Clash, NotFound, Refused, SchedulerError, StorageFull
from scheduler.language import gettext, marked

RETRY_AFTER = {"retry_after": 1}
"""Seconds after which another try makes sense; goes into the error's `more`."""

BUSY = marked("The database is busy with another write. Nothing was stored; try again in a second.")
AWAY = marked(
    "The connection to the database was lost or refused. Nothing more was stored; try again, and see that it runs."
)
STOPPED = marked(
    "This transaction stood still for too long, and the database ended it to let others write. Nothing of it was stored; do it again."
)
FULL = marked(
    "There is no room left to write. Nothing was stored; free space on the disk of the database, then try again."
)
TWICE = marked("Somebody stored the same thing at the same moment. Nothing was stored; read it again, then decide.")
GONE = marked("It refers to something that is not there, or is still referred to. Nothing was stored; read it again.")
OTHER_TABLES = marked("The tables of this database do not fit this program. Run `leadline upgrade`, then start again.")
NO_DATABASE = marked('There is no database of that name. Check the setting "database".')
NOT_A_DATABASE = marked('The file is not an SQLite database. Check the setting "database".')
DAMAGED = marked("The database file is damaged. Stop, keep the file with its -wal, and restore the last backup.")
UNFIT = marked(
    "A number in it is too large to be kept, or a text holds a NUL character. Nothing was stored; numbers up to "
    "2147483647 and plain text were expected. Correct it and send it again."
)
READ_ONLY = marked(
    "The database cannot be written here: its disk is read-only, or the file or its folder belongs to another user. Nothing "
    "was stored; put that right, then try again."
)
DISK = marked(
    "The disk of the database fails, is read-only or is gone. Nothing was stored; see what the system's log says of it, make "
    "a backup to another disk if it still reads, and replace it."
)

# https://www.sqlite.org/rescode.html, the low byte of the code
_SQLITE: dict[int, tuple[type[SchedulerError], str]] = {
    5: (Busy, BUSY),
    6: (Busy, BUSY),
    8: (StorageFull, READ_ONLY),
    10: (StorageFull, DISK),
    11: (Refused, DAMAGED),
    13: (StorageFull, FULL),
    14: (NotFound, NO_DATABASE),
    26: (Refused, NOT_A_DATABASE),
}
# the same page: no room for the shared-memory file, or for a write the disk promised; foreign, unique and primary key
_SQLITE_WHOLE: dict[int, tuple[type[SchedulerError], str]] = {
    787: (Clash, GONE),
    4874: (StorageFull, FULL),
    1555: (Clash, TWICE),
    2067: (Clash, TWICE),
    2579: (Clash, TWICE),
}
# https://www.postgresql.org/docs/current/errcodes-appendix.html
_POSTGRES: dict[str, tuple[type[SchedulerError], str]] = {
    "55P03": (Busy, BUSY),
    "40001": (Busy, BUSY),
    "40P01": (Busy, BUSY),
    "53300": (Busy, BUSY),
    "25P03": (Busy, STOPPED),
    "57P01": (Busy, AWAY),
    "57P02": (Busy, AWAY),
    "57P03": (Busy, AWAY),
    "53100": (StorageFull, FULL),
    "23503": (Clash, GONE),
    "23505": (Clash, TWICE),
    "42P01": (Clash, OTHER_TABLES),
    "42703": (Clash, OTHER_TABLES),
    "3D000": (NotFound, NO_DATABASE),
    "25006": (StorageFull, READ_ONLY),
    "58030": (StorageFull, DISK),
    "22003": (Refused, UNFIT),
    "22021": (Refused, UNFIT),
    "22P05": (Refused, UNFIT),
}
_MISSING = ("no such table", "no such column", "has no column named")


@contextmanager
def ours() -> Iterator[None]:
    """Raises our error in place of a driver's, `from` it. What has no counterpart (a fault of ours) goes through."""
    try:
        yield
    except SchedulerError:
        raise
    except Exception as error:
        known = as_ours(error)
        if known is None:
            raise
        raise known from error


def as_ours(error: BaseException) -> SchedulerError | None:
    """The error of ours that a driver's (or SQLAlchemy's around it) means; none when there is no counterpart."""
    if isinstance(error, exc.TimeoutError):
        return Busy(gettext(BUSY), more=RETRY_AFTER)
    torn = isinstance(error, exc.DBAPIError) and error.connection_invalidated
    driver = error.orig if isinstance(error, exc.DBAPIError) and error.orig is not None else error
    found = _of_sqlite(driver) or _of_postgres(driver, torn)
    if found is None:
        return None
    kind, says = found
    return kind(gettext(says), more=RETRY_AFTER if kind is Busy else None)


def _of_sqlite(driver: BaseException) -> tuple[type[SchedulerError], str] | None:
    if isinstance(driver, OverflowError) and "SQLite" in str(driver):  # raised before a statement runs: it has no code
        return Refused, UNFIT
    code = getattr(driver, "sqlite_errorcode", None)
    if not isinstance(code, int):
        return None
    if code == 1 and any(words in str(driver) for words in _MISSING):
        return Clash, OTHER_TABLES
    return _SQLITE_WHOLE.get(code) or _SQLITE.get(code & 0xFF)


def _of_postgres(driver: BaseException, torn: bool) -> tuple[type[SchedulerError], str] | None:
    if not type(driver).__module__.startswith("psycopg"):
        return None
    state = getattr(driver, "sqlstate", None)
    if isinstance(state, str):
        return _POSTGRES.get(state) or ((Busy, AWAY) if state.startswith("08") else None)
    if type(driver).__name__ == "DataError" and "NUL" in str(driver):  # likewise
        return Refused, UNFIT
    if "does not exist" in str(driver) and "database" in str(driver):  # refused while connecting: no code is given
        return NotFound, NO_DATABASE
    return (Busy, AWAY) if torn or type(driver).__name__ in {"OperationalError", "ConnectionTimeout"} else None
