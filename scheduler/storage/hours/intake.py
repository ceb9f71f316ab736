"""The readings' way into the database: many requests wait, one thread writes them in groups, each is answered after.

A durable commit costs the same for one reading as for a thousand, so what waits goes in together. A request is answered
only when the commit has returned: what was acknowledged is on the disk.
"""

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from datetime import datetime
from queue import Empty, SimpleQueue
from typing import Any, NamedTuple, Self

from scheduler.clock import Clock
from scheduler.errors import Busy, StorageFull
from scheduler.storage.database import Database
from scheduler.storage.foreign import RETRY_AFTER, as_ours
from scheduler.storage.hours.intake_sql import (
    IntakeAnswer,
    IntakeStore,
    LogItem,
    Post,
    PostedReading,
    PostgresIntake,
    SqliteIntake,
    Taken,
)

__all__ = ["Intake", "IntakeAnswer", "IntakeState", "LogItem", "Outcome", "Post", "PostedReading", "Taken", "Tell"]

WAITING_REQUESTS = 1024
WAITING_READINGS = 100_000
GROUP_READINGS = 10_000
"""A group is closed at this many, so that no request waits long behind others."""

_FULL = "Too many readings are waiting to be stored. None of these was taken; send them again in a second."
_STOPPED = "The server is stopping and takes no more readings. None of these was taken; send them again in a minute."


@dataclass(frozen=True, slots=True, kw_only=True)
class IntakeState:
    """How the intake is doing. stored: readings since the start; failed: requests that got an error instead."""

    waiting_requests: int
    stored: int
    failed: int
    last_commit_at: datetime | None


Outcome = IntakeAnswer | Exception
"""What became of a request: its answer after the commit, or why nothing of it was stored."""

Tell = Callable[[Sequence[tuple[Any, Outcome]]], None]
"""Hears from the writer's thread what became of its requests of one group, each by the token it came with; never raises."""


class _Waiting(NamedTuple):
    post: Post
    token: Any
    tell: Tell


class Intake:
    """The one writer of readings. Start it once; `submit` from any thread; `stop` stores what waits, then ends.

    As a context manager it starts and stops itself.
    """

    def __init__(
        self,
        database: Database,
        clock: Clock,
        *,
        waiting_requests: int = WAITING_REQUESTS,
        waiting_readings: int = WAITING_READINGS,
    ) -> None:
        self._database = database
        self._clock = clock
        self._queue: SimpleQueue[_Waiting | None] = SimpleQueue()
        self._door = threading.Lock()
        self._open = True
        self._most_requests = waiting_requests
        self._most_readings = waiting_readings
        self._requests = 0
        self._readings = 0
        self._store: IntakeStore | None = None
        self._stored = 0
        self._failed = 0
        self._last_commit_at: datetime | None = None
        self._thread = threading.Thread(target=self._work, name="intake", daemon=True)

    def start(self) -> Self:
        """Starts the writer's thread."""
        self._thread.start()
        return self

    def stop(self) -> None:
        """Takes nothing more, stores what waits, closes the connection. May be called twice."""
        with self._door:
            first, self._open = self._open, False
        if self._thread.ident is not None:
            if first:
                self._queue.put(None)
            self._thread.join()

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(self, *_: object) -> None:
        self.stop()

    def submit(
        self,
        vessel_id: str,
        readings: Sequence[tuple[int, int, int, int]],
        log: Sequence[LogItem] = (),
        skew_s: int = 0,
    ) -> "Future[IntakeAnswer]":
        """Hands in one request; the future answers after the commit, or raises why nothing of it was stored.

        Raises:
            Busy: as `hand_in`. The future raises Busy and StorageFull too, and Clash when a counter is not that vessel's.
        """
        future: Future[IntakeAnswer] = Future()
        self.hand_in(Post(vessel_id, readings, log, skew_s), future, _tell_futures)
        return future

    def hand_in(self, post: Post, token: Any, tell: Tell) -> None:
        """Hands in one request; `tell` hears after the commit, once for all its requests of a group.

        Args:
            post: whose readings, which are valid (see `Reading`), and the refused items for the intake log, to be kept
                in the same transaction.

        Raises:
            Busy: too much waits, or the intake was stopped; `more` has `retry_after` in seconds.
        """
        count = len(post.readings)
        with self._door:
            if not self._open:
                raise Busy(_STOPPED, more={"retry_after": 60})
            crowded = self._readings and self._readings + count > self._most_readings
            if crowded or self._requests >= self._most_requests:
                raise Busy(_FULL, more=RETRY_AFTER)
            self._requests += 1
            self._readings += count
            self._queue.put(_Waiting(post, token, tell))

    def alive(self) -> bool:
        """Whether the writer's thread is there, as long as it has something to do."""
        return self._thread.is_alive() or not self._open

    def state(self) -> IntakeState:
        """How it is doing now."""
        return IntakeState(
            waiting_requests=self._requests,
            stored=self._stored,
            failed=self._failed,
            last_commit_at=self._last_commit_at,
        )

    def _work(self) -> None:
        last = False
        while not last:
            group, last = self._next_group()
            if group:
                self._settle(group)
        self._disconnect()

    def _next_group(self) -> tuple[list[_Waiting], bool]:
        """What waits, up to a group's size (waits for the first), and whether that was the last."""
        group: list[_Waiting] = []
        size, taken, last = 0, 0, False
        entry = self._queue.get()
        while True:
            if entry is None:
                last = True
                break
            taken += 1
            size += len(entry.post.readings)
            if not isinstance(entry.token, Future) or entry.token.set_running_or_notify_cancel():
                group.append(entry)
            if size >= GROUP_READINGS:
                break
            try:
                entry = self._queue.get_nowait()
            except Empty:
                break
        with self._door:
            self._requests -= taken
            self._readings -= size
        return group, last

    def _settle(self, group: list[_Waiting]) -> None:
        """Stores a group and answers it. When it fails for a reason of one request, each goes alone."""
        outcomes: Sequence[Outcome]
        try:
            outcomes = self._write([entry.post for entry in group])
        except Exception as error:
            known = as_ours(error) or error
            if len(group) > 1 and not isinstance(known, Busy | StorageFull):
                for entry in group:
                    self._settle([entry])
                return
            self._failed += len(group)
            outcomes = [known] * len(group)
        else:
            self._last_commit_at = self._clock()
            self._stored += sum(answer.doors.count(Taken.STORED) for answer in outcomes)
        told: dict[Tell, list[tuple[Any, Outcome]]] = {}
        for entry, outcome in zip(group, outcomes, strict=True):
            told.setdefault(entry.tell, []).append((entry.token, outcome))
        for tell, pairs in told.items():
            tell(pairs)

    def _write(self, posts: list[Post]) -> list[IntakeAnswer]:
        with self._database.turn():
            self._database.require_room()
            store = self._connect()
            try:
                return store.write(posts)
            except BaseException:
                if not store.undo():
                    self._disconnect()
                raise

    def _connect(self) -> IntakeStore:
        if self._store is None:
            kind = SqliteIntake if self._database.path else PostgresIntake
            self._store = kind(self._database.connect())
        return self._store

    def _disconnect(self) -> None:
        store, self._store = self._store, None
        if store is not None:
            store.connection.close()


def _tell_futures(pairs: Sequence[tuple[Any, Outcome]]) -> None:
    for future, outcome in pairs:
        if isinstance(outcome, Exception):
            future.set_exception(outcome)
        else:
            future.set_result(outcome)
