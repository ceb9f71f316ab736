"""Where a vessel is written. One that writes aboard is read only here, in one place: no door and no timer adds to her truth."""

from enum import StrEnum
from typing import Any

from sqlalchemy import event, inspect, text
from sqlmodel import Session

from scheduler.errors import Clash
from scheduler.language import gettext
from scheduler.storage.shore.truth import TRUTH

_MIRRORED = text(
    "SELECT COALESCE(vessel.name, ship_line.vessel_id) FROM ship_line LEFT JOIN vessel ON vessel.id = ship_line.vessel_id "
    "WHERE ship_line.vessel_id = :vessel_id AND ship_line.life <> ''"
)


class Writing(StrEnum):
    """What a transaction writes of a vessel."""

    TRUTH = "truth"
    WORKED_OUT = "worked out"
    """What is worked out anew from the truth (ledger, calendars, summaries), or is only about it."""
    TAKING = "taking"
    """What a ship herself sends."""


def guard(session: Session, vessel_id: str, writing: Writing) -> None:
    """Sees that of a ship that writes aboard nothing is written but what is worked out, and what she sends.

    Raises:
        Clash: truth is to be written of her; at once, or, where only what is worked out was to be, when it comes to it.
    """
    if not vessel_id or writing is Writing.TAKING:
        return
    if writing is Writing.TRUTH:
        must_be_written_here(session, vessel_id)
        return
    name = name_of_mirror(session, vessel_id)
    if name is not None:
        event.listen(session, "before_flush", lambda flushed, *_: _no_truth(flushed, vessel_id, name))


def _no_truth(session: Any, vessel_id: str, name: str) -> None:
    """A counter's marks are worked out, and what is on record about the installation is not hers."""
    for row in (*session.new, *session.deleted, *session.dirty):
        truth = TRUTH.get(row.__tablename__)
        if truth is None or getattr(row, "id" if truth.name == "vessel" else "vessel_id") != vessel_id:
            continue
        changed = {one.key for one in inspect(row).attrs if one.history.has_changes()}
        if row in session.new or row in session.deleted or changed - truth.stays:
            raise _read_only(name)


def name_of_mirror(session: Session, vessel_id: str) -> str | None:
    """The name of a ship that writes aboard; none for one that is written here."""
    found = session.connection().execute(_MIRRORED, {"vessel_id": vessel_id}).scalar()
    return None if found is None else str(found)


def must_be_written_here(session: Session, vessel_id: str) -> None:
    """Raises Clash for a ship that writes aboard."""
    name = name_of_mirror(session, vessel_id)
    if name is not None:
        raise _read_only(name)


def _read_only(name: str) -> Clash:
    says = gettext("{ship} is read only here: she is written aboard. Do it aboard, or send her a request.", ship=name)
    return Clash(says, more={"code": "written aboard"})
