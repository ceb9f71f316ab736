"""The door of the fleet: the start of every visit."""

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from api.pages.shared.answers import page_answer
from api.pages.shared.frame import Frame, Link, fleet_links, may, who_frame
from api.pages.vessel.page import empty_page, fleet_page
from api.pages.vessel.view import EmptyView, FleetView, vessel_line
from api.server.deps import AskingDep, ContextDep
from scheduler.actions.feed.summary import PAGE, ships_page
from scheduler.language import gettext as _

router = APIRouter(include_in_schema=False)


@router.get("/")
def home(request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The plant, for someone with one; else the fleet."""
    asked = request.query_params.get("page", "1")
    number = int(asked) if asked.isascii() and asked.isdecimal() and len(asked) < 7 else 1
    found = ships_page(context, who.actor, max(1, number))
    if not found.plants:
        frame = Frame(title="Leadline", here="/", links=(Link(label=_("People"), href="/people"),), **who_frame(who))
        return page_answer(request, who, empty_page, EmptyView(frame=frame, may_set_up=may(who, "POST", "/first-run")))
    if not found.lines:  # fewer by now, or never so many
        return RedirectResponse(f"/?all=1&page={found.pages}", 303)
    if found.plants == 1 and "all" not in request.query_params:
        return RedirectResponse(f"/plants/{found.lines[0].plant_id}", 303)
    now_at = context.now()
    lines = [vessel_line(line, now_at) for line in found.lines]
    view = FleetView(
        frame=Frame(
            title=_("Fleet · Leadline"),
            here="/?all=1" if found.number == 1 else f"/?all=1&page={found.number}",
            links=fleet_links("/?all=1", who),
            **who_frame(who),
        ),
        now_at=now_at,
        vessels=tuple(line for line, waits in lines),
        total=found.plants,
        troubled=found.troubled,
        waits=tuple(wait for line, waits in lines for wait in waits),
        page=found.number,
        pages=found.pages,
        first=(found.number - 1) * PAGE + 1,
        may_export=may(who, "GET", "/api/v1/fleet/history"),
    )
    return page_answer(request, who, fleet_page, view)
