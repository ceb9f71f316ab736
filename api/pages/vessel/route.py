"""The door of the fleet: the start of every visit."""

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from api.pages.shared.answers import page_answer
from api.pages.shared.frame import Frame, Link, fleet_links, may, who_frame
from api.pages.vessel.page import empty_page, fleet_page
from api.pages.vessel.view import EmptyView, FleetView, vessel_line
from api.server.deps import AskingDep, ContextDep
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.vessel import fleet
from scheduler.language import gettext as _

router = APIRouter(include_in_schema=False)


@router.get("/")
def home(request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The plant, for someone with one; else the fleet."""
    vessels = fleet.list_vessels(context, who.actor)
    if not vessels:
        frame = Frame(title="Leadline", here="/", links=(Link(label=_("People"), href="/people"),), **who_frame(who))
        return page_answer(request, who, empty_page, EmptyView(frame=frame, may_set_up=may(who, "POST", "/first-run")))
    if len(vessels) == 1 and len(vessels[0][0].plants) == 1 and "all" not in request.query_params:
        return RedirectResponse(f"/plants/{vessels[0][0].plants[0].id}", 303)
    found = [
        vessel_line([plant_state(context, vessel.id, plant.id) for plant in vessel.plants], context, who.actor)
        for vessel, _ in vessels
    ]
    view = FleetView(
        frame=Frame(
            title=_("Fleet · Leadline"),
            here="/?all=1",
            links=fleet_links("/?all=1"),
            **who_frame(who),
        ),
        now_at=context.now(),
        vessels=tuple(line for line, _ in found),
        waits=tuple(wait for _, waits in found for wait in waits),
    )
    return page_answer(request, who, fleet_page, view)
