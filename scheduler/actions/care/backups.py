"""Backups: where they go, made by hand or each night, how old the newest is, and the way back."""

import logging
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from scheduler.actions.base.context import Context
from scheduler.actions.vessel.fleet import offset_minutes
from scheduler.errors import Refused, SchedulerError
from scheduler.settings import Settings
from scheduler.storage.care.backup import Manifest, backups_in, check_backup, drop_oldest, make_backup, restore_backup
from scheduler.storage.database import INSTALLATION, database_path, open_database
from scheduler.storage.photos.files import photo_root
from scheduler.storage.shore.lines import begin_lives
from scheduler.storage.tasks import TaskRunRow, task_row
from scheduler.storage.vessel import vessel_rows

log = logging.getLogger("leadline")

BACKUP = "backup"
TRIED_AGAIN = timedelta(hours=1)
"""After a backup that failed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BackupMade:
    """A backup, and how many bytes its files have; photos that it shares with an earlier one count too."""

    folder: Path
    manifest: Manifest
    bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Restored:
    """A backup that was put back. aside: where the database that was there before lies; none where there was none. joined: vessels
    that send to an office."""

    manifest: Manifest
    aside: Path | None
    joined: tuple[str, ...] = ()


def backup_folder(settings: Settings, database_path: Path | None) -> Path | None:
    """Where backups go: the setting, else beside the SQLite file; none on PostgreSQL without the setting."""
    if settings.backup_folder:
        return Path(settings.backup_folder).expanduser()
    return database_path and database_path.with_name(f"{database_path.name}.backups")


def back_up(context: Context, folder: Path | None = None) -> BackupMade:
    """Makes a backup now, in the folder given or in the one that is set.

    Raises:
        Refused: no folder is set, or PostgreSQL's programs are missing. StorageFull: it cannot be written. Busy.
    """
    target = folder or backup_folder(context.settings, context.db.path)
    if target is None:
        raise Refused("No folder for backups is set. Set backup_folder, or name one: leadline backup --to FOLDER.")
    made = make_backup(context.db, target, photo_root(context.settings.photo_folder, context.db.path), context.now())
    size = sum(one.stat().st_size for one in made.rglob("*") if one.is_file())
    return BackupMade(folder=made, manifest=Manifest.read(made), bytes=size)


def nightly_backup(context: Context) -> bool:
    """Once a night, at the hour set: a backup, and away with what is more than the setting says. Whether one was made.

    The night is the ship's where there is one ship, else by UTC. One that failed is tried again after an hour, one that was
    cut off at once. Nothing is made of an empty database, nor on PostgreSQL without a folder.
    """
    settings = context.settings
    folder = backup_folder(settings, context.db.path)
    if folder is None or settings.backup_count == 0:
        return False
    now = context.now()
    with context.db.read() as session:
        vessels = vessel_rows(session, limit=2)
        if not vessels:
            return False
        clock = offset_minutes(session, vessels[0].id, now) if len(vessels) == 1 else 0
        night = (now + timedelta(minutes=clock) - timedelta(hours=settings.nightly_hour)).date().isoformat()
        row = task_row(session, BACKUP, night)
        failed = row is not None and row.outcome not in (None, "done")
        if row is not None and (row.outcome == "done" or (failed and now - row.started_at < TRIED_AGAIN)):
            return False
    with context.db.write(INSTALLATION) as session:
        session.merge(TaskRunRow(task=BACKUP, period=night, started_at=now))
    try:
        made = back_up(context)
        gone = drop_oldest(folder, settings.backup_count)
        log.info("backup %s made, %d older ones taken away", made.folder, len(gone))
        outcome = "done"
    except (SchedulerError, OSError) as error:
        log.error("no backup was made: %s", error)
        outcome = f"failed: {error}"[:500]
    with context.db.write(INSTALLATION) as session:
        ended = TaskRunRow(task=BACKUP, period=night, started_at=now, ended_at=context.now(), outcome=outcome)
        session.merge(ended)
    return outcome == "done"


def newest_backup_at(folder: Path | None) -> datetime | None:
    """When the newest backup in a folder was made; none where there is no whole one."""
    for one in reversed([] if folder is None else backups_in(folder)):
        try:
            return Manifest.read(one).made_at
        except SchedulerError:
            continue
    return None


def same_disk(one: Path, other: Path) -> bool:
    """Whether two files or folders that are there lie on one disk: what takes the one takes the other."""
    return one.stat().st_dev == other.stat().st_dev


def proved(folder: Path) -> Manifest:
    """What a backup holds, every file of it read and found as it was written. Raises NotFound, Refused."""
    return check_backup(folder)


def put_back(settings: Settings, folder: Path, at: datetime, *, replace: bool) -> Restored:
    """Puts a backup in the place of the database that is set, with its photos; vessels that have joined an office begin a new life,
    since what they sent after the backup is not in it. Raises as `restore_backup`."""
    photos = photo_root(settings.photo_folder, database_path(settings.database))
    aside = restore_backup(folder, settings.database, photos, at, replace=replace)
    manifest = Manifest.read(folder)
    joined: list[str] = []
    if manifest.rows.get("shore_line", (0, ""))[0]:
        database = open_database(settings.database, create=False, check=False)
        try:
            with database.write(INSTALLATION) as session:
                joined = begin_lives(session)
        finally:
            database.close()
    return Restored(manifest=manifest, aside=aside, joined=tuple(joined))
