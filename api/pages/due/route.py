"""The door of the due dates that moved."""

from datetime import timedelta

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.pages.due.page import MovedView, moved_lines, moved_page
from api.pages.shared.answers import page_answer
from api.pages.shared.frame import frame_of
from api.server.deps import AskingDep, ContextDep
from scheduler.actions.plant_state import published
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.vessel import fleet
from scheduler.language import gettext as _
from scheduler.storage.vessel import AssetKind

router = APIRouter(include_in_schema=False)
BACK_DAYS, MOST = 28, 200


@router.get("/plants/{plant_id}/moved")
def moved(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The dates of open jobs that moved in the last four weeks, newest first."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    now = plant_state(context, place.vessel_id, place.id)
    since_at = now.at - timedelta(days=BACK_DAYS)
    found = published.newest_moved_date(context, place.vessel_id, place.id, since_at=since_at, limit=MOST)
    view = MovedView(
        frame=frame_of(now, who, request.url.path, _("Dates that moved"), "moved"),
        plant=now.plant.name,
        plant_href=f"/plants/{place.id}",
        days=BACK_DAYS,
        lines=moved_lines(now, found),
    )
    return page_answer(request, who, moved_page, view)
