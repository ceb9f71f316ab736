"""A thin link: what passes is held to a rate, comes late, and is cut now and then."""

import random
import socket
import threading
import time
from collections import deque
from contextlib import closing, suppress
from dataclasses import dataclass, field


@dataclass
class Relay:
    """Listens on a port of its own and passes bytes on to `target`.

    Args:
        rate: bytes a second, each way. delay: seconds that a piece is on its way. cuts: after how many seconds a connection is
            cut, least and most, by chance; none: never.
    """

    target: int
    rate: float
    delay: float
    cuts: tuple[float, float] | None = None
    passed: int = 0
    connections: int = 0
    cut: int = 0
    _chance: random.Random = field(default_factory=lambda: random.Random(7))
    _open: list[socket.socket] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port = self._door.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    def close(self) -> None:
        for one in (self._door, *self._open):
            with suppress(OSError):
                one.close()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._door.accept()
            except OSError:
                return
            try:
                far = socket.create_connection(("127.0.0.1", self.target), timeout=5)
            except OSError:
                near.close()
                continue
            self._open += [near, far]
            self.connections += 1
            ends = time.monotonic() + self._chance.uniform(*self.cuts) if self.cuts else float("inf")
            for source, sink in ((near, far), (far, near)):
                threading.Thread(target=self._pass, args=(source, sink, ends), daemon=True).start()

    def _pass(self, source: socket.socket, sink: socket.socket, ends: float) -> None:
        """What is on its way holds up nothing behind it: pieces go one after the other at the rate, each comes `delay` later."""
        under_way: deque[tuple[float, bytes]] = deque()
        free_at, ended = 0.0, False
        with closing(source), closing(sink), suppress(OSError):
            while (now := time.monotonic()) < ends and not (ended and not under_way):
                while under_way and under_way[0][0] <= now:
                    sink.sendall(piece := under_way.popleft()[1])
                    self.passed += len(piece)
                waits = min(under_way[0][0] - now, 0.2) if under_way else 0.2
                if ended or free_at > now:
                    time.sleep(min(waits, 0.2 if ended else free_at - now))
                    continue
                source.settimeout(max(waits, 0.001))
                try:
                    piece = source.recv(512)
                except TimeoutError:
                    continue
                ended = not piece
                free_at = time.monotonic() + len(piece) / self.rate
                if piece:
                    under_way.append((free_at + self.delay, piece))
            self.cut += time.monotonic() >= ends and not ended
