"""What the timers are asked to do next: kept in the database, so a restart forgets nothing."""

import secrets
from datetime import datetime

from scheduler.storage.base import TaskRunRow, open_tasks
from scheduler.storage.database import Session

REPLAN = "plan anew"


def ask_plan(session: Session, vessel_id: str, plant_id: str, now: datetime) -> None:
    """Ask for a new plan of a plant; asking twice before it is made asks once."""
    if not open_tasks(session, REPLAN, begins=f"{plant_id}@"):
        session.add(
            TaskRunRow(
                task=REPLAN,
                period=f"{plant_id}@{int(now.timestamp())}-{secrets.token_hex(4)}",
                vessel_id=vessel_id,
                started_at=now,
            )
        )
        session.flush()


def plan_asked_at(session: Session, plant_id: str) -> datetime | None:
    """Since when a plan of the plant is asked for and not made yet; none: no plan is."""
    rows = open_tasks(session, REPLAN, begins=f"{plant_id}@")
    return rows[0].started_at if rows else None


def plans_asked(session: Session) -> list[tuple[str, str]]:
    """(vessel, plant) pairs whose plan is asked for, oldest first."""
    rows = open_tasks(session, REPLAN)
    return [(row.vessel_id or "", row.period.rpartition("@")[0]) for row in rows]


def plan_made(session: Session, plant_id: str, now: datetime, outcome: str = "done") -> None:
    """Note that the plant was planned; what was asked for up to now is done."""
    for row in open_tasks(session, REPLAN, begins=f"{plant_id}@"):
        row.ended_at, row.outcome = now, outcome
        session.add(row)
