"""Parts aboard: a count a person sets, and that a note of a used part takes from. No stock system."""

from datetime import datetime
from typing import Any

from scheduler.actions.base.context import Answer, Context, Hand, hand_action, utc_text
from scheduler.actions.vessel.document import document_of, plant_of
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.vessel.document import Plant
from scheduler.errors import Refused
from scheduler.language import gettext
from scheduler.storage.database import Session
from scheduler.storage.record import append_record
from scheduler.storage.work import PartCountRow, part_count_row, part_count_rows

MOST_ABOARD = 10_000


def count_part(context: Context, hand: Hand, place: Place, *, name: str, aboard: int) -> Answer:
    """Set how many of a part are aboard.

    Raises:
        Refused: no job sheet of the plant names that part, or a count below 0 or beyond 10 000.
    """

    def act(session: Session) -> Answer:
        vessel, _ = document_of(session, place.vessel_id)
        known = names_of(plant_of(vessel, place.plant_id))
        if name not in known:
            there = ", ".join(known) or "none"
            says = gettext(
                "{name} is on no job sheet of this plant; its parts are: {there}.", name=f"{name[:60]!r}", there=there
            )
            raise Refused(says, faults=[("/name", says)])
        if not 0 <= aboard <= MOST_ABOARD:
            says = gettext("{aboard} were counted: 0 to {most} was expected.", aboard=aboard, most=MOST_ABOARD)
            raise Refused(says, faults=[("/aboard", says)])
        row = part_count_row(session, place.vessel_id, place.plant_id, name)
        before = None if row is None else row.aboard
        _keep(session, place, row, name, aboard, hand.actor.name, context.now())
        payload = {"part": name, "aboard": aboard, "before": before, "plant": place.plant_id, "by": hand.actor.name}
        number, _ = append_record(session, place.vessel_id, "part counted", context.now(), payload)
        return Answer(200, {"part": name, "aboard": aboard, "before": before, "record": number})

    return hand_action(context, hand, place.vessel_id, act)


def use_part(session: Session, place: Place, name: str, used: float | None, by: str, now: datetime) -> int | None:
    """Take what was used from the count (1 where no figure was given); what is left, never below 0; none if not counted."""
    row = part_count_row(session, place.vessel_id, place.plant_id, name)
    if row is None:
        return None
    left = max(0, row.aboard - (1 if used is None else max(0, round(used))))
    _keep(session, place, row, name, left, by, now)
    return left


def parts_of(context: Context, place: Place) -> list[dict[str, Any]]:
    """Every part that a job sheet of the plant names, with how many are aboard (none: not counted yet)."""
    with context.db.read() as session:
        vessel, _ = document_of(session, place.vessel_id)
        rows = {row.name: row for row in part_count_rows(session, place.vessel_id, place.plant_id)}
    told = []
    for name in names_of(plant_of(vessel, place.plant_id)):
        row = rows.get(name)
        told.append(
            {
                "part": name,
                "aboard": None if row is None else row.aboard,
                "by": None if row is None else row.actor,
                "at": None if row is None else utc_text(row.counted_at),
            }
        )
    return told


def part_counts_of(context: Context, vessel_id: str, plant_id: str) -> dict[str, int]:
    """How many are aboard of each counted part."""
    with context.db.read() as session:
        return {row.name: row.aboard for row in part_count_rows(session, vessel_id, plant_id)}


def names_of(plant: Plant) -> list[str]:
    """The parts that the plant's job sheets name, each once, by name."""
    return sorted({part.name for kind in plant.job_kinds for part in kind.parts})


def _keep(
    session: Session, place: Place, row: PartCountRow | None, name: str, aboard: int, by: str, now: datetime
) -> None:
    if row is None:
        row = PartCountRow(
            vessel_id=place.vessel_id, plant_id=place.plant_id, name=name, aboard=aboard, actor=by, counted_at=now
        )
    row.aboard, row.actor, row.counted_at = aboard, by, now
    session.add(row)
