"""A ship that writes aboard, as her pages at the office know her."""

from collections.abc import Collection
from datetime import datetime

from scheduler.actions.base.context import Context
from scheduler.storage.shore.ships import mirror_of


def last_heard(context: Context, names: Collection[str]) -> datetime | None:
    """When the ship with one of these ids, or of whose things one is, was last heard; none where she is written here."""
    with context.db.read() as session:
        return mirror_of(session, names)
