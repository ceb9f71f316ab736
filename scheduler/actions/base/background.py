"""Work that takes seconds, done beside whoever asked for it, so that no page waits for longer than a moment."""

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor, wait
from datetime import datetime
from threading import Lock
from typing import Any

MOST_KEPT = 32
"""Answers that nobody came for; older ones are let go."""


class BackgroundWork:
    """Acts under way, by what they are about: one that is asked for again meanwhile is not begun again.

    Args:
        moment_seconds: for so long whoever asks waits for the answer.
    """

    def __init__(self, moment_seconds: float = 2) -> None:
        self.moment_seconds = moment_seconds
        self._pool = ThreadPoolExecutor(2)
        self._lock = Lock()
        self._acts: dict[tuple[str, ...], tuple[Future[Any], datetime]] = {}

    def answer(
        self,
        about: tuple[str, ...],
        act: Callable[[], Any],
        now: datetime,
        *,
        anew: bool = False,
        wait_seconds: float | None = None,
    ) -> tuple[Any, datetime | None]:
        """What the act answers, and none; or none, and since when it is under way. An answer is given once.

        Args:
            anew: an answer that nobody came for is none; it is done again. wait_seconds: instead of a moment, where that is longer.

        Raises:
            Whatever the act raised.
        """
        with self._lock:
            if about not in self._acts or (anew and self._acts[about][0].done()):
                self._acts[about] = self._pool.submit(act), now
                self._let_go()
            future, since = self._acts[about]
        wait((future,), max(self.moment_seconds, wait_seconds or 0))
        if not future.done():
            return None, since
        with self._lock:
            self._acts.pop(about, None)
        return future.result(), None

    def under_way(self, about: tuple[str, ...]) -> bool:
        """Whether that is being done."""
        with self._lock:
            return about in self._acts and not self._acts[about][0].done()

    def _let_go(self) -> None:
        done = [about for about, (future, _) in self._acts.items() if future.done()]
        for about in done[: max(0, len(done) - MOST_KEPT)]:
            del self._acts[about]
