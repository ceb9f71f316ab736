"""A batch of jobs chosen for a dock: asked of days without a minimum, on record, taken back by another record."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from scheduler.actions.base.context import Answer, Context, Hand, hand_action, utc_text
from scheduler.actions.base.pending import ask_plan
from scheduler.actions.plant_state.load import PlantState, load_plant, plant_state
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.capacity.minimum import minimum_agreed
from scheduler.domain.due.docking import better_in_dock
from scheduler.errors import Clash, NotFound, Refused
from scheduler.language import gettext
from scheduler.storage.database import Session
from scheduler.storage.due import DockRow, dock_rows
from scheduler.storage.record import append_record
from scheduler.wording.names import job_words

LONGEST = timedelta(days=180)
FARTHEST = timedelta(days=1100)
"""No dock is chosen for further ahead: about three years, more than between two dockings of a ship in service."""


def dock_choices(context: Context, place: Place, from_at: datetime, to_at: datetime) -> dict[str, Any]:
    """What is better done in a dock of these days, and what was chosen. Raises Refused where the days make no sense."""
    must_be_dock_days(context, from_at, to_at)
    now = plant_state(context, place.vessel_id, place.plant_id, horizon_days=dock_horizon_days(context, to_at))
    with context.db.read() as session:
        rows = dock_rows(session, place.vessel_id, place.plant_id)
    return {
        "plant": place.plant_id,
        "from_at": utc_text(from_at),
        "to_at": utc_text(to_at),
        "without_minimum": _without_minimum(now, from_at, to_at),
        "jobs": [
            {
                "job": job.job_id.key,
                "name": job_words(now.plant, now.at, job.job_id.key),
                "due_at": utc_text(job.due_at),
                "takes_hours": job.takes_hours,
            }
            for job in better_in_dock(now.jobs, from_at, to_at)
        ],
        "batches": [_told(row) for row in reversed(rows)],
    }


def choose_dock(
    context: Context, hand: Hand, place: Place, from_at: datetime, to_at: datetime, keys: Sequence[str]
) -> Answer:
    """Choose jobs for a dock: plans put them in its days, as far as their limits allow.

    Raises:
        Refused: days that make no sense, none or an unknown job, or a minimum above 0 in the days: mark them so first, in the
            document or by a lower minimum that both sides sign.
    """
    must_be_dock_days(context, from_at, to_at)

    def act(session: Session) -> Answer:
        now = load_plant(
            session, context, place.vessel_id, place.plant_id, horizon_days=dock_horizon_days(context, to_at)
        )
        known = {job.job_id.key for job in better_in_dock(now.jobs, from_at, to_at)}
        unknown = [key for key in keys if key not in known]
        if not keys or unknown:
            says = gettext(
                "jobs that are better done there were expected; {count} of {count_2} are not among them",
                count=len(unknown),
                count_2=len(keys),
            )
            raise Refused(f"jobs: {says}.", faults=[("/jobs", says)])
        if not _without_minimum(now, from_at, to_at):
            says = gettext("a minimum holds in these days; have a lower one agreed for them, or say so in the document")
            raise Refused(f"from_at: {says}.", faults=[("/from_at", says)])
        rows = dock_rows(session, place.vessel_id)
        row = DockRow(
            vessel_id=place.vessel_id,
            number=max((one.number for one in rows), default=0) + 1,
            plant_id=place.plant_id,
            from_at=from_at,
            to_at=to_at,
            jobs=sorted(keys),
            chosen_by=hand.actor.name,
            chosen_at=context.now(),
        )
        return _kept(session, context, row, "dock batch chosen", 201, hand.actor.name)

    return hand_action(context, hand, place.vessel_id, act)


def withdraw_dock(context: Context, hand: Hand, place: Place, number: int) -> Answer:
    """Take a batch back. Raises NotFound, Clash when it was taken back already."""

    def act(session: Session) -> Answer:
        rows = dock_rows(session, place.vessel_id, place.plant_id)
        row = next((one for one in rows if one.number == number), None)
        if row is None:
            raise NotFound(gettext("There is no dock batch {number} for this plant.", number=number))
        if row.withdrawn_at is not None:
            raise Clash(
                gettext(
                    "Dock batch {number} was taken back already, by {withdrawn_by}.",
                    number=number,
                    withdrawn_by=row.withdrawn_by,
                )
            )
        row.withdrawn_by, row.withdrawn_at = hand.actor.name, context.now()
        return _kept(session, context, row, "dock batch withdrawn", 200, hand.actor.name)

    return hand_action(context, hand, place.vessel_id, act)


def must_be_dock_days(context: Context, from_at: datetime, to_at: datetime) -> None:
    """Raises Refused where no dock can be of these days."""
    if not context.now() < to_at <= context.now() + FARTHEST:
        says = gettext("an end that is still to come and within {days} days was expected", days=FARTHEST.days)
        raise Refused(f"to_at: {says}.", faults=[("/to_at", says)])
    if not timedelta(hours=12) <= to_at - from_at <= LONGEST:
        says = gettext("an end 12 hours to {days} days after from_at was expected", days=LONGEST.days)
        raise Refused(f"to_at: {says}.", faults=[("/to_at", says)])


def dock_horizon_days(context: Context, to_at: datetime) -> int:
    """How many days ahead what falls due must be known for a dock that ends then."""
    return max(context.settings.horizon_days, (to_at - context.now()).days + 1)


def _without_minimum(now: PlantState, from_at: datetime, to_at: datetime) -> bool:
    hours = range(int((to_at - from_at) / timedelta(hours=1)))
    return all(
        minimum_agreed(now.plant, from_at + timedelta(hours=n), now.offset_minutes, now.concessions)[0].m3_per_h <= 0
        for n in hours
    )


def _kept(session: Session, context: Context, row: DockRow, what: str, status: int, by: str) -> Answer:
    session.add(row)
    session.flush()
    record, _ = append_record(session, row.vessel_id, what, context.now(), {**_told(row), "by": by})
    ask_plan(session, row.vessel_id, row.plant_id, context.now())
    return Answer(status, {**_told(row), "record": record})


def _told(row: DockRow) -> dict[str, Any]:
    return {
        "batch": row.number,
        "from_at": utc_text(row.from_at),
        "to_at": utc_text(row.to_at),
        "jobs": row.jobs,
        "chosen_by": row.chosen_by,
        "withdrawn_by": row.withdrawn_by,
        "withdrawn_at": utc_text(row.withdrawn_at),
    }
