"""The calendar feed: stored bodies only; the last good one on any trouble, never a server error where one was sent."""

from typing import cast

from fastapi import APIRouter, Request
from fastapi.responses import Response
from starlette.concurrency import run_in_threadpool

from api.ics.http import calendar_answer, takes_gzip
from api.server.calendar_cache import CalendarCache
from api.server.deps import context_of
from scheduler.errors import Busy

router = APIRouter()


@router.head("/cal/{token}/plan.ics", include_in_schema=False)
@router.get("/cal/{token}/plan.ics", tags=["feed"], summary="The calendar feed", response_class=Response)
async def plan_feed(token: str, request: Request) -> Response:
    """RFC 5545 events, with ETag and 304. The secret in the address is the key."""
    return await _calendar(token, request, tasks=False)


@router.head("/cal/{token}/tasks.ics", include_in_schema=False)
@router.get("/cal/{token}/tasks.ics", tags=["feed"], summary="The same as tasks", response_class=Response)
async def tasks_feed(token: str, request: Request) -> Response:
    """RFC 5545 to-dos, for programs that keep lists of tasks. Many calendar programs show none in a subscription."""
    return await _calendar(token, request, tasks=True)


async def _calendar(token: str, request: Request, *, tasks: bool) -> Response:
    """The calendar read anew; while it is held afterwards, `HandOut` answers in this route's place."""
    context = context_of(request)
    shelf = cast(CalendarCache, request.app.state.feed_shelf)
    agent = request.headers.get("user-agent", "")
    pack = context.settings.feed_gzip and takes_gzip(request.headers.get("accept-encoding", ""))
    try:
        found = await run_in_threadpool(shelf.fetch, token, agent, tasks=tasks, pack=pack)
    except Busy:
        # Whoever holds a calendar keeps it; a server error would make some programs stop asking.
        if "if-none-match" in request.headers or "if-modified-since" in request.headers:
            return Response(status_code=304)
        raise
    kept = found.kept
    download = f"{'tasks' if tasks else 'plan'}.ics" if request.query_params.get("download") == "1" else None
    told = calendar_answer(
        request.headers, kept.body, kept.changed_at, etag=kept.etag, compress=False, download_name=download
    )
    content, headers = told.content, told.headers
    if told.status == 200 and pack and found.packed is not None:
        content = found.packed[0]
        headers |= {"Content-Encoding": "gzip", "Content-Length": str(len(content))}
    return Response(b"" if request.method == "HEAD" else content, status_code=told.status, headers=headers)
