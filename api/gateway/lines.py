"""Readings on standard input, one a line. A pipe cannot be asked again, so nothing is read that is not taken at once."""

import os
from dataclasses import dataclass, field

from api.gateway.reading import BadLine, CounterReading, read_last, read_line

_CHUNK_BYTES = 65_536


@dataclass(slots=True)
class Lines:
    """Cuts what comes in into lines. rest: begun and not ended yet. ended: nothing more comes."""

    rest: bytes = b""
    number: int = 0
    ended: bool = False
    readings: list[CounterReading] = field(default_factory=list)
    bad: list[BadLine] = field(default_factory=list)

    def read(self, handle: int) -> None:
        """Read once from a file handle, which waits when nothing is there; what came is in `readings` and `bad`."""
        self.feed(os.read(handle, _CHUNK_BYTES))

    def feed(self, chunk: bytes) -> None:
        """The next bytes; none at all: the end. A last line without its line end may be cut short, so it is bad."""
        *lines, rest = (self.rest + chunk).split(b"\n")
        if len(rest) > _CHUNK_BYTES:
            lines, rest = [*lines, rest], b""
        for raw in lines:
            self.number += 1
            found = read_line(raw.removesuffix(b"\r"), self.number)
            if isinstance(found, CounterReading):
                self.readings.append(found._replace(line=None))
            elif found is not None:
                self.bad.append(found)
        self.rest = rest
        if not chunk:
            self.ended = True
            self.cut_short()

    def cut_short(self) -> None:
        """No more will be read: the line begun is put with the bad ones."""
        torn = read_last(self.rest, self.number + 1)
        if torn is not None:
            self.bad.append(torn)
        self.rest = b""
