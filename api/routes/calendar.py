"""The calendar feed: stored bodies only; the last good one on any trouble, never a server error."""

import logging
from typing import cast

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
_HELD_SECONDS = 2
_MOST_HELD = 500


class Shelf:
    """Calendars as last read, by their secret, for as long as nobody committed anything, and two seconds at most."""

    def __init__(self, house: House) -> None:
        self._house = house
        self._mark: int | None = None
        self._held: dict[str, tuple[int, feed.FeedBody]] = {}

    def get(self, token: str) -> tuple[int | None, feed.FeedBody | None]:
        """The mark of now, to be given to `put`, and what is held."""
        mark = self._house.db.mark()
        if mark != self._mark or len(self._held) > _MOST_HELD:
            self._mark = mark
            self._held.clear()
        until_s, kept = self._held.get(token, (0, None))
        return mark, kept if self._house.now_s() < until_s else None

    def put(self, mark: int | None, token: str, kept: feed.FeedBody) -> None:
        """Hold what was read after `mark` was; where there are no marks, nothing is held."""
        if mark is not None and mark == self._mark:
            self._held[token] = self._house.now_s() + _HELD_SECONDS, kept


@router.head("/cal/{token}/plan.ics", include_in_schema=False)
@router.get("/cal/{token}/plan.ics", tags=["feed"], summary="The calendar feed", response_class=Response)
async def plan_feed(token: str, request: Request) -> Response:
    """RFC 5545, with ETag and 304. The secret in the address is the key."""
    house = house_of(request)
    agent = request.headers.get("user-agent", "")
    shelf = cast(Shelf, request.app.state.feed_shelf)
    mark, kept = shelf.get(token)
    if kept is None:
        kept = await run_in_threadpool(_body, house, token, agent)
        shelf.put(mark, token, kept)
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
