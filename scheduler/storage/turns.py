"""First come, first served: a lock whose waiters get their turn in the order in which they asked."""

import threading
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager

from scheduler.errors import Busy
from scheduler.language import gettext
from scheduler.storage.foreign import BUSY, RETRY_AFTER


class Turns:
    """The right to write, among the threads of one process.

    A plain lock lets whoever just gave it back take it again at once: under a flood of readings a person closing a job
    would wait without end.
    """

    def __init__(self, wait_seconds: float) -> None:
        self._wait_seconds = wait_seconds
        self._changed = threading.Condition()
        self._queue: deque[int] = deque()

    @contextmanager
    def take(self) -> Iterator[None]:
        """The turn, for the length of the block.

        Raises:
            Busy: it did not come within the time. RuntimeError: this thread holds it already.
        """
        me = threading.get_ident()
        with self._changed:
            if me in self._queue:
                raise RuntimeError("a write inside a write of the same thread would wait for itself")
            self._queue.append(me)
        try:
            with self._changed:
                if not self._changed.wait_for(lambda: self._queue[0] == me, timeout=self._wait_seconds):
                    raise Busy(gettext(BUSY), more=RETRY_AFTER)
            yield
        finally:  # also when an interrupt comes while it waits: a turn nobody holds would stop every writer
            with self._changed:
                self._queue.remove(me)
                self._changed.notify_all()
