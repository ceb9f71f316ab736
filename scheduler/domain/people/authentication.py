"""How somebody showed who they are, and what that is good for: recording work, or deciding and signing too."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from scheduler.domain.people.persons import Person, one_person

ANEW = timedelta(minutes=5)
"""How long after the own passphrase was given a signature on a shared device may rest on it."""


class Proof(StrEnum):
    """By what a person was known."""

    LINK = "link"
    PASSPHRASE = "passphrase"  # noqa: S105 - a word, no secret
    PIN = "PIN"
    KEY = "key"


class AgainstSigning(StrEnum):
    """Why somebody may not decide or sign just now."""

    BY_PIN = "by PIN"
    """The PIN of a shared computer is good for recording work only."""
    MADE_BY_OTHER_SIDE = "made by the other side"
    """By a link or key that the other side made, and no passphrase of their own was given in that session."""
    SHARED_DEVICE = "shared device"
    """The other side used this device too, and the own passphrase was not given on it just now."""


@dataclass(frozen=True, slots=True)
class Authentication:
    """How the person behind an act was known.

    proved_at: when the own passphrase was given last in this session, none if it was not. maker: who made the link that the session
    came from, or the key; none for one made at the server itself or by the person.
    device_users: who else was signed in on the same device lately.
    """

    proof: Proof
    proved_at: datetime | None = None
    maker: Person | None = None
    device_users: tuple[Person, ...] = ()

    def proved_anew(self, now: datetime) -> bool:
        """Whether the own passphrase was given within the last 5 minutes; with the own key each request proves it."""
        return self.proof is Proof.KEY or (self.proved_at is not None and now - self.proved_at <= ANEW)


def against_signing(by: Authentication | None) -> AgainstSigning | None:
    """What stands against deciding or signing at all; none: nothing. by none: no sign-in is known, such as at the server itself."""
    return AgainstSigning.BY_PIN if by is not None and by.proof is Proof.PIN else None


def against_second_side(first: Person, by: Authentication | None, now: datetime) -> AgainstSigning | None:
    """What stands against signing as the other side of what `first` asked for or signed; none: nothing.

    That both are two people is `one_person`'s matter.
    """
    found = against_signing(by)
    if by is None or found is not None:
        return found
    if by.maker is not None and by.proved_at is None and one_person(first, by.maker):
        return AgainstSigning.MADE_BY_OTHER_SIDE
    if any(one_person(first, other) for other in by.device_users) and not by.proved_anew(now):
        return AgainstSigning.SHARED_DEVICE
    return None
