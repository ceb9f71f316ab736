"""Photos as files in a folder beside the database, named by their content, so that none is kept twice or changed unseen."""

import os
import tempfile
from collections.abc import Collection
from contextlib import suppress
from pathlib import Path

from scheduler.errors import StorageFull
from scheduler.language import gettext as _
from scheduler.storage.disk import to_disk


def photo_root(chosen: str, database_path: Path | None) -> Path | None:
    """The folder with the photos of all vessels, a folder each: the one chosen, else beside the SQLite file; none on PostgreSQL."""
    if chosen:
        return Path(chosen)
    return database_path and database_path.with_name(f"{database_path.name}.photos")


def store_photo(folder: Path, name: str, content: bytes) -> None:
    """Write the file whole and durably, or not at all; one that is there already is left as it is.

    Raises:
        StorageFull: it cannot be written; the message says where.
    """
    target = folder / name
    try:
        if target.exists():
            target.touch()  # no sweep takes it for one that nobody wanted
            return
        for place in (folder.parent, folder):
            place.mkdir(parents=True, exist_ok=True, mode=0o700)
        handle, draft = tempfile.mkstemp(dir=folder, prefix=".draft-")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            Path(draft).replace(target)
            for place in (folder, folder.parent, folder.parent.parent):  # the folders may be new as well
                to_disk(place)
        except BaseException:
            Path(draft).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise StorageFull(
            _(
                "The photo cannot be kept in {folder}: {strerror}. Make room or set photo_folder, then send it again.",
                folder=folder,
                strerror=error.strerror,
            )
        ) from error


def has_photo(folder: Path, name: str) -> bool:
    """Whether the file is there."""
    return (folder / name).exists()


def remove_photo(folder: Path, name: str) -> None:
    """Take the file away, if it is there; one that cannot be removed stays."""
    with suppress(OSError):
        (folder / name).unlink(missing_ok=True)


def remove_orphans(folder: Path, named: Collection[str], before: float) -> list[str]:
    """Take away files that are not `named` and were last written before then (epoch seconds); their names. A folder that is not
    there has none, and what cannot be removed stays."""
    gone = []
    with suppress(OSError):
        for file in sorted(folder.iterdir()):
            with suppress(OSError):
                if file.name not in named and file.is_file() and file.stat().st_mtime < before:
                    file.unlink()
                    gone.append(file.name)
    return gone


def read_photo(folder: Path, name: str) -> bytes | None:
    """The content of a kept file, or none when it is not there."""
    try:
        return (folder / name).read_bytes()
    except OSError:
        return None
