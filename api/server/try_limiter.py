"""How often somebody may guess: passphrases and short codes by address and by name, long random secrets by address.

Own code instead of a library (`limits` was looked at): its memory store reads the wall clock, which a ship sets back, and
grows with every address a guesser makes up.
"""

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from ipaddress import ip_address
from threading import Lock
from time import monotonic

from fastapi import Request

from scheduler.errors import NotFound, NotSignedIn, TooMany
from scheduler.language import gettext as _

_MOST_SUBJECTS = 10_000
"""Subjects remembered at once; past it those are forgotten that may try again soonest."""


@dataclass(frozen=True, slots=True)
class Allowance:
    """So many wrong tries at once, and one more each so many seconds."""

    tries: int
    seconds: float


BY_NAME = Allowance(5, 12.0)
"""Wrong passphrases or short codes for one name: 5 a minute."""
BY_ADDRESS = Allowance(20, 3.0)
"""Wrong passphrases from one address, where a whole crew may share a computer: 20 a minute."""
SECRETS = Allowance(30, 2.0)
"""Wrong keys, links and calendar addresses from one address: 30 a minute."""


class TryLimiter:
    """Wrong tries by subject, in memory. Safe to share between threads.

    seconds: a clock that only goes forward. Source: the generic cell rate algorithm, ITU-T I.371 annex A (from memory).
    """

    def __init__(self, seconds: Callable[[], float] = monotonic) -> None:
        self._seconds = seconds
        self._whole_at: dict[tuple[str, str], float] = {}  # when a subject has all its tries again
        self._lock = Lock()

    @contextmanager
    def passphrase_try(self, address: str, name: str) -> Iterator[None]:
        """Around the check of a passphrase or short code, before any costly work.

        NotSignedIn or NotFound raised inside is a wrong try and counts; anything else does not. Tries under way count
        as wrong ones until they end, so that many at once gain nothing.

        Raises:
            TooMany: too many wrong tries from that address or for that name; nothing was checked.
        """
        subjects = {("name", name.strip().casefold()[:200]): BY_NAME, ("address", device_of(address)): BY_ADDRESS}
        with self._lock:
            wait = max(self._wait(subject, allowed) for subject, allowed in subjects.items())
            if wait <= 0:
                for subject, allowed in subjects.items():
                    self._spend(subject, allowed.seconds)
        if wait > 0:
            raise _too_many(wait)
        try:
            yield
        except (NotSignedIn, NotFound):
            raise
        except BaseException:
            self._give_back(subjects)
            raise
        self._give_back(subjects)

    @contextmanager
    def secret_try(self, address: str) -> Iterator[None]:
        """Around the look-up of a long random secret: a key, a one-time link, a calendar address.

        A right one always passes, whoever else guesses at the same address: no guessing finds 256 bits, and the ship's
        counters must not fall silent because of a neighbour.

        Raises:
            TooMany: instead of NotSignedIn or NotFound, when too many from that address were wrong.
        """
        try:
            yield
        except (NotSignedIn, NotFound) as error:
            subject = ("secret", device_of(address))
            with self._lock:
                wait = self._wait(subject, SECRETS)
                if wait <= 0:
                    self._spend(subject, SECRETS.seconds)
            if wait > 0:
                raise _too_many(wait) from error
            raise

    def _wait(self, subject: tuple[str, str], allowed: Allowance) -> float:
        """Seconds until one more try is allowed; 0 or less: now."""
        now = self._seconds()
        return max(self._whole_at.get(subject, now), now) + allowed.seconds * (1 - allowed.tries) - now

    def _spend(self, subject: tuple[str, str], seconds: float) -> None:
        now = self._seconds()
        if subject not in self._whole_at and len(self._whole_at) >= _MOST_SUBJECTS:
            soonest = sorted(self._whole_at, key=self._whole_at.__getitem__)
            for one in soonest[: _MOST_SUBJECTS // 10]:
                del self._whole_at[one]
        self._whole_at[subject] = max(self._whole_at.get(subject, now), now) + seconds

    def _give_back(self, subjects: dict[tuple[str, str], Allowance]) -> None:
        with self._lock:
            for subject, allowed in subjects.items():
                if subject in self._whole_at:
                    self._whole_at[subject] -= allowed.seconds


def limiter_of(request: Request) -> TryLimiter:
    """The limiter this app uses."""
    limiter: TryLimiter = request.app.state.try_limiter
    return limiter


def address_of(request: Request) -> str:
    """Where the request came from; behind a proxy named in the settings, what that proxy says; "" where unknown."""
    return request.client.host if request.client else ""


def device_of(address: str) -> str:
    """The address as limits count it: of IPv6 its first 64 bits, since one device has all the rest to itself.

    Source: RFC 4291 section 2.5.4.

    >>> device_of("fd00:1:2:3::9"), device_of("::ffff:10.0.0.1")
    ('fd00:0001:0002:0003', '10.0.0.1')
    """
    try:
        found = ip_address(address.partition("%")[0])
    except ValueError:
        return address[:200]
    if found.version == 4:
        return str(found)
    return str(found.ipv4_mapped) if found.ipv4_mapped else found.exploded[:19]


def _too_many(wait: float) -> TooMany:
    seconds = max(1, math.ceil(wait))
    return TooMany(
        _(
            "Too many wrong tries. Wait {seconds} s and try again; a wrong key or an old link in "
            "a program goes on trying until it is put right there.",
            seconds=seconds,
        ),
        more={"retry_after": seconds},
    )
