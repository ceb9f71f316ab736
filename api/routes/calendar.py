"""The calendar feed: stored bodies only; the last good one on any trouble, never a server error."""

import logging

from fastapi import APIRouter, Request
from fastapi.responses import Response
from starlette.concurrency import run_in_threadpool

from api import feeds
from api.deps import house_of
from api.pen import PEN
from scheduler.actions import feed, people
from scheduler.actions.house import House

router = APIRouter()
log = logging.getLogger("leadline")


@router.head("/cal/{token}/plan.ics", include_in_schema=False)
@router.get("/cal/{token}/plan.ics", tags=["feed"], summary="The calendar feed", response_class=Response)
async def plan_feed(token: str, request: Request) -> Response:
    """RFC 5545, with ETag and 304. The secret in the address is the key."""
    house = house_of(request)
    agent = request.headers.get("user-agent", "")
    kept = await run_in_threadpool(_body, house, token, agent)
    answer = feeds.answer(
        request.headers,
        kept.body,
        kept.changed_at,
        etag=kept.etag,
        compress=house.settings.feed_gzip,
        download_name="plan.ics" if request.query_params.get("download") == "1" else None,
    )
    content = b"" if request.method == "HEAD" else answer.content
    return Response(content, status_code=answer.status, headers=answer.headers)


def _body(house: House, token: str, agent: str) -> feed.FeedBody:
    vessel_id = people.feed_vessel(house, token, agent)
    kept = feed.last_good(house, vessel_id)
    if kept is not None:
        return kept
    pen = PEN(house.settings.shown_base_url())
    try:
        return feed.refresh(house, pen, vessel_id)
    except Exception:
        log.exception("the first calendar of %s could not be written", vessel_id)
        return feed.bare(house, pen, vessel_id)
