"""What the timers are asked to do next: kept in the database, so a restart forgets nothing."""

import secrets
from datetime import datetime

from scheduler.storage.base import TaskRunRow, open_tasks
from scheduler.storage.database import Session

REPLAN = "plan anew"


def ask_plan(session: Session, vessel_id: str, plant_id: str, now: datetime) -> None:
    """Ask for a new plan of a plant. Asked for twice before one begins it is made once; what is asked for while one is made is made
    after it: hence a row each time."""
    period = f"{plant_id}@{int(now.timestamp())}-{secrets.token_hex(4)}"
    session.add(TaskRunRow(task=REPLAN, period=period, vessel_id=vessel_id, started_at=now))
    session.flush()


def plan_asked_at(session: Session, plant_id: str) -> datetime | None:
    """Since when a plan of the plant is asked for and not made yet; none: no plan is."""
    rows = open_tasks(session, REPLAN, begins=f"{plant_id}@")
    return rows[0].started_at if rows else None


def plans_asked(session: Session) -> list[tuple[str, str]]:
    """(vessel, plant) pairs whose plan is asked for, oldest first."""
    rows = open_tasks(session, REPLAN)
    return list(dict.fromkeys((row.vessel_id or "", row.period.rpartition("@")[0]) for row in rows))


def plan_requests(session: Session, plant_id: str) -> frozenset[str]:
    """What is asked for of a plant's plan: what a plan that begins now answers."""
    return frozenset(row.period for row in open_tasks(session, REPLAN, begins=f"{plant_id}@"))


def plan_made(
    session: Session, plant_id: str, now: datetime, outcome: str = "done", *, requests: frozenset[str] | None = None
) -> None:
    """Note that the plant was planned, or not. requests: as there were when it began; none: whatever is asked for is done with."""
    for row in open_tasks(session, REPLAN, begins=f"{plant_id}@"):
        if requests is None or row.period in requests:
            row.ended_at, row.outcome = now, outcome
            session.add(row)
