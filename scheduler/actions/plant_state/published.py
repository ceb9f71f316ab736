"""Published dates: worked out whenever a plant is loaded, kept and listed as moved when its calendar is written.

Keeping follows the commit of what changed, at the next tick or after a hand action, never batch by batch.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime

from scheduler.actions.base.context import Context
from scheduler.domain.due.publishing import Cause, Posted, Published, dates_moved
from scheduler.errors import Refused
from scheduler.storage.database import Session
from scheduler.storage.due import (
    MovedRow,
    PublishedRow,
    last_moved_number,
    moved_rows,
    moved_rows_by,
    newest_moved_row,
    published_rows,
)

MOST_MOVED = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class MovedDate:
    """A published date that moved. number: of the vessel's list. open: it was the open turn."""

    number: int
    job: str
    open: bool
    cause: Cause
    at: datetime
    from_due_at: datetime
    from_early_at: datetime | None
    from_late_at: datetime | None
    to_due_at: datetime
    to_early_at: datetime | None
    to_late_at: datetime | None


def keep_published(
    session: Session, vessel_id: str, plant_id: str, posted: Mapping[str, Posted], *, offset_minutes: int, at: datetime
) -> int:
    """Store what is published, and list what moved; how many dates moved. Turns that are due no more are forgotten."""
    held = published_rows(session, vessel_id, plant_id)
    number = first = last_moved_number(session, vessel_id)
    for key in sorted(posted):
        one = posted[key]
        row = held.pop(key, None)
        if row is None:
            session.add(PublishedRow(vessel_id=vessel_id, job_key=key, plant_id=plant_id, text=one.new.text()))
        elif one.new != one.old and row.text != (text := one.new.text()):
            row.text = text
            session.add(row)
        if one.old is not None and one.cause is not None and dates_moved(one, offset_minutes):
            number += 1
            session.add(_moved_row(vessel_id, plant_id, key, number, one.old, one.new, one.cause, at))
    for row in held.values():
        session.delete(row)
    session.flush()
    return number - first


def moved_since(
    context: Context, vessel_id: str, plant_id: str, *, after: int, limit: int = MOST_MOVED
) -> list[MovedDate]:
    """A plant's moved dates after a number of the list, in order.

    Raises:
        Refused: a negative number, or a limit outside 1 to 500.
    """
    if after < 0 or not 1 <= limit <= MOST_MOVED:
        raise Refused(
            f"since is a number of the list, 0 or more, and limit 1 to {MOST_MOVED}; got {after} and {limit}."
        )
    with context.db.read() as session:
        return [_moved(row) for row in moved_rows(session, vessel_id, plant_id, after=after, limit=limit)]


def newest_moved_date(
    context: Context, vessel_id: str, plant_id: str, *, since_at: datetime, limit: int
) -> list[MovedDate]:
    """A plant's newest moved dates of open turns since an instant, newest first."""
    with context.db.read() as session:
        rows = newest_moved_row(session, vessel_id, plant_id, since_at=since_at, limit=limit)
        return [_moved(row) for row in rows]


def first_moved_by_work(
    session: Session, vessel_id: str, plant_id: str, done: Collection[str], *, since_at: datetime
) -> list[MovedDate]:
    """Dates of open turns that moved when the turns before them were done, as written first since an instant.

    Args:
        done: keys of the turns.
    """
    chains = {key.rpartition(":")[0] for key in done}
    cause = Cause.WORK_DONE.value
    rows = moved_rows_by(session, vessel_id, plant_id, since_at=since_at, cause=cause, limit=MOST_MOVED)
    found = [_moved(row) for row in rows if row.open and row.job_key.rpartition(":")[0] in chains]
    return [one for one in found if one.at == found[0].at]


def _moved_row(
    vessel_id: str, plant_id: str, key: str, number: int, old: Published, new: Published, cause: Cause, at: datetime
) -> MovedRow:
    return MovedRow(
        vessel_id=vessel_id,
        number=number,
        plant_id=plant_id,
        job_key=key,
        open=new.first,
        cause=cause.value,
        at=at,
        from_due_at=old.due_at,
        from_early_at=old.early_at,
        from_late_at=old.late_at,
        to_due_at=new.due_at,
        to_early_at=new.early_at,
        to_late_at=new.late_at,
    )


def _moved(row: MovedRow) -> MovedDate:
    return MovedDate(
        number=row.number,
        job=row.job_key,
        open=row.open,
        cause=Cause(row.cause),
        at=row.at,
        from_due_at=row.from_due_at,
        from_early_at=row.from_early_at,
        from_late_at=row.from_late_at,
        to_due_at=row.to_due_at,
        to_early_at=row.to_early_at,
        to_late_at=row.to_late_at,
    )
