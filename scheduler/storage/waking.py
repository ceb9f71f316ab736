"""Waking a worker in the transaction that asks for a task. Who wakes is handed in: where there are no workers, nobody."""

from collections.abc import Callable

from sqlmodel import Session

Wake = Callable[[Session, str, str, str], None]
"""(session, task, vessel id, plant id); the ids are empty for what is of no plant or of no vessel."""
WAKE = "wake"
"""Under which a session that writes has it."""
CALENDAR = "calendar"
"""The task that a vessel's revision asks for: her calendars and summary."""


def wake_for(session: Session, task: str, vessel_id: str = "", plant_id: str = "") -> None:
    """Wake a worker for a task once the session has committed; nothing where there are none."""
    wake: Wake | None = session.info.get(WAKE)
    if wake is not None:
        wake(session, task, vessel_id, plant_id)


def wake_for_calendar(session: Session, vessel_id: str) -> None:
    """The same for what a vessel's revision asks for; the installation ("") has no calendar."""
    if vessel_id:
        wake_for(session, CALENDAR, vessel_id)
