"""A vessel's document put, in the place of the one before: what it renames, keeps and may not drop."""

import hashlib
import json
from collections.abc import Iterator
from datetime import datetime

from scheduler.actions.base.actor import Actor, person_of
from scheduler.actions.base.context import Answer, Context, Hand, hand_action, instant
from scheduler.actions.people.sides import Side, must_be_another, person_acting, remember_side
from scheduler.actions.vessel.document import VESSEL, as_plain, as_text, document_of
from scheduler.domain.base.enums import Role
from scheduler.domain.checks.document import faults_of
from scheduler.domain.hours.sources import EVER_S, source_at
from scheduler.domain.people.persons import Person
from scheduler.domain.vessel.changes import approved_changes, change_faults, notable_changes
from scheduler.domain.vessel.differing import document_differences
from scheduler.domain.vessel.document import Counter, Vessel
from scheduler.domain.vessel.renaming import gone, rename_faults, renames, with_new_ids
from scheduler.errors import Clash, MissingCondition, NotFound, Refused, Stale
from scheduler.language import gettext
from scheduler.storage.capacity import open_outage_row
from scheduler.storage.database import Session, bump_revision
from scheduler.storage.hours.counters import CounterRow, counter_rows, find_counter
from scheduler.storage.hours.readings import newest_reading
from scheduler.storage.record import append_record, records_numbered
from scheduler.storage.renaming import forget_plant, rename, used
from scheduler.storage.summary import put_summary_rows
from scheduler.storage.tasks import drop_pending
from scheduler.storage.vessel import (
    AssetKind,
    AssetRow,
    DocumentVersionRow,
    KindSinceRow,
    ShipOffsetRow,
    VesselRow,
    asset_rows,
    document_version,
    ids_taken_elsewhere,
    kinds_since,
    vessel_row,
)
from scheduler.storage.work import work_under_way


def put_vessel(
    context: Context,
    actor: Actor,
    vessel: Vessel,
    *,
    if_match: int | None = None,
    if_new: bool = False,
    reason: str = "",
    class_agreed: str = "",
) -> tuple[int, bool]:
    """Store the whole document of a vessel; its new version, and whether the vessel is new.

    Args:
        if_match: the version that is being replaced. if_new: only if there is no such vessel yet.
        reason, class_agreed: why something changes that an auditor asks about (`domain.changes`), and the class's agreement
            where a class item does. A change of an interval, window, tolerance or the minimum is kept, and flagged on record
            until another person ashore approves it (`approve_version`).

    Raises:
        Refused: the document makes no sense (all faults listed), makes such a change without reason or agreement, uses
            another vessel's ids, drops a counter that has readings, or changes the scale of one or which one counts for
            its position.
        MissingCondition: the vessel is there and no version was named.
        Stale: the version held is another, or `if_new` and the vessel is there (RFC 9110 13.1.2).
    """
    actor.must_reach(vessel.id, f"vessel {vessel.id}")
    faults = faults_of(vessel)
    if faults:
        many = gettext("{count} faults; the first: ", count=len(faults)) if len(faults) > 1 else ""
        raise Refused(
            gettext(
                "The document of {id} makes no sense: {many}{faults}", id=vessel.id, many=many, faults=faults[0][1]
            ),
            faults=faults,
        )
    text = as_text(vessel)
    now = context.now()
    with context.db.write(vessel.id) as session:
        row = vessel_row(session, vessel.id)
        if row is not None:
            _may_replace(row, if_match, if_new)
            if row.document == text:
                return row.version, False
        wanted = dict(assets_of(vessel))
        foreign = ids_taken_elsewhere(session, vessel.id, wanted)
        if foreign:
            raise Refused(
                gettext(
                    "These ids belong to another vessel already: {foreign}. Ids are unique; choose others.",
                    foreign=", ".join(foreign),
                )
            )
        new = row is None
        before = None if row is None else document_of(session, vessel.id)[0]
        renamed = {} if before is None else _renamed(session, before, vessel)
        if before is not None and renamed:
            before = VESSEL.validate_python(with_new_ids(as_plain(before), renamed))
        lacking = [] if before is None else change_faults(before, vessel, reason=reason, class_agreed=class_agreed)
        if lacking:
            raise Refused(" ".join(f"{at.lstrip('/')}: {says}" for at, says in lacking), faults=lacking)
        if row is None:
            row = VesselRow(id=vessel.id, name=vessel.name, imo=vessel.imo, document=text, version=0, changed_at=now)
            session.add(row)
            session.flush()
            session.add(
                ShipOffsetRow(
                    vessel_id=vessel.id,
                    from_at=instant(0),
                    offset_minutes=vessel.utc_offset_minutes,
                    actor=actor.name,
                    reason="first set up",
                    recorded_at=now,
                )
            )
        for was, now_id in renamed.items():
            rename(session, vessel.id, was, now_id)
        row.name, row.imo, row.document = vessel.name, vessel.imo, text
        row.version += 1
        row.changed_at = now
        session.add(row)
        keep_assets(session, vessel.id, wanted)
        _keep_counters(session, vessel)
        _keep_kinds(session, vessel, now)
        put_summary_rows(session, vessel.id, [plant.id for plant in vessel.plants])
        if before is not None:
            _keep_sources(session, before, vessel)
        to_approve = [] if before is None else approved_changes(before, vessel)
        payload = {
            "vessel": vessel.id,
            "name": vessel.name,
            "version": row.version,
            "document_sha256": hashlib.sha256(text.encode()).hexdigest(),
            "renamed": [{"was": was, "now": now_id} for was, now_id in renamed.items()],
            "changes": [] if before is None else notable_changes(before, vessel),
            "differences": [] if before is None else document_differences(as_plain(before), as_plain(vessel)),
            "approved_by": "",
            "not_approved": to_approve,
            "reason": reason.strip(),
            "class_agreed": class_agreed.strip(),
            "by": actor.name,
        }
        record, _ = append_record(session, vessel.id, "vessel document stored", now, payload)
        session.add(
            DocumentVersionRow(
                vessel_id=vessel.id,
                version=row.version,
                document=text,
                stored_at=now,
                by=actor.name,
                reason=reason.strip(),
                approved_by="",
                record=record,
                by_id=person_of(actor).id,
                to_approve=to_approve,
            )
        )
        remember_side(session, vessel.id, f"document {row.version} stored", actor)
        bump_revision(session, vessel.id)
    context.wake()
    return row.version, new


def approve_version(context: Context, hand: Hand, vessel_id: str, number: int) -> Answer:
    """Approve, ashore, the changes of intervals, windows, tolerances and the minimum that a version of a document brought.

    Raises:
        NotFound: no such vessel or version. NotAllowed: by nobody known, by who is not of the office, or by who stored it. Clash:
            approved already, or it changed nothing of the kind.
    """
    hand.actor.must_reach(vessel_id, f"vessel {vessel_id}")
    by = person_acting(
        context, hand.actor, frozenset({Role.OFFICE}), gettext("approve a change of a vessel's document")
    )

    def act(session: Session) -> Answer:
        document_of(session, vessel_id)
        row = document_version(session, vessel_id, number)
        if row is None:
            raise NotFound(gettext("Version {number} of this vessel's document is not kept here.", number=number))
        if row.approved_by:
            raise Clash(
                gettext(
                    "Version {number} was approved already, by {approved_by}.",
                    number=number,
                    approved_by=row.approved_by,
                )
            )
        if not row.to_approve:
            raise Clash(
                gettext(
                    "Version {number} changed no interval, window, tolerance or minimum: there is nothing to approve.",
                    number=number,
                )
            )
        side = Side(vessel_id, f"document {number} stored", Person(row.by_id or "", row.by))
        must_be_another(context, session, side, hand.actor, f"{row.by} stored it: another person approves it.")
        row.approved_by_id, row.approved_by, row.approved_at = by.id, by.name, context.now()
        session.add(row)
        payload = {"version": number, "stored_by": row.by, "approved": row.to_approve, "by": by.name}
        record, _ = append_record(session, vessel_id, "vessel document approved", context.now(), payload)
        return Answer(200, {"vessel": vessel_id, "version": number, "approved_by": by.name, "record": record})

    return hand_action(context, hand, vessel_id, act)


def _may_replace(row: VesselRow, if_match: int | None, if_new: bool) -> None:
    newer = {"version": row.version, "document": json.loads(row.document)}
    if if_new:
        raise Stale(
            f"There is a vessel {row.id} already. To replace its document send If-Match with its version.",
            more=newer,
        )
    if if_match is None:
        raise MissingCondition(
            f'The vessel {row.id} is here, version {row.version}. Read it, then send If-Match: "{row.version}".'
        )
    if if_match != row.version:
        raise Stale(
            f"The document of {row.id} is now version {row.version}, not {if_match}. Read it again and repeat your change.",
            more=newer,
        )


def assets_of(vessel: Vessel) -> Iterator[tuple[str, tuple[str | None, AssetKind]]]:
    """Each id of the document with its plant (none: it is one) and kind."""
    for plant in vessel.plants:
        yield plant.id, (None, AssetKind.PLANT)
        for kind, things in (
            (AssetKind.POSITION, plant.positions),
            (AssetKind.PUMP, plant.pumps),
            (AssetKind.PART, plant.parts),
            (AssetKind.COUNTER, plant.counters),
        ):
            for thing in things:
                yield thing.id, (plant.id, kind)


def keep_assets(session: Session, vessel_id: str, assets: dict[str, tuple[str | None, AssetKind]]) -> None:
    """Make it so that the vessel has these ids, each with its plant and kind, and no others.

    Raises Refused: an id becomes another kind.
    """
    there = asset_rows(session, vessel_id)
    for asset_id, (plant_id, kind) in assets.items():
        row = there.pop(asset_id, None)
        if row is None:
            session.add(AssetRow(id=asset_id, vessel_id=vessel_id, plant_id=plant_id, kind=kind))
        elif row.kind is not kind:
            raise Refused(f"{asset_id} was a {row.kind.value}; it cannot become a {kind.value}. Use a new id.")
        elif row.plant_id != plant_id:
            row.plant_id = plant_id
            session.add(row)
    for row in there.values():
        if row.kind is AssetKind.COUNTER:
            counter = find_counter(session, row.id)
            if counter is not None and counter.no is not None:
                if _has_readings(session, counter):
                    raise Refused(f"Counter {row.id} has readings, so it cannot leave the document. Put it back.")
                session.delete(counter)
        session.delete(row)
    session.flush()


def _keep_counters(session: Session, vessel: Vessel) -> None:
    there = {row.id: row for row in counter_rows(session, vessel.id)}
    for plant in vessel.plants:
        for counter in plant.counters:
            row = there.get(counter.id)
            if row is None:
                row = CounterRow(
                    id=counter.id,
                    vessel_id=vessel.id,
                    plant_id=plant.id,
                    position_id=counter.position,
                    seconds_per_count=counter.seconds_per_count,
                    modulus=counter.modulus,
                    resolution_milli=_milli(counter),
                    quiet_after_hours=counter.quiet_after_hours,
                )
            elif _has_readings(session, row) and (
                row.seconds_per_count,
                row.modulus,
                row.resolution_milli,
                row.position_id,
            ) != (counter.seconds_per_count, counter.modulus, _milli(counter), counter.position):
                raise Refused(
                    f"Counter {counter.id} has readings; the document keeps how it counted when first set up. Record a "
                    f"change of scale, modulus or resolution as it happened (leadline counter rescaled {counter.id}; from "
                    "before its first reading on if it was never so); a counter at another position gets a new id."
                )
            row.seconds_per_count, row.modulus = counter.seconds_per_count, counter.modulus
            row.resolution_milli, row.quiet_after_hours = _milli(counter), counter.quiet_after_hours
            row.position_id, row.plant_id = counter.position, plant.id
            session.add(row)


def _renamed(session: Session, before: Vessel, vessel: Vessel) -> dict[str, str]:
    """The ids that change, by what they were. Raises Refused: a used id is gone while another comes that does not say it was that."""
    left = gone(before, vessel)
    in_use = used(session, vessel.id, set(left)) if left else set()
    faults = rename_faults(before, vessel, in_use)
    if faults:
        raise Refused(" ".join(says for _, says in faults), faults=faults)
    new_ids = renames(before, vessel)
    merged = used(session, vessel.id, set(new_ids.values())) if new_ids else set()
    if merged:
        raise Refused(
            gettext(
                "Another thing was kept under {merged} before: two histories would become one. "
                "Choose an id that was never used on this vessel.",
                merged=", ".join(sorted(merged)),
            )
        )
    for lost in sorted(set(left) - set(new_ids)):
        if left[lost] == "plant" and lost in in_use:
            raise Refused(
                f"Plant {lost} was used, so it cannot leave the document: its history would be nobody's. Put it back."
            )
        _must_rest(session, vessel.id, lost)
    for plant_id in (one for one in left if left[one] == "plant"):
        drop_pending(session, vessel.id, plant_id)
        if plant_id not in new_ids:
            forget_plant(session, vessel.id, plant_id)
    return new_ids


def _must_rest(session: Session, vessel_id: str, lost: str) -> None:
    """Nothing leaves the document while it is out, or while work on it is under way. Raises Refused."""
    if open_outage_row(session, vessel_id, lost):
        raise Refused(
            f"Pump {lost} is out, so it cannot leave the document. Say first that it is back, or end its stay with to_at."
        )
    under_way = work_under_way(session, vessel_id, lost)
    if under_way:
        raise Refused(f"{lost} cannot leave the document: work on {under_way} is under way. Close that job first.")


def _keep_kinds(session: Session, vessel: Vessel, now: datetime) -> None:
    """Since when each job kind is kept count of; one that was here before keeps its instant."""
    for plant in vessel.plants:
        known = kinds_since(session, vessel.id, plant.id)
        for code in {kind.code for kind in plant.job_kinds} - set(known):
            session.add(KindSinceRow(vessel_id=vessel.id, plant_id=plant.id, kind=code, since_at=now))


def _has_readings(session: Session, row: CounterRow) -> bool:
    return row.no is not None and newest_reading(session, row.no) is not None


def _keep_sources(session: Session, before: Vessel, vessel: Vessel) -> None:
    """Which counter counted first for a position cannot change behind its hours."""
    rows = counter_rows(session, vessel.id)
    there = {(plant.id, position.id): plant for plant in before.plants for position in plant.positions}
    for plant in vessel.plants:
        for position in plant.positions:
            old = there.get((plant.id, position.id))
            was = None if old is None else source_at(old, position.id, EVER_S)
            now = source_at(plant, position.id, EVER_S)
            counted = any(_has_readings(session, row) for row in rows if row.position_id == position.id)
            if was is not None and now is not None and was != now and counted:
                raise Refused(
                    f"{was} counts for position {position.id} and has readings there; that {now} counts instead cannot come "
                    f"by the document. Record since when: leadline counter primary {now} --at INSTANT."
                )


def _milli(counter: Counter) -> int:
    return max(1, round(counter.resolution * 1000))


def version_differences(context: Context, vessel_id: str, record: int) -> list[tuple[str, str, str]]:
    """(where in the document, what was there, what is) of each difference that the record of a version tells."""
    with context.db.read() as session:
        found = records_numbered(session, vessel_id, [record])
    told = json.loads(found[0].text).get("differences", []) if found else []
    return [(str(one["at"]), str(one.get("was", "")), str(one.get("now", ""))) for one in told]
