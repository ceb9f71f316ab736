"""Vessels: put and read the document, find what an id names, record a change of the ship's clock."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Answer, Context, Hand, hand_action
from scheduler.actions.base.pending import ask_plan
from scheduler.actions.vessel.document import document_of
from scheduler.domain.vessel.document import Vessel
from scheduler.errors import Clash, NotFound, Refused
from scheduler.language import gettext
from scheduler.shiptime import ShipOffset
from scheduler.storage.database import Session
from scheduler.storage.paging import PageAsked
from scheduler.storage.record import append_record
from scheduler.storage.types import floor_second
from scheduler.storage.vessel import (
    AssetKind,
    ShipOffsetRow,
    asset_row,
    document_version,
    document_versions,
    ship_offset_rows,
    vessel_rows,
)


@dataclass(frozen=True, slots=True)
class Place:
    """What an id names: its vessel, its plant, its kind."""

    id: str
    vessel_id: str
    plant_id: str
    kind: AssetKind


def locate(context: Context, actor: Actor, asset_id: str, kind: AssetKind) -> Place:
    """Where that plant, pump, position, part or counter is.

    Raises:
        NotFound: no such thing, of another kind, or another vessel's.
    """
    with context.db.read() as session:
        row = asset_row(session, asset_id)
    if row is None or row.kind is not kind:
        raise NotFound(
            gettext(
                "There is no {kind} {asset_id} here. Check the id, and that your key belongs to that vessel.",
                kind=gettext(kind.value),
                asset_id=asset_id,
            )
        )
    actor.must_reach(row.vessel_id, f"{kind.value} {asset_id}")
    return Place(row.id, row.vessel_id, row.plant_id or row.id, row.kind)


@dataclass(frozen=True, slots=True, kw_only=True)
class Version:
    """A stored version of a document. by is empty, and record 0, where it was stored before versions were kept.

    to_approve: its changes that somebody ashore approves; approved_by: who did, empty while nobody has.
    """

    version: int
    stored_at: datetime
    by: str
    reason: str
    approved_by: str
    record: int
    to_approve: tuple[str, ...]
    approved_at: datetime | None


def versions_of(context: Context, actor: Actor, vessel_id: str, page: PageAsked | None = None) -> list[Version]:
    """A vessel's versions, newest first. Raises NotFound."""
    actor.must_reach(vessel_id, f"vessel {vessel_id}")
    with context.db.read() as session:
        document_of(session, vessel_id)
        return [
            Version(
                version=row.version,
                stored_at=row.stored_at,
                by=row.by,
                reason=row.reason,
                approved_by=row.approved_by,
                record=row.record,
                to_approve=tuple(row.to_approve),
                approved_at=row.approved_at,
            )
            for row in document_versions(session, vessel_id, page)
        ]


def version_of(context: Context, actor: Actor, vessel_id: str, number: int) -> str:
    """That version's document, as the text that was stored. Raises NotFound: no such vessel, or the version is not kept."""
    actor.must_reach(vessel_id, f"vessel {vessel_id}")
    with context.db.read() as session:
        document_of(session, vessel_id)
        row = document_version(session, vessel_id, number)
        if row is None:
            raise NotFound(
                gettext(
                    "Version {number} of the document of {vessel_id} is not kept here.",
                    number=number,
                    vessel_id=vessel_id,
                )
            )
        return row.document


def get_vessel(context: Context, actor: Actor, vessel_id: str) -> tuple[Vessel, int]:
    """A vessel's document and its version. Raises NotFound."""
    actor.must_reach(vessel_id, f"vessel {vessel_id}")
    with context.db.read() as session:
        return document_of(session, vessel_id)


def list_vessels(
    context: Context, actor: Actor, *, after: str = "", limit: int | None = None
) -> list[tuple[Vessel, int]]:
    """The vessels this actor reaches, with their versions, by id: those after an id, at most `limit` of them."""
    with context.db.read() as session:
        return [document_of(session, row.id) for row in vessel_rows(session, actor.vessel_id, after=after, limit=limit)]


def offset_minutes(session: Session, vessel_id: str, at: datetime) -> int:
    """Minutes the ship's clock is ahead of UTC at an instant."""
    return _minutes_in(ship_offset_rows(session, vessel_id), at)


def _minutes_in(rows: Sequence[ShipOffsetRow], at: datetime) -> int:
    if not rows:
        return 0  # of a ship that joins, and whose clock is still on its way to the office
    return next((row.offset_minutes for row in reversed(rows) if row.from_at <= at), rows[0].offset_minutes)


def clock_of(session: Session, vessel_id: str, at: datetime) -> ShipOffset:
    """The ship's clock at an instant, with the changes before and to come."""
    return clock_in(ship_offset_rows(session, vessel_id), at)


def clock_in(rows: Sequence[ShipOffsetRow], at: datetime) -> ShipOffset:
    """The same from the ship's clock changes, oldest first."""
    changes = [(row.from_at, row.offset_minutes) for row in rows[1:]]
    return ShipOffset(_minutes_in(rows, at), changes, first=rows[0].offset_minutes if rows else 0)


def offset_now(context: Context, vessel_id: str) -> ShipOffset:
    """The ship's clock now; the vessel is known to be there."""
    with context.db.read() as session:
        return clock_of(session, vessel_id, context.now())


def change_clock(
    context: Context, hand: Hand, vessel_id: str, *, from_at: datetime, minutes: int, reason: str
) -> Answer:
    """Record that the ship's clock changes from an instant on.

    Raises:
        Refused: an offset outside -720..840 minutes, or a second change at the same instant.
    """
    hand.actor.must_reach(vessel_id, f"vessel {vessel_id}")
    if not -720 <= minutes <= 840:
        raise Refused(
            gettext(
                "An offset of {minutes} minutes is not on any clock; expected -720 to 840 minutes ahead of UTC.",
                minutes=minutes,
            )
        )

    def act(session: Session) -> Answer:
        document_of(session, vessel_id)
        begins_at = floor_second(from_at)
        if any(row.from_at == begins_at for row in ship_offset_rows(session, vessel_id)):
            raise Clash(gettext("A clock change at that instant is recorded already."))
        session.add(
            ShipOffsetRow(
                vessel_id=vessel_id,
                from_at=begins_at,
                offset_minutes=minutes,
                actor=hand.actor.name,
                reason=reason,
                recorded_at=context.now(),
            )
        )
        payload = {"from_at": begins_at, "offset_minutes": minutes, "reason": reason, "by": hand.actor.name}
        number, _ = append_record(session, vessel_id, "ship clock changed", context.now(), payload)
        for plant in document_of(session, vessel_id)[0].plants:  # hours at work, quiet hours and minima are the ship's
            ask_plan(session, vessel_id, plant.id, context.now())
        return Answer(201, {"vessel": vessel_id, "offset_minutes": minutes, "record": number})

    return hand_action(context, hand, vessel_id, act)
