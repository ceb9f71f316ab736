"""What a handover rests on: all that is open on a vessel now, and what stands against a signature."""

import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context, utc_text
from scheduler.actions.plant_state.load import PlantState, load_plant
from scheduler.actions.plant_state.work import state_of, steps_of
from scheduler.actions.vessel.document import document_of
from scheduler.actions.work.carried import carried
from scheduler.domain.base.canonical import canonical
from scheduler.domain.hours.ledger import Code
from scheduler.domain.work.handing_over import AgainstHandover, HandoverReason
from scheduler.domain.work.state import WorkState
from scheduler.storage.database import Session
from scheduler.storage.record import newest_records
from scheduler.storage.work import jobs_worked_on, not_fitted_rows

WRITTEN = "handover note written"
"""Kind of the record that a handover's first signature is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HandoverFacts:
    """All that is open. carries: as the record has it; the other lists have members of the same kind."""

    plants: tuple[PlantState, ...]
    carries: Mapping[str, Any]
    jobs_open: Sequence[Mapping[str, Any]]
    points_not_fitted: Sequence[Mapping[str, Any]]
    points_passing: Sequence[Mapping[str, Any]]
    permits_old: Sequence[HandoverReason]

    def against(self, looked_at: Collection[str]) -> list[HandoverReason]:
        """What stands against signing now. looked_at: tags that both looked at, as `tag_mark` has them."""
        tags = self.carries["tags_hanging"]
        unseen = [
            HandoverReason(AgainstHandover.NOT_LOOKED_AT, str(tag["tag_no"] or tag["point"]), str(tag["position"]))
            for tag in tags
            if tag_mark(tag) not in looked_at
        ]
        return [*unseen, *self.permits_old]


def tag_mark(tag: Mapping[str, Any]) -> str:
    """What tells a hanging tag from every other, in a form."""
    return f"{tag['job']}|{tag['point']}|{tag['tag_no']}"


def handover_facts(context: Context, actor: Actor, vessel_id: str) -> HandoverFacts:
    """All that is open on a vessel now. Raises NotFound."""
    actor.must_reach(vessel_id, f"vessel {vessel_id}")
    with context.db.read() as session:
        return facts_in(session, context, vessel_id)


def facts_in(session: Session, context: Context, vessel_id: str) -> HandoverFacts:
    """The same inside a session of the caller's."""
    vessel, _ = document_of(session, vessel_id)
    plants = tuple(load_plant(session, context, vessel_id, plant.id) for plant in vessel.plants)
    jobs: list[dict[str, Any]] = []
    passing: list[dict[str, Any]] = []
    old: list[HandoverReason] = []
    for now in plants:
        for pump in now.plant.pumps:
            position = now.position_name(now.plant.position_of(pump.id, now.at))
            for key in jobs_worked_on(session, vessel_id, pump.id):
                entries = steps_of(session, vessel_id, key)
                work = state_of(entries)
                here = {"job": key, "position": position}
                jobs.append({**here, "since": utc_text(entries[0].step.at), "is_open": work.is_open})
                passing += [{**here, "point": one.point, "instead": one.instead} for one in work.passing]
                old += _old_permits(work, position)
    places = {
        pump.id: now.position_name(now.plant.position_of(pump.id, now.at)) for now in plants for pump in now.plant.pumps
    }
    not_fitted = [
        {"point": row.point, "position": places.get(row.pump_id, row.pump_id), "reason": row.reason}
        for row in not_fitted_rows(session, vessel_id)
        if row.withdrawn_at is None
    ]
    return HandoverFacts(
        plants=plants,
        carries=carried(session, context, vessel_id),
        jobs_open=jobs,
        points_not_fitted=not_fitted,
        points_passing=passing,
        permits_old=old,
    )


def _old_permits(work: WorkState, position: str) -> list[HandoverReason]:
    """The newest open permit where it is of before the relief's lock: it is issued anew to who works on."""
    relieved_at = max((tag.placed_at for tag in work.hanging if tag.relief), default=None)
    newest = max((one for one in work.permits if one.closed_at is None), key=lambda one: one.from_at, default=None)
    if relieved_at is None or newest is None or newest.from_at >= relieved_at:
        return []
    return [HandoverReason(AgainstHandover.PERMIT_OLD, newest.number, position)]


def handover_changed(context: Context, vessel_id: str, number: int, facts: HandoverFacts) -> list[HandoverReason]:
    """As `changed_since`, for a page."""
    with context.db.read() as session:
        return changed_since(session, vessel_id, number, facts)


def changed_since(session: Session, vessel_id: str, number: int, facts: HandoverFacts) -> list[HandoverReason]:
    """What of a handover is not as it was when its first side signed; a list a reason."""
    for record in newest_records(session, vessel_id, WRITTEN):
        members = json.loads(record.text)
        if members.get("handover") == str(number):  # in a record every number is a string
            then, now = _compared(members["carries"]), _compared(facts.carries)
            return [
                HandoverReason(AgainstHandover.CHANGED, name) for name in now if now[name] != then.get(name, now[name])
            ]
    return []


def _compared(carries: Mapping[str, Any]) -> dict[str, Any]:
    """Without what changes by time alone: of the flags of counters only held readings count."""
    held = [one for one in carries["readings_held"] if one["what"] == Code.HELD]
    plain = json.loads(canonical({**carries, "readings_held": held}))
    return {name: sorted(json.dumps(row, sort_keys=True) for row in rows) for name, rows in plain.items()}
