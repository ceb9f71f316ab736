"""What every action works with: the database, the clock, the settings, the planner's worker."""

import hashlib
import json
import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from threading import Event, Lock
from typing import Any

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.background import BackgroundWork
from scheduler.clock import Clock
from scheduler.errors import Clash, MissingCondition, Refused
from scheduler.settings import Settings
from scheduler.solving import Worker, Workers
from scheduler.storage.base import IdempotencyRow, answer_given
from scheduler.storage.database import INSTALLATION, Database, Session, bump_revision

log = logging.getLogger("leadline")

AHEAD = timedelta(minutes=5)
"""How far a clock aboard may be ahead of the server's before an instant counts as in the future."""


class Waker:
    """Tells one listener, if there is one, that something was asked for. What the listener raises is logged, and no more."""

    def __init__(self) -> None:
        self._listener: Callable[[], object] | None = None

    def listen(self, listener: Callable[[], object] | None) -> None:
        """From now on tell this one; none: nobody."""
        self._listener = listener

    def wake(self) -> None:
        """Tell it."""
        listener = self._listener
        if listener is not None:
            try:
                listener()
            except Exception:
                log.exception("what was asked for could not be begun at once; the next tick does it")


@dataclass(frozen=True, slots=True)
class Context:
    """The conductor's context; one a process."""

    db: Database
    clock: Clock
    settings: Settings
    stopping: Event = field(default_factory=Event, compare=False)
    """Set when the program stops: plans under way are given up, to be made when it runs again."""

    waker: Waker = field(default_factory=Waker, compare=False)
    """Told of each change of what is stored, so that the ticks need not be waited for."""

    looking_far: Lock = field(default_factory=Lock, compare=False)
    """Held while an outlook is worked out: it takes seconds of a core, so there is one at a time."""

    background: BackgroundWork = field(default_factory=BackgroundWork, compare=False)
    """Plans that a page asked for, made beside it."""

    def wake(self) -> None:
        """Say that something was asked for: whoever listens does it at once. It never fails."""
        self.waker.wake()

    def now(self) -> datetime:
        """The present instant, aware, in UTC."""
        return self.clock()

    def now_s(self) -> int:
        """The present instant in whole epoch seconds."""
        return int(self.clock().timestamp())

    def workers(self, many: int = 1) -> Workers:
        """The planner's worker processes, to be used in a `with`; none is started before it is asked."""
        return Workers(
            Worker(
                wall_seconds=self.settings.solve_seconds,
                memory_mb=self.settings.solve_memory_mb,
                stopping=self.stopping.is_set,
            )
            for _ in range(many)
        )


def instant(at_s: int) -> datetime:
    """Epoch seconds as an aware instant in UTC."""
    return datetime.fromtimestamp(at_s, UTC)


def maybe(at_s: int | None) -> datetime | None:
    """Epoch seconds as an aware instant in UTC; none stays none."""
    return None if at_s is None else instant(at_s)


def utc_text(at: datetime | None) -> str | None:
    """An aware instant as RFC 3339 text in UTC, to the second; none stays none."""
    return None if at is None else f"{at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"


def seconds(at: datetime) -> int:
    """An aware instant in whole epoch seconds, floored."""
    return int(at.timestamp() // 1)


@dataclass(frozen=True, slots=True)
class Answer:
    """What an action answers: an HTTP-like status number and a JSON value."""

    status: int
    body: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Hand:
    """A hand action as asked: by whom, under which Idempotency-Key, and what exactly."""

    actor: Actor
    key: str | None
    asked: Mapping[str, Any]

    @property
    def fingerprint(self) -> str:
        """SHA-256 of what was asked."""
        return hashlib.sha256(json.dumps(self.asked, sort_keys=True, default=str).encode()).hexdigest()


def must_have_key(hand: Hand) -> None:
    """Raises MissingCondition when the hand action has no Idempotency-Key, or one over 100 characters."""
    if not hand.key or len(hand.key) > 100:
        raise MissingCondition(
            "This action needs the header Idempotency-Key (1 to 100 characters, a new one for each thing you do), "
            "so that sending it twice does it once."
        )


def make_once(session: Session, hand: Hand | None, now: datetime, what: str) -> None:
    """What is shown this once is made once under its Idempotency-Key; without one as often as it is asked for. Its secret is kept
    nowhere, so a repetition is refused.

    Args:
        session: in which it is made, of the installation. what: is made, such as "key 3f2a90c1".

    Raises:
        Clash: made already (`more` has what). Refused: the key was used for something else, or has over 100 characters.
    """
    if hand is None or not hand.key:
        return
    must_have_key(hand)
    before = answer_given(session, INSTALLATION, hand.key, hand.actor.id)
    if before is None:
        session.add(_kept(INSTALLATION, hand, hand.key, now, Answer(201, {"made": what})))
        return
    _must_be_same(before, hand)
    made = before.answer["made"]
    raise Clash(
        f"The {made} was made under this Idempotency-Key already, and its secret was shown that once: it is kept nowhere. If it "
        f"did not reach you, withdraw it (a sign-in link runs out by itself) and ask again under a new Idempotency-Key.",
        more={"made": made},
    )


def hand_action(
    context: Context, hand: Hand, vessel_id: str, act: Callable[[Session], Answer], *, needs_key: bool = True
) -> Answer:
    """A hand action, whole: in one transaction of its vessel it is done once under its Idempotency-Key, and what follows from it
    is asked for; then the ticks are woken. Repeated with the same key it gives the kept answer and does nothing.

    Args:
        needs_key: False where If-Match already sees to it that it is done once.

    Raises:
        MissingCondition: no Idempotency-Key, or one over 100 characters.
        Refused: the key was used for something else. And whatever `act` raises; then nothing of it is stored.
    """
    with context.db.write(vessel_id) as session:
        answer = _once(session, vessel_id, hand, context.now(), act, needs_key=needs_key)
    context.wake()
    return answer


def _once(
    session: Session, vessel_id: str, hand: Hand, now: datetime, act: Callable[[Session], Answer], *, needs_key: bool
) -> Answer:
    """Run `act` unless this key was used: then give the kept answer. Answer and effect commit together."""
    if needs_key:
        must_have_key(hand)
    kept = None if hand.key is None else answer_given(session, vessel_id, hand.key, hand.actor.id)
    if kept is not None:
        _must_be_same(kept, hand)
        return Answer(kept.status, kept.answer)
    answer = act(session)
    session.flush()
    bump_revision(session, vessel_id)
    if hand.key is not None:
        session.add(_kept(vessel_id, hand, hand.key, now, answer))
    return answer


def _must_be_same(before: IdempotencyRow, hand: Hand) -> None:
    if before.fingerprint != hand.fingerprint:
        raise Refused(
            f'The Idempotency-Key "{hand.key}" was used before for something else. Use a new key for a new action.'
        )


def _kept(vessel_id: str, hand: Hand, key: str, now: datetime, answer: Answer) -> IdempotencyRow:
    return IdempotencyRow(
        vessel_id=vessel_id,
        key=key,
        actor=hand.actor.id,
        fingerprint=hand.fingerprint,
        status=answer.status,
        answer=dict(answer.body),
        created_at=now,
    )
