"""How the lines of vessels here to their offices stand."""

from scheduler.actions.base.context import Context
from scheduler.actions.vessel.fleet import clock_of
from scheduler.domain.shore.line_state import LineStatus
from scheduler.storage.shore.lines import shore_line, shore_lines
from scheduler.storage.shore.outbox import line_status


def line_statuses(context: Context) -> list[tuple[LineStatus, int]]:
    """Each line, by vessel, with the ship's clock in minutes ahead of UTC."""
    with context.db.read() as session:
        return [
            (line_status(session, line), clock_of(session, line.vessel_id, context.now()))
            for line in shore_lines(session)
        ]


def line_of(context: Context, vessel_id: str) -> LineStatus | None:
    """The vessel's line, none where she has joined no office."""
    with context.db.read() as session:
        line = shore_line(session, vessel_id)
        return None if line is None else line_status(session, line)
