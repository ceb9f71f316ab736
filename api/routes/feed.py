"""Calendars by API: the feed itself (stored bodies only; the last good one on any trouble), and a person's own addresses."""

from operator import attrgetter
from typing import Annotated, Any, cast

from fastapi import APIRouter, Request
from fastapi.responses import Response
from pydantic import Field
from starlette.concurrency import run_in_threadpool

from api.ics.http import calendar_answer, takes_gzip
from api.pages.feed.addresses import address_json, address_shown, must_fit
from api.routes.answers.feed import FeedsAnswer, FeedShownOnceAnswer, FeedWithdrawnAnswer
from api.routes.shared.bodies import Body, Name
from api.routes.shared.calls import OnceCallDep
from api.routes.shared.paging import NamedPagesDep
from api.routes.shared.problems import JsonRoute, problems
from api.server.calendar_cache import CalendarCache
from api.server.deps import AskingDep, ContextDep, context_of, reached_at
from api.server.try_limiter import address_of, limiter_of
from scheduler.actions.feed import addresses
from scheduler.domain.base.enums import Role
from scheduler.errors import Busy, NotAllowed

router = APIRouter(route_class=JsonRoute)
_ONCE = {"Cache-Control": "no-store"}
CALENDAR: dict[int | str, dict[str, Any]] = {
    200: {"content": {"text/calendar": {"schema": {"type": "string"}}}},
    304: {"description": "As it was at the last poll."},
    **problems(410, 429),
}


class AddressBody(Body):
    """What the new address shows. vessel none: the whole fleet. kinds: job kind codes, none for all. days: how long it is good.
    alarm_hour: ship's hour of its reminders, on the evening before. days_ahead: open jobs of so many days only."""

    vessel: Name | None = None
    label: Annotated[str, Field(max_length=100)] = ""
    alarms: bool = False
    alarm_hour: Annotated[int, Field(ge=6, le=21)] = 18
    days_ahead: Annotated[int, Field(ge=1, le=180)] | None = None
    kinds: Annotated[list[Name], Field(max_length=100)] | None = None
    days: Annotated[int, Field(ge=1, le=3650)] | None = None


@router.head("/cal/{token}/plan.ics", include_in_schema=False)
@router.get(
    "/cal/{token}/plan.ics", tags=["feed"], summary="The calendar feed", response_class=Response, responses=CALENDAR
)
async def plan_feed(token: str, request: Request) -> Response:
    """RFC 5545 events, with ETag and 304. The secret in the address is the key."""
    return await _calendar(token, request, tasks=False)


@router.head("/cal/{token}/tasks.ics", include_in_schema=False)
@router.get(
    "/cal/{token}/tasks.ics", tags=["feed"], summary="The same as tasks", response_class=Response, responses=CALENDAR
)
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
        with limiter_of(request).secret_try(address_of(request)):
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


@router.post("/api/v1/feeds", tags=["feed"], status_code=201, summary="A calendar address of your own")
def make_feed(call: OnceCallDep, body: AddressBody) -> FeedShownOnceAnswer:
    """Shown this once; only its hash is stored. The key must belong to a person. Without a vessel: the whole fleet."""
    if body.vessel is not None:
        call.actor.must_reach(body.vessel, f"vessel {body.vessel}")
    base = reached_at(call.request, call.context)
    must_fit(base)
    made = addresses.make_address(
        call.context,
        call.actor,
        person_id=_person(call.who),
        vessel_id=body.vessel,
        label=body.label,
        alarms=body.alarms,
        alarm_hour=body.alarm_hour,
        days_ahead=body.days_ahead,
        kinds=body.kinds,
        days=body.days,
        once=call.hand(body),
    )
    call.response.headers.update(_ONCE)
    return FeedShownOnceAnswer.model_validate(address_shown(base, made).as_json())


@router.get("/api/v1/feeds", tags=["feed"], summary="Your calendar addresses")
def list_feeds(context: ContextDep, who: AskingDep, pages: NamedPagesDep) -> FeedsAnswer:
    """Without their secrets: what each shows, until when, and when and by what it was used last."""
    person = None if who.actor.role is Role.ADMIN else _person(who)
    found = pages.shown_of_all(addresses.addresses(context, who.actor, person), attrgetter("id"))
    return FeedsAnswer.model_validate({"feeds": [address_json(one) for one in found]})


@router.post("/api/v1/feeds/{feed_id}/rotate", tags=["feed"], summary="A new secret for an address")
def rotate_feed(feed_id: str, call: OnceCallDep) -> FeedShownOnceAnswer:
    """Programs that have the old one are told that it was withdrawn; the new one is shown this once."""
    base = reached_at(call.request, call.context)
    must_fit(base)
    call.response.headers.update(_ONCE)
    made = addresses.rotate(call.context, call.actor, feed_id, once=call.hand({}))
    return FeedShownOnceAnswer.model_validate(address_shown(base, made).as_json())


@router.delete("/api/v1/feeds/{feed_id}", tags=["feed"], summary="Withdraw an address")
def revoke_feed(feed_id: str, context: ContextDep, who: AskingDep) -> FeedWithdrawnAnswer:
    """For 30 days it serves a calendar that says so, then 410."""
    addresses.revoke(context, who.actor, feed_id)
    return FeedWithdrawnAnswer.model_validate({"id": feed_id, "state": "withdrawn"})


def _person(who: AskingDep) -> str:
    if who.actor.person_id is None:
        raise NotAllowed("A calendar address belongs to a person; this key does not. Use `leadline feed` aboard.")
    return who.actor.person_id
