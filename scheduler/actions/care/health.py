"""Is the installation in order? What readiness says."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from scheduler.actions.base.context import Context, utc_text
from scheduler.errors import SchedulerError
from scheduler.storage.base import failed_tasks
from scheduler.storage.hours.intake import IntakeState
from scheduler.storage.vessel import vessel_rows

_DAY_S = 86_400


@dataclass(slots=True)
class Found:
    """What was found. ready: requests can be served; remarks do not stop that."""

    ready: bool = True
    checks: dict[str, Any] = field(default_factory=dict)
    remarks: list[str] = field(default_factory=list)

    def body(self) -> dict[str, Any]:
        """As JSON values."""
        return {"ready": self.ready, "checks": self.checks, "remarks": self.remarks}


def health(context: Context, *, intake: IntakeState, timers: Sequence[str] = ()) -> Found:
    """Look at the database, the writer and the timers. Never raises for what it finds."""
    found = Found(remarks=list(timers))
    found.checks["intake"] = {
        "waiting": intake.waiting_requests,
        "stored": intake.stored,
        "failed": intake.failed,
        "last_commit_at": None if intake.last_commit_at is None else intake.last_commit_at.isoformat(),
    }
    try:
        found.checks["database"] = context.db.engine_says()
        context.db.require_room()
        with context.db.read() as session:
            found.checks["vessels"] = len(vessel_rows(session))
            for row in failed_tasks(session, context.now() - timedelta(days=1))[:5]:
                found.remarks.append(f"{row.task} ({row.period}, {utc_text(row.started_at)}): {row.outcome}")
    except SchedulerError as error:
        found.ready = False
        found.checks["database"] = error.says
    return found
