"""Passphrases and PINs: chosen by a person, stored as argon2, checked two at a time at most, with the same work for any name.

Source: NIST SP 800-63B-4 section 3.1.1.2 (from memory): at least 15 characters where a passphrase stands alone, any character, no
rules of composition, compared after normalisation.
"""

import re
import unicodedata
from threading import BoundedSemaphore

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from scheduler.errors import Busy, Refused
from scheduler.language import gettext as _

LEAST, MOST = 15, 200
"""Characters of a passphrase."""
_AT_ONCE, _WAITING, _WAIT_S = 2, 8, 10
"""Checks at once (each takes 64 MiB and a core for a while), and how many may wait for how long."""
_hasher = PasswordHasher()
_checking, _queue = BoundedSemaphore(_AT_ONCE), BoundedSemaphore(_AT_ONCE + _WAITING)
NOBODYS = "$argon2id$v=19$m=65536,t=3,p=4$Y8J5555EBbxtMzHzVOtzcg$ryzjSSuaB4K1fxZsUKBSsynBnUpDkL0ah7JIZ/CFxCU"
"""A hash of the same cost, of 256 random bits that nobody knows: what is checked for a name that has none."""
_PIN = re.compile(r"[0-9]{4,8}")


def passphrase_hash(passphrase: str, *, name: str) -> str:
    """The passphrase as it is stored. Raises Refused for one that is too short, too long or easily guessed."""
    plain = _normal(passphrase)
    says = ""
    if not LEAST <= len(plain) <= MOST:
        says = _(
            "It has {count} characters; {least} to {most} are expected, such as five words that only you put together.",
            count=len(plain),
            least=LEAST,
            most=MOST,
        )
    elif len(set(plain.casefold())) < 6:
        says = _("It would be guessed: too few different characters. Take four or five words.")
    elif plain.casefold().strip(" .!0123456789") == name.casefold().strip():
        says = _("It is your name. Take four or five words that only you put together.")
    if says:
        raise Refused(_("The passphrase cannot be taken. {says}", says=says), faults=[("/passphrase", says)])
    return _hashed(plain)


def pin_hash(pin: str) -> str:
    """The PIN as it is stored. Raises Refused for what is no PIN, or one that everybody tries first."""
    says = ""
    if not _PIN.fullmatch(pin):
        says = _("4 to 8 figures are expected.")
    elif len(set(pin)) == 1 or pin in "01234567890" or pin in "09876543210":
        says = _("That is what everybody tries first. Take other figures.")
    if says:
        raise Refused(_("The PIN cannot be taken. {says}", says=says), faults=[("/pin", says)])
    return _hashed(pin)


def fits(stored: str | None, given: str) -> bool:
    """Whether what was typed is what was stored. With nothing stored it takes as long and is false. Call it in a thread.

    Raises:
        Busy: too many wait already.
    """
    plain = _normal(given[: 4 * MOST])
    if not _queue.acquire(blocking=False):
        raise Busy(_("Many sign in just now. Try again in some seconds."))
    try:
        if not _checking.acquire(timeout=_WAIT_S):
            raise Busy(_("Many sign in just now. Try again in some seconds."))
        try:
            return _hasher.verify(stored or NOBODYS, plain) and stored is not None
        except (VerificationError, InvalidHashError):
            return False
        finally:
            _checking.release()
    finally:
        _queue.release()


def _hashed(plain: str) -> str:
    with _checking:
        return _hasher.hash(plain)


def _normal(text: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", text).encode(errors="replace").decode().split())
