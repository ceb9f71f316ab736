"""A thin link: what passes is held to a rate, comes late, and is cut now and then."""

import socket
import threading
import time
from contextlib import closing, suppress
from dataclasses import dataclass, field


@dataclass
class Relay:
    """Listens on a port of its own and passes bytes on to `target`.

    Args:
        rate: bytes a second, each way. delay: seconds before a piece goes on. cut_every: seconds after which a connection is
            cut; 0: never.
    """

    target: int
    rate: float
    delay: float
    cut_every: float = 0.0
    passed: int = 0
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
            ends = time.monotonic() + self.cut_every if self.cut_every else float("inf")
            for source, sink in ((near, far), (far, near)):
                threading.Thread(target=self._pass, args=(source, sink, ends), daemon=True).start()

    def _pass(self, source: socket.socket, sink: socket.socket, ends: float) -> None:
        with closing(source), closing(sink), suppress(OSError):
            source.settimeout(0.2)
            while time.monotonic() < ends:
                try:
                    piece = source.recv(512)
                except TimeoutError:
                    continue
                if not piece:
                    return
                time.sleep(self.delay + len(piece) / self.rate)
                sink.sendall(piece)
                self.passed += len(piece)
