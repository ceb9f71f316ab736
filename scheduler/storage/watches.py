"""When each watch next looks at a vessel, found by an index: a tick costs what there is to see, however many ships there are."""

from datetime import datetime, timedelta
from enum import StrEnum

from sqlmodel import Session, and_, col, or_, select, text

from scheduler.storage.database import INSTALLATION
from scheduler.storage.shore.ships import written_aboard
from scheduler.storage.types import floor_second
from scheduler.storage.vessel import RevisionRow, revision_of

MOST = timedelta(days=1)
"""A vessel is looked at again after this at the latest, whatever was reckoned. One that is set for later was set by a clock ahead
of its time: she is looked at now."""


class Watch(StrEnum):
    """What looks at a vessel by itself; the value is its column of `revision`. All but the walk are called by any change of hers."""

    LIMITS = "limits_watch_s"
    COUNTERS = "counters_watch_s"
    NIGHT = "night_s"
    RECORD = "record_walk_s"


_COLUMNS = {
    Watch.LIMITS: RevisionRow.limits_watch_at,
    Watch.COUNTERS: RevisionRow.counters_watch_at,
    Watch.NIGHT: RevisionRow.night_at,
    Watch.RECORD: RevisionRow.record_walk_at,
}


def vessels_to_watch(session: Session, watch: Watch, at: datetime) -> list[str]:
    """Vessels that a watch looks at now, by id: something of hers changed since it last did, or its instant has come.

    The walk of the record looks at the installation's ("") as well.
    """
    next_at, vessel_id = col(_COLUMNS[watch]), col(RevisionRow.vessel_id)
    called = [or_(next_at <= floor_second(at), next_at > floor_second(at) + MOST)]
    if watch is not Watch.RECORD:
        called.append(vessel_id != INSTALLATION)
    if watch in (Watch.LIMITS, Watch.NIGHT):  # what they add to a vessel's truth is added where she is written
        called.append(vessel_id.not_in(written_aboard()))
    found = set(session.exec(select(RevisionRow.vessel_id).where(and_(*called))))
    if watch is Watch.RECORD and session.get(RevisionRow, INSTALLATION) is None:
        found.add(INSTALLATION)
    return sorted(found)


def watch_again(
    session: Session, watch: Watch, vessel_id: str, next_at: datetime, *, at: datetime, revision: int
) -> bool:
    """Look at a vessel next at an instant, in a session that writes for her; whether that was noted.

    It is not where she is at another revision than the one that was looked at: then she is looked at once more.
    """
    if revision_of(session, vessel_id) != revision:
        return False
    until_at = min(floor_second(next_at), floor_second(at) + MOST)
    says = (
        f"INSERT INTO revision (vessel_id, number, {watch.value}) VALUES (:vessel_id, 0, :next_s) "  # noqa: S608
        f"ON CONFLICT (vessel_id) DO UPDATE SET {watch.value} = :next_s"
    )
    values = {"vessel_id": vessel_id, "next_s": int(until_at.timestamp())}
    session.connection().execute(text(says), values)
    return True
