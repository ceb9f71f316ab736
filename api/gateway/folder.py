"""The drop folder: files of readings, taken when complete, moved to done/ once the server has every line.

A file is never changed, deleted or overwritten, only moved. Lines that are no readings are named in a file of its name
with `.problems` at the end, which goes with it.
"""

import hashlib
import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

from api.gateway.buffer import Buffer, TakenFile
from api.gateway.reading import BadLine, CounterReading, read_last, read_line
from api.gateway.settings import DropFolder
from scheduler.errors import Busy, Refused, StorageFull

MOST_BYTES = 32 * 1024 * 1024
DONE = "done"
PROBLEMS = ".problems"


class FileSeen(NamedTuple):
    """A file as it looked. since: seconds of the gateway's own running clock when it was first seen so."""

    size: int
    changed_ns: int
    since: float


class FolderReport(NamedTuple):
    """What came of a look: sentences of what was done and of what could not be; readings taken, and bad lines."""

    said: list[str]
    trouble: list[str]
    readings: int = 0
    bad: int = 0


def look_again(before: FileSeen | None, size: int, changed_ns: int, now: float) -> FileSeen:
    """The look kept of a file: since the same instant as before when it has not changed. Pure."""
    if before is not None and (before.size, before.changed_ns) == (size, changed_ns):
        return before
    return FileSeen(size, changed_ns, now)


def is_complete(look: FileSeen, settle_seconds: float, now: float) -> bool:
    """A file that has not changed for so long, by the gateway's clock alone. Pure."""
    return now - look.since >= settle_seconds


def read_file(content: bytes) -> tuple[list[CounterReading], list[BadLine]]:
    """The readings and the bad lines of a file. Pure."""
    readings: list[CounterReading] = []
    bad: list[BadLine] = []
    *lines, last = content.split(b"\n")
    for number, raw in enumerate(lines, 1):
        found = read_line(raw.removesuffix(b"\r"), number)
        if isinstance(found, BadLine):
            bad.append(found)
        elif found is not None:
            readings.append(found)
    torn = read_last(last, len(lines) + 1)
    if torn is not None:
        bad.append(torn)
    return readings, bad


@dataclass(slots=True)
class Drop:
    """The folder as the gateway sees it. looks: how each file looked last; taken: how it looked when it was taken."""

    settings: DropFolder
    buffer: Buffer
    seen_files: dict[str, FileSeen] = field(default_factory=dict)
    taken: dict[str, FileSeen] = field(default_factory=dict)

    def set_up(self) -> None:
        """See that the folder is there and done/ can be made. Raises Refused."""
        try:
            (self.settings.path / DONE).mkdir(exist_ok=True)
        except OSError as error:
            raise Refused(
                f'The folder {self.settings.path} ("folder.path") cannot be used: {error.strerror}. Make it, and let this '
                "program write there."
            ) from error

    def take(self, now: float) -> FolderReport:
        """Take every complete file into the buffer.

        What cannot be taken now (no room in the buffer, no right to read) stays where it is and is told.

        Args:
            now: seconds of a running clock.
        """
        told = FolderReport([], [])
        count = faulty = 0
        known = {(file.name, file.digest) for file in self.buffer.files()}
        for name, look in self._complete(now, told):
            path = self.settings.path / name
            try:
                content = path.read_bytes()
                digest = hashlib.sha256(content).hexdigest()
                if (name, digest) not in known:
                    readings, bad = read_file(content)
                    _write_problems(path, bad)
                    self.buffer.add(readings, TakenFile(0, name, digest, len(bad)))
                    named = f"; {len(bad)} lines are no readings, see {name}{PROBLEMS}" if bad else ""
                    told.said.append(f"{name}: {len(readings)} readings taken{named}.")
                    count, faulty = count + len(readings), faulty + len(bad)
            except FileNotFoundError:
                continue
            except (StorageFull, Busy) as error:
                told.trouble.append(error.says)
                break
            except OSError as error:
                told.trouble.append(f"{path} cannot be taken: {error.strerror}. Let this program read and write there.")
                continue
            self.taken[name] = look
        return told._replace(readings=count, bad=faulty)

    def move_sent(self) -> FolderReport:
        """Move to done/ every file of which the server has answered for all lines."""
        told = FolderReport([], [])
        for file in self.buffer.sent_files():
            path = self.settings.path / file.name
            try:
                told.said.extend(self._move(path, file))
                self.buffer.end_file(file.id)
            except (StorageFull, Busy) as error:
                told.trouble.append(error.says)
                continue
            except OSError as error:
                told.trouble.append(
                    f"{path} cannot be moved to {DONE}/: {error.strerror}. Let this program write there."
                )
                continue
            self.taken.pop(file.name, None)
            self.seen_files.pop(file.name, None)
        return told

    def _move(self, path: Path, file: TakenFile) -> list[str]:
        done = self.settings.path / DONE
        problems = path.with_name(f"{path.name}{PROBLEMS}")
        if not path.exists():  # moved before a power cut, or taken away by hand
            if file.bad and problems.exists():
                problems.rename(_free_name(done / problems.name))
            return []
        if hashlib.sha256(path.read_bytes()).hexdigest() != file.digest:
            return []  # changed since it was taken: what is there now is a new file
        target = _free_name(done / path.name)
        path.rename(target)
        if problems.exists():
            problems.rename(target.with_name(f"{target.name}{PROBLEMS}"))
        _sync_folder(done)
        _sync_folder(path.parent)
        return [f"{file.name}: the server has answered for every line; moved to {DONE}/{target.name}."]

    def settling(self) -> bool:
        """True while a file is there that is not taken yet and may be once it has settled."""
        return any(self.taken.get(name) != look for name, look in self.seen_files.items() if look.size <= MOST_BYTES)

    def _complete(self, now: float, told: FolderReport) -> list[tuple[str, FileSeen]]:
        here = dict(self._files(told))
        self.seen_files = {
            name: look_again(self.seen_files.get(name), stat.st_size, stat.st_mtime_ns, now)
            for name, stat in here.items()
        }
        complete = []
        for name, look in sorted(self.seen_files.items()):
            if look.size > MOST_BYTES:
                told.trouble.append(f"{name} is over {MOST_BYTES // 1024 // 1024} MB and stays where it is; split it.")
            elif self.taken.get(name) != look and is_complete(look, self.settings.settle_seconds, now):
                complete.append((name, look))
        return complete

    def _files(self, told: FolderReport) -> Iterator[tuple[str, os.stat_result]]:
        try:
            with os.scandir(self.settings.path) as entries:
                found = [one for one in entries if one.name.lower().endswith(".csv") and not one.name.startswith(".")]
        except OSError as error:
            told.trouble.append(f'The folder {self.settings.path} ("folder.path") cannot be read: {error.strerror}.')
            return
        for entry in found:
            try:
                if entry.name.isprintable() and entry.is_file():
                    yield entry.name, entry.stat()
                elif not entry.name.isprintable():
                    told.trouble.append(f"{entry.name!r} has unprintable letters in its name; rename it.")
            except FileNotFoundError:
                continue
            except OSError as error:
                told.trouble.append(f"{entry.path} cannot be looked at: {error.strerror}.")


def _write_problems(path: Path, bad: list[BadLine]) -> None:
    target = path.with_name(f"{path.name}{PROBLEMS}")
    if not bad:
        target.unlink(missing_ok=True)
        return
    new = target.with_name(f".{target.name}.new")
    with new.open("w", encoding="utf-8") as file:
        file.writelines(f"line {one.number}: {one.says}\n  {one.text}\n" for one in bad)
        file.flush()
        os.fsync(file.fileno())
    new.replace(target)


def _free_name(path: Path) -> Path:
    """A name in done/ that is not taken: a later file of the same name never overwrites an earlier one."""
    found, number = path, 2
    while found.exists() or found.with_name(f"{found.name}{PROBLEMS}").exists():
        found = path.with_name(f"{path.stem}.{number}{path.suffix}")
        number += 1
    return found


def _sync_folder(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
