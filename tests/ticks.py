"""What a server's ticks do, called by hand; and readings stored without a server."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.care.rounds import plan_asked, write_behind
from scheduler.actions.hours.readings import ReadingDoor, post
from scheduler.storage.hours.intake import Intake


def write_at_once(app: Any) -> None:
    """An application without ticks of its own, with calendars written after each action as a woken tick does it."""
    context, refresh = app.state.context, app.state.refresh
    context.waker.listen(lambda: write_behind(context, refresh))


def keep_up(context: Context, refresh: Callable[[str], object]) -> None:
    """The plans that were asked for, after and before what is behind is derived and written."""
    write_behind(context, refresh)
    if plan_asked(context):
        write_behind(context, refresh)


def store_now(context: Context, actor: Actor, items: Sequence[Mapping[str, object]]) -> dict[str, Any]:
    """One batch through a door and a writer of its own."""
    with Intake(context.db, context.clock) as intake:
        return post(ReadingDoor(context, intake), intake, actor, {"readings": list(items)})
