"""What timers and workers are asked to do next: kept in the database as numbers, so a restart forgets nothing.

Asked for twice before it begins it is done once; asked for while it is done it is done again after; rolled back it was not asked for.
"""

from datetime import datetime

from scheduler.storage.database import Session
from scheduler.storage.tasks import DONE, ask_pending, end_pending, open_pending, pending_row
from scheduler.storage.waking import wake_for

PLAN = "plan"
FLEET_CALENDAR = "fleet calendar"


def ask_task(session: Session, task: str, vessel_id: str, plant_id: str, now: datetime) -> None:
    """Ask for a task of a plant, of a vessel (plant "") or of the installation (both "")."""
    ask_pending(session, task, vessel_id, plant_id, now)
    wake_for(session, task, vessel_id, plant_id)


def ask_plan(session: Session, vessel_id: str, plant_id: str, now: datetime) -> None:
    """Ask for a new plan of a plant."""
    ask_task(session, PLAN, vessel_id, plant_id, now)


def plan_asked_at(session: Session, vessel_id: str, plant_id: str) -> datetime | None:
    """Since when a plan of the plant is asked for and not made yet; none: no plan is."""
    row = pending_row(session, PLAN, vessel_id, plant_id)
    return row.asked_at if row is not None and row.open else None


def plans_asked(session: Session) -> list[tuple[str, str]]:
    """(vessel, plant) pairs whose plan is asked for, oldest first."""
    return [(row.vessel_id, row.plant_id) for row in open_pending(session, PLAN)]


def plan_number(session: Session, vessel_id: str, plant_id: str) -> int:
    """How often a plan of the plant was asked for: what a plan that begins now answers."""
    row = pending_row(session, PLAN, vessel_id, plant_id)
    return 0 if row is None else row.asked


def plan_answers(session: Session, vessel_id: str, plant_id: str, number: int) -> bool:
    """Whether what was asked for up to that number is answered."""
    row = pending_row(session, PLAN, vessel_id, plant_id)
    return row is None or row.made >= number


def plan_outcome(session: Session, vessel_id: str, plant_id: str) -> str:
    """What went wrong when the plant was last planned; empty when nothing did."""
    row = pending_row(session, PLAN, vessel_id, plant_id)
    return "" if row is None or row.outcome in (None, DONE) else str(row.outcome)


def plan_made(session: Session, vessel_id: str, plant_id: str, number: int, now: datetime, outcome: str = DONE) -> None:
    """Note that the plant was planned, or not. number: as it was when that began."""
    end_pending(session, PLAN, vessel_id, plant_id, number, now, outcome)
