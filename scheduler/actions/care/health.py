"""Is the installation in order? What readiness says, to anybody and to those who may see names."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from scheduler.actions.base.context import Context, utc_text
from scheduler.actions.care.failures import WAITING, of_pending, of_tasks, of_timers
from scheduler.actions.care.ships_seen import ships_seen
from scheduler.domain.checks.diagnosis import About, Diagnosis
from scheduler.domain.shore.line_state import of_line
from scheduler.errors import SchedulerError
from scheduler.storage.hours.intake import IntakeState
from scheduler.storage.shore.lines import shore_lines
from scheduler.storage.shore.outbox import line_status
from scheduler.storage.shore.ships import LineState, lines_in_short
from scheduler.storage.task_queue import queue_state
from scheduler.storage.tasks import pending_counts
from scheduler.storage.vessel import vessel_count, vessel_names
from scheduler.wording.figures import SILENT_LINK


@dataclass(slots=True)
class Found:
    """What was found. ready: requests can be served; what failed does not stop that. checks: figures, for who may see them."""

    ready: bool = True
    checks: dict[str, Any] = field(default_factory=dict)
    failed: list[Diagnosis] = field(default_factory=list)
    trouble: str = ""
    vessels: int | None = None
    free_bytes: int | None = None
    pending: Mapping[str, int] = field(default_factory=dict)
    """How many tasks are to be done, by their name."""
    workers: int | None = None
    """How many workers there are; none where the server does the tasks."""

    def failed_by_kind(self) -> Mapping[str, int]:
        """How many things failed, by what they are about."""
        return Counter(one.about.value for one in self.failed)


def health(context: Context, *, intake: IntakeState, timers: Mapping[str, str] | None = None) -> Found:
    """Look at the database, the writer and the timers. Never raises for what it finds.

    Args:
        timers: what each failed with, by its name.
    """
    found = Found(failed=of_timers(timers or {}))
    found.checks["intake"] = {
        "waiting": intake.waiting_requests,
        "stored": intake.stored,
        "failed": intake.failed,
        "last_commit_at": None if intake.last_commit_at is None else intake.last_commit_at.isoformat(),
    }
    try:
        found.checks["database"] = context.db.engine_says()
        found.free_bytes = context.db.free_bytes()
        context.db.require_room()
        with context.db.read() as session:
            found.vessels = found.checks["vessels"] = vessel_count(session)
            noted = of_tasks(context, session)
            names = {one.name for one in noted}
            found.failed = [one for one in found.failed if one.name not in names]  # said by what is stored already
            found.failed += [*noted, *of_pending(context, session)]
            found.pending = pending_counts(session)
            found.workers = queue_state(session, WAITING).workers if context.settings.workers else None
            lines = [line_status(session, line) for line in shore_lines(session)]
            ships = vessel_names(session) if lines else {}
            taken = lines_in_short(session, context.now() - SILENT_LINK)
        if len(taken) > 1:
            found.checks["ships"] = taken
        if taken.keys() & {LineState.REFUSED.value, LineState.PARTED.value}:
            seen = [look for one in ships_seen(context) for look in one.diagnoses]
            found.failed += [one for one in seen if one.about is About.SHIP_NOT_TAKEN]
        if lines:
            found.checks["office"] = {
                line.vessel_id: {
                    "state": line.state.value,
                    "waits": line.waits,
                    "reached_at": utc_text(line.reached_at),
                }
                for line in lines
            }
            looked_at = (of_line(line, ships[line.vessel_id], context.now()) for line in lines)
            found.failed += [one for one in looked_at if one is not None and not one.note]
    except SchedulerError as error:
        found.ready = False
        found.trouble = found.checks["database"] = error.says
    return found
