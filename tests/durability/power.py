"""A model of a power loss: of what a process wrote, only what it had synced is sure to be on the disk afterwards.

A shim in C, preloaded into the process, notes every write and sync of an SQLite file and its log (`unsynced.c`). From the
notes the files are made as a disk may have them after the loss: with all that was synced, and of the rest nothing, or any
sectors of it, since a disk writes what it has not promised yet in an order of its own.
"""

import os
import shutil
import struct
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from random import Random
from tempfile import mkdtemp

SECTOR = 512
_HEAD = struct.Struct("=4Q")
_PARTS = ("", "-wal")
"""Endings of the files that count; the log's index is made anew after a crash."""


def compiler() -> str | None:
    """The C compiler of this machine, if it has one."""
    return shutil.which("gcc") or shutil.which("cc")


@cache
def shim() -> Path:
    """The shim, compiled."""
    made = Path(mkdtemp(prefix="leadline-shim-")) / "unsynced.so"
    source = Path(__file__).with_name("unsynced.c")
    subprocess.run([compiler() or "cc", "-shared", "-fPIC", "-O1", "-Wall", "-Werror", "-o", made, source], check=True)
    return made


@dataclass(slots=True)
class _Image:
    """A file: as it surely is, and the writes since, in order."""

    sure: bytearray = field(default_factory=bytearray)
    there: bool = False
    since: list[tuple[bytes, int, bytes]] = field(default_factory=list)

    def note(self, act: bytes, at: int, data: bytes) -> None:
        self.since.append((act, at, data))
        if act == b"s":
            self._write(self.sure, lambda: True)
            self.there, self.since = True, []

    def after(self, arrives: Callable[[], bool]) -> bytearray:
        """As it is when `arrives` says, sector by sector, what of the rest reached the disk."""
        content = bytearray(self.sure)
        self._write(content, arrives)
        return content

    def _write(self, content: bytearray, arrives: Callable[[], bool]) -> None:
        for act, at, data in self.since:
            if act == b"t":
                if arrives():
                    del content[at:]
                    content += bytes(at - len(content))
            elif act == b"w":
                for begin in range(at - at % SECTOR, at + len(data), SECTOR):
                    part = data[max(0, begin - at) : begin + SECTOR - at]
                    if arrives():
                        place = max(begin, at)
                        content += bytes(max(0, place - len(content)))
                        content[place : place + len(part)] = part


class Disk:
    """The disk under a database file, from now on.

    Args:
        database: the file, which nobody has open.
    """

    def __init__(self, database: Path) -> None:
        self._database = database
        self._log = database.with_name("notes")
        self._log.unlink(missing_ok=True)
        self._images = {self._file(ending): _Image() for ending in _PARTS}
        for file, image in self._images.items():
            if file.exists():
                image.sure, image.there = bytearray(file.read_bytes()), True
        self.syncs = self.writes = 0

    def environment(self) -> dict[str, str]:
        """What a process needs in its environment to write to this disk."""
        return {
            "LD_PRELOAD": str(shim()),
            "UNSYNCED_FILES": str(self._database.resolve()),
            "UNSYNCED_LOG": str(self._log),
        }

    def read_notes(self) -> None:
        """Takes in what the process did; it has ended."""
        for act, name, at, data in _notes(self._log):
            self.syncs += act == b"s"
            self.writes += act == b"w"
            image = self._images.get(Path(name))
            if image is not None:
                image.note(act, at, data)

    def whole(self) -> dict[Path, bytes]:
        """The files with every write, synced or not: what a process alone, when it is killed, leaves."""
        return {
            file: bytes(image.after(lambda: True)) for file, image in self._images.items() if image.there or image.since
        }

    def lose_power(self, random: Random) -> None:
        """Puts the files as they are after the loss: of what was not synced nothing, or each sector by the toss of a coin."""
        share = random.choice((0.0, 0.5, 0.9))
        for file, image in self._images.items():
            content = image.after(lambda: random.random() < share)
            file.unlink(missing_ok=True)
            if image.there or content:
                file.write_bytes(content)
        self._file("-shm").unlink(missing_ok=True)

    def _file(self, ending: str) -> Path:
        place = self._database.resolve()
        return place.with_name(place.name + ending)


def _notes(log: Path) -> Iterator[tuple[bytes, str, int, bytes]]:
    """(act, file, offset, data) of each note; one that a kill cut off is the last and is left out."""
    if not log.exists():
        return
    with log.open("rb") as notes:
        while len(head := notes.read(_HEAD.size)) == _HEAD.size:
            act, at, size, long = _HEAD.unpack(head)
            name, data = notes.read(long), notes.read(size)
            if len(data) < size:
                return
            yield bytes([act]), os.fsdecode(name), at, data
