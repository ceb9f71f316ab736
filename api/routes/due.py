"""Due dates that moved: a list of their own."""

from typing import Annotated, Any

from fastapi import APIRouter, Query

from api.routes.shared import shapes
from api.server.deps import AskingDep, ContextDep
from scheduler.actions.plant_state import published
from scheduler.actions.vessel import fleet
from scheduler.storage.vessel import AssetKind

router = APIRouter()


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
