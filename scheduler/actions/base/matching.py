"""Refuses a change that was made from a state which has gone on since."""

from collections.abc import Mapping

from scheduler.errors import Stale
from scheduler.language import gettext as _


def must_match(if_match: int | None, version: int, says: str, newer: Mapping[str, object]) -> None:
    """Raises Stale, with the newer state in `more`, when `if_match` is another version than that of now; none matches any.

    says: what is there by now, as a sentence.
    """
    if if_match is not None and if_match != version:
        raise Stale(_("{says} Look at it, then send yours again.", says=says), more={"version": version, **newer})
