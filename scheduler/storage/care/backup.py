"""A backup: the database and the photos of one moment in a folder, with a manifest that proves them; and the way back.

The database is an SQLite file made by VACUUM INTO, or what pg_dump wrote. A folder is made whole under a name of its own
and renamed at the end, so that what bears the right name is whole. Photos never change, so that of one that the last
backup has too only another name is made on the same disk.
"""

import hashlib
import json
import os
import re
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from scheduler.errors import Clash, NotFound, Refused, StorageFull
from scheduler.storage.care import postgres_tools
from scheduler.storage.database import Database, open_database, parse_url, sqlite_module
from scheduler.storage.disk import to_disk
from scheduler.storage.foreign import ours
from scheduler.storage.migrate import copy_to, step_of, steps_known
from scheduler.storage.serving import only_server
from scheduler.version import VERSION

MANIFEST = "manifest.json"
PHOTOS = "photos"
_DATABASES = {"sqlite": "database.sqlite", "postgresql": "database.pgdump"}
_TABLE = re.compile(r"[a-z_]+ (-?[0-9]+)?")
"""A table's name and sum: they become part of a statement."""
_NAME = "leadline-%Y%m%dT%H%M%SZ"


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """What a backup holds.

    dialect: of the database. step: of its tables. files: SHA-256 by path in the folder. rows: by table, how many there are and,
    on PostgreSQL, a sum over all their values (empty on SQLite, where the file is restored byte by byte).
    """

    made_at: datetime
    version: str
    dialect: str
    step: str
    files: Mapping[str, str]
    rows: Mapping[str, tuple[int, str]]

    def text(self) -> str:
        """As JSON."""
        return json.dumps(asdict(self) | {"made_at": self.made_at.isoformat()}, indent=1, sort_keys=True)

    @classmethod
    def read(cls, folder: Path) -> "Manifest":
        """That of a backup. Raises NotFound where the folder is no whole backup, Refused where it cannot be understood."""
        try:
            members = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
            rows = {str(table): (int(count), str(digest)) for table, (count, digest) in members["rows"].items()}
            at = datetime.fromisoformat(members["made_at"])
            files = {str(name): str(sha256) for name, sha256 in members["files"].items()}
            sound = all(map(_inside, files)) and all(
                _TABLE.fullmatch(f"{name} {sum_}") for name, (_, sum_) in rows.items()
            )
            if at.tzinfo is None or members["dialect"] not in _DATABASES or not sound:
                raise ValueError("made_at, dialect, or the name of a file or table")
            return cls(
                made_at=at,
                version=str(members["version"]),
                dialect=str(members["dialect"]),
                step=str(members["step"]),
                files=files,
                rows=rows,
            )
        except FileNotFoundError as error:
            raise NotFound(
                f"{folder} is no whole backup: it has no {MANIFEST}. Name the folder of one, leadline-..."
            ) from error
        except OSError as error:
            raise NotFound(f"{folder} cannot be read: {error.strerror}.") from error
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise Refused(f"The {MANIFEST} of {folder} cannot be understood ({error}). Use another backup.") from error


def backups_in(folder: Path) -> list[Path]:
    """The whole backups in a folder, the oldest first."""
    return sorted(one.parent for one in folder.glob(f"leadline-*/{MANIFEST}"))


def make_backup(database: Database, folder: Path, photos: Path | None, at: datetime) -> Path:
    """Makes a backup in `folder`, which is made where missing, while others go on; the new backup's own folder.

    When this returns the database in it has been opened and read from end to end.

    Raises:
        StorageFull: it cannot be written. Refused: a part does not pass its check; or PostgreSQL's programs are missing.
        Clash: there is a backup of that second. Busy: the database does not answer. After any of these nothing is left of it.
    """
    name = at.astimezone(UTC).strftime(_NAME)
    target, half = folder / name, folder / f".{name}.{os.getpid()}.half"
    last = next(reversed(backups_in(folder)), None)
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        if target.exists():
            raise Clash(f"There is a backup {target} already. Try again in a second.")
        _must_have_room(database, folder)
        half.mkdir(mode=0o700)
        file = half / _DATABASES[database.dialect]
        step, rows = _copy_sqlite(database, file) if database.path else _copy_postgres(database, file)
        file.chmod(0o600)
        if photos is not None and photos.is_dir():
            _copy_photos(photos, half / PHOTOS, None if last is None else last / PHOTOS)
        manifest = Manifest(
            made_at=at.astimezone(UTC),
            version=VERSION,
            dialect=database.dialect,
            step=step,
            files={str(one.relative_to(half)): sha256_of(one) for one in _files(half)},
            rows=rows,
        )
        (half / MANIFEST).write_text(manifest.text(), encoding="utf-8")
        for one in (*half.rglob("*"), half):
            to_disk(one)
        half.rename(target)
        to_disk(folder)
    except OSError as error:
        raise StorageFull(
            f"The backup cannot be written in {folder}: {error.strerror}. Make room there, or choose another folder."
        ) from error
    finally:
        shutil.rmtree(half, ignore_errors=True)
    return target


def drop_oldest(folder: Path, count: int) -> list[Path]:
    """Takes away the oldest backups of a folder until `count` (at least 1) are left; those that went.

    Half ones whose process is gone go too.
    """
    gone = backups_in(folder)[: -max(1, count)]
    for one in gone:
        (one / MANIFEST).unlink()  # first: what is half gone is no backup
    halves = [one for one in folder.glob(".leadline-*.half") if not Path(f"/proc/{one.name.split('.')[-2]}").exists()]
    for one in (*gone, *halves):
        shutil.rmtree(one, ignore_errors=True)
    return gone


def check_backup(folder: Path) -> Manifest:
    """The manifest of a backup all of whose files are there as they were written.

    Raises:
        NotFound: no whole backup. Refused: a file is missing or another one; the message names the first.
    """
    manifest = Manifest.read(folder)
    if _DATABASES[manifest.dialect] not in manifest.files:
        raise Refused(f"The {MANIFEST} of {folder} names no database. Use another backup.")
    for name, sha256 in manifest.files.items():
        try:
            found = sha256_of(folder / name)
        except OSError as error:
            raise Refused(f"{folder / name} cannot be read: {error.strerror}. Use another backup.") from error
        if found != sha256:
            raise Refused(f"{folder / name} is not the file that was backed up. Use another backup.")
    return manifest


def restore_backup(folder: Path, database_url: str, photos: Path | None, at: datetime, *, replace: bool) -> Path | None:
    """Puts a backup in the place of a database and proves every row; where the database from before lies now, if one was there.

    Photos are added to those that are there. A backup of an older version is restored as it is; `leadline upgrade` follows.

    Args:
        replace: whether a database that is there may go: an SQLite file is put aside, of PostgreSQL's a backup is made
            beside this one.

    Raises:
        Clash: a database is there and `replace` was not said; somebody uses it; a newer version made the backup.
        NotFound, Refused: as `check_backup`; rows are not those backed up; no place for photos; another kind of database.
        StorageFull: no room. After any of these the database that was there is there as before.
    """
    manifest = check_backup(folder)
    url = parse_url(database_url)
    dialect = "sqlite" if url.get_backend_name() == "sqlite" else "postgresql"
    if manifest.step not in steps_known():
        raise Clash(f"A newer version ({manifest.version}) made the backup {folder}. Install that version first.")
    if dialect != manifest.dialect:
        raise Refused(f"The backup is of {manifest.dialect}; the setting database names {dialect}.")
    if photos is None and (folder / PHOTOS).is_dir():
        raise Refused("The backup has photos and no folder for them is set. Set photo_folder, then restore.")
    file = folder / _DATABASES[dialect]
    try:
        if photos is not None:
            _copy_photos(folder / PHOTOS, photos, None)
        if dialect == "postgresql":
            return _restore_postgres(file, database_url, manifest, folder.parent, at, replace=replace)
        return _restore_sqlite(file, Path(str(url.database)), manifest, at, replace=replace)
    except OSError as error:
        raise StorageFull(f"The backup cannot be restored: {error.strerror}. Nothing was replaced.") from error


def sha256_of(file: Path) -> str:
    """SHA-256 of a file's content, in hexadecimal."""
    with file.open("rb") as content:
        return hashlib.file_digest(content, "sha256").hexdigest()


def _inside(name: str) -> bool:
    """Whether a path of the manifest stays inside the backup."""
    path = Path(name)
    return not path.is_absolute() and ".." not in path.parts


def _files(folder: Path) -> list[Path]:
    return sorted(one for one in folder.rglob("*") if one.is_file())


def _must_have_room(database: Database, folder: Path) -> None:
    """Before anything is written: a backup must not take the room that the database itself needs."""
    needs = database.floor_bytes + (database.path.stat().st_size if database.path else 0)
    free = shutil.disk_usage(folder).free
    if free < needs:
        raise StorageFull(
            f"A backup needs about {needs // 2**20} MiB in {folder}, of which {free // 2**20} are free. Make room there, or "
            "choose another folder."
        )


def _copy_sqlite(database: Database, file: Path) -> tuple[str, dict[str, tuple[int, str]]]:
    """Step and rows of the copy, as it is read again from the disk."""
    copy_to(database, file)
    with ours(), _opened(file) as connection:
        return _step(connection), _rows(connection)


@contextmanager
def _opened(file: Path) -> Iterator[Any]:
    """An SQLite file that nobody writes to."""
    connection = sqlite_module().connect(f"{file.resolve().as_uri()}?immutable=1", uri=True)
    try:
        yield connection
    finally:
        connection.close()


def _step(connection: Any) -> str:
    found = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    return "" if found is None else str(found[0])


def _rows(connection: Any) -> dict[str, tuple[int, str]]:
    tables = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite%'")
    return {
        name: (connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0], "")  # noqa: S608 - a name of its own
        for (name,) in tables.fetchall()
    }


def _copy_postgres(database: Database, file: Path) -> tuple[str, dict[str, tuple[int, str]]]:
    """The same: what is counted and summed is of the very snapshot that is written."""
    with ours():
        connection = database.connect()
        try:
            (version,) = connection.execute("SHOW server_version_num").fetchone()
            tools = postgres_tools.find_tools(int(version) // 10000)
            connection.execute("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")
            (snapshot,) = connection.execute("SELECT pg_export_snapshot()").fetchone()
            tables = connection.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'").fetchall()
            statement = postgres_tools.rows_statement([name for (name,) in tables])
            rows = {name: (int(count), str(digest)) for name, count, digest in connection.execute(statement).fetchall()}
            step = _step(connection)
            postgres_tools.dump(tools, database.url, file, snapshot)
        finally:
            connection.close()
    found = postgres_tools.rows_in(tools, file)
    wrong = sorted(name for name, (count, _) in rows.items() if found.get(name) != count)
    if wrong:
        raise Refused(f"The backup has not all rows of {', '.join(wrong)}; it was thrown away. Try again.")
    return step, rows


def _copy_photos(source: Path, target: Path, known: Path | None) -> None:
    """Every photo of `source` that `target` has not. One that is in `known` with the content its name says gets a second name."""
    for file in _files(source) if source.is_dir() else []:
        name = file.relative_to(source)
        place = target / name
        if file.name.startswith(".") or (place.exists() and sha256_of(place) == file.stem):
            continue
        place.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        place.unlink(missing_ok=True)
        if known is not None and (known / name).is_file() and sha256_of(known / name) == file.stem:
            with suppress(OSError):  # a disk that cannot have two names for a file
                os.link(known / name, place)
                continue
        draft = place.with_name(f".{place.name}.half")
        shutil.copyfile(file, draft)
        draft.chmod(0o600)
        to_disk(draft)
        draft.replace(place)


def _restore_sqlite(file: Path, place: Path, manifest: Manifest, at: datetime, *, replace: bool) -> Path | None:
    if not place.parent.is_dir():
        raise NotFound(f'The folder {place.parent} does not exist. Make it, or correct the setting "database".')
    half = place.with_name(f".{place.name}.{os.getpid()}.half")
    with only_server(place):
        there = place.exists()
        if there and not replace:
            raise Clash(
                f"There is a database at {place}. With --replace it is put aside and the backup takes its place."
            )
        try:
            shutil.copyfile(file, half)
            half.chmod(0o600)
            with ours(), _opened(half) as connection:
                found = str(connection.execute("PRAGMA integrity_check(1)").fetchone()[0])
                if found != "ok" or _rows(connection) != manifest.rows or sha256_of(half) != manifest.files[file.name]:
                    raise Refused(f"{file} was restored and is not what was backed up ({found}); it was thrown away.")
            to_disk(half)
            aside = _put_aside(place, at) if there else None
            half.replace(place)
            to_disk(place.parent)
        finally:
            half.unlink(missing_ok=True)
    return aside


def _put_aside(place: Path, at: datetime) -> Path:
    """The SQLite file under a second name, with its log if that cannot be folded in; where it was, no log is left."""
    with suppress(Exception):  # damaged: its log goes with it
        connection = sqlite_module().connect(str(place))
        try:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        finally:
            connection.close()
    aside = place.with_name(f"{place.name}.before-{at.astimezone(UTC):%Y%m%dT%H%M%SZ}")
    parts = [ending for ending in ("", "-wal", "-shm") if place.with_name(place.name + ending).exists()]
    for ending in parts:
        os.link(place.with_name(place.name + ending), aside.with_name(aside.name + ending))
    to_disk(place.parent)
    for ending in parts[1:]:
        place.with_name(place.name + ending).unlink()
    return aside


def _restore_postgres(
    file: Path, database_url: str, manifest: Manifest, folder: Path, at: datetime, *, replace: bool
) -> Path | None:
    database = open_database(database_url)
    try:
        step = step_of(database)
        if step is not None and not replace:
            raise Clash(
                "That database has tables already. With --replace they are backed up and the backup takes their place."
            )
        with database.read() as session:
            ask = session.connection().exec_driver_sql
            version = int(ask("SHOW server_version_num").scalar_one())
            others = ask(
                "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND pid != pg_backend_pid() "
                "AND backend_type = 'client backend'"
            ).scalar_one()
        if others:
            raise Clash(f"That database is in use by {others} connections. Stop the server and whatever else uses it.")
        tools = postgres_tools.find_tools(version // 10000)
        aside = None if step is None else make_backup(database, folder, None, at)
    finally:
        database.close()
    postgres_tools.load(tools, database.url, file, postgres_tools.proof_statement(manifest.rows))
    return aside
