"""What a server's ticks do, called by hand; and readings stored without a server."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from starlette.concurrency import run_in_threadpool

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.care.rounds import plan_asked, write_behind
from scheduler.actions.hours.readings import ReadingDoor, post
from scheduler.storage.hours.intake import Intake

_WRITTEN = ("/feeds", "/feed/", ".ics", "moved")
"""In the paths of what the woken tick has written by then."""


def write_at_once(app: Any) -> None:
    """An application without ticks of its own, in which what a woken tick writes is there when somebody asks for it."""
    context, refresh, front = app.state.context, app.state.refresh, app.front
    behind: list[bool] = []
    context.waker.listen(lambda: behind.append(True))

    async def waiting(scope: Any, receive: Any, send: Any) -> None:
        if behind and scope["type"] == "http" and _shows_what_is_written(scope["path"]):
            behind.clear()
            await run_in_threadpool(write_behind, context, refresh)
        await front(scope, receive, send)

    app.front = waiting


def _shows_what_is_written(path: str) -> bool:
    return path == "/" or any(word in path for word in _WRITTEN)


def keep_up(context: Context, refresh: Callable[[str], object]) -> None:
    """The plans that were asked for, after and before what is behind is derived and written."""
    write_behind(context, refresh)
    if plan_asked(context):
        write_behind(context, refresh)


def store_now(context: Context, actor: Actor, items: Sequence[Mapping[str, object]]) -> dict[str, Any]:
    """One batch through a door and a writer of its own."""
    with Intake(context.db, context.clock) as intake:
        return post(ReadingDoor(context, intake), intake, actor, {"readings": list(items)})
