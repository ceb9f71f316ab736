"""Due dates that moved: a list of their own, by API and as a page."""

from datetime import timedelta
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from api.pages.due.moved import MovedView, moved_lines, moved_page
from api.pages.shared import build
from api.routes.shared import shapes
from api.server.deps import AskingDep, ContextDep
from api.server.page_answers import light_of, page
from scheduler.actions.plant_state import published
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.vessel import fleet
from scheduler.storage.vessel import AssetKind

router = APIRouter()
SHOWN_DAYS, SHOWN_MOST = 28, 200


@router.get("/api/v1/plants/{plant_id}/due/moved", tags=["plant"], summary="Published due dates that moved")
def get_moved(
    plant_id: str,
    context: ContextDep,
    who: AskingDep,
    since: Annotated[int, Query(le=2**31 - 1, description="number of the last one read; 0: from the first")] = 0,
    limit: Annotated[int, Query(description="at most so many, 1 to 500")] = 100,
) -> dict[str, Any]:
    """In order, each with its cause. Ask again with `next` as `since`. Written after the commit of what moved them, some
    seconds later, never batch by batch."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    found = published.moved_since(context, place.vessel_id, place.id, after=since, limit=limit)
    return {
        "plant": plant_id,
        "moved": [shapes.moved_json(one) for one in found],
        "next": found[-1].number if found else since,
    }


@router.get("/plants/{plant_id}/moved", include_in_schema=False)
def moved(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The dates of open jobs that moved in the last four weeks, newest first."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    now = plant_state(context, place.vessel_id, place.id)
    since_at = now.at - timedelta(days=SHOWN_DAYS)
    found = published.newest_moved_date(context, place.vessel_id, place.id, since_at=since_at, limit=SHOWN_MOST)
    view = MovedView(
        frame=build.frame_of(now, who, request.url.path, "Dates that moved", "moved"),
        plant=now.plant.name,
        plant_href=f"/plants/{place.id}",
        days=SHOWN_DAYS,
        lines=moved_lines(now, found),
    )
    return page(moved_page(view, light=light_of(request), csrf=who.csrf or ""))
