"""Plans by API: taken and proposed, why a job stands where it stands, moves by hand, lead order."""

import re
from operator import itemgetter
from typing import Annotated

from fastapi import APIRouter, Header, Query, Response
from pydantic import Field

from api.routes.answers import plan as answers
from api.routes.shared.bodies import Body, Instant, Name, Reason
from api.routes.shared.calls import HandCall, HandCallDep, MatchedCallDep
from api.routes.shared.describing import StateTag
from api.routes.shared.paging import NumberedPagesDep
from api.routes.shared.problems import JsonRoute, problems
from api.routes.shared.shapes import z
from api.server.deps import AskingDep, ContextDep, Number
from scheduler.actions.base.context import Answer
from scheduler.actions.plan import explaining, lead_order_set, moving, outlook, planning
from scheduler.actions.plan import lead_order as plan_lead_order
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.vessel import fleet
from scheduler.storage.vessel import AssetKind

router = APIRouter(route_class=JsonRoute)

RETRY_AFTER_SECONDS = 2
"""After which a program that asked for a plan may look again."""
MOST_WAIT_SECONDS = 60
PREFERRED_WAIT = re.compile(r'(?:^|[,;\s])wait\s*=\s*"?([0-9]{1,9})(?![0-9])', re.IGNORECASE)
"""A preference for how long to wait. Source: RFC 7240, section 4.3."""
WHERE_AND_WHEN = {
    "Location": {"description": "where the plan will be", "schema": {"type": "string"}},
    "Retry-After": {"description": "seconds after which to look", "schema": {"type": "integer", "minimum": 0}},
}


class LeadOrderBody(Body):
    """In which order pumps start since then: names of positions, the one that leads first."""

    order: Annotated[list[Name], Field(min_length=1, max_length=16)]
    at: Instant


class TakeBody(Body):
    """Which plan is taken: the digest as shown."""

    digest: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class MoveBody(Body):
    """Which job's slot is moved, and where it is to start: a whole hour. Why, in a few words; may be empty."""

    job: Name
    start_at: Instant
    reason: Reason = ""


@router.get("/api/v1/plants/{plant_id}/plan", tags=["plan"], summary="The taken and the proposed plan")
def get_plan(plant_id: str, context: ContextDep, who: AskingDep) -> answers.PlansAnswer:
    """Each with slots, shortfalls in words, verdict, least margin and certificate; and what taking the proposal changes."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    now = plant_state(context, place.vessel_id, place.id)
    return answers.PlansAnswer.model_validate(
        {
            "plant": plant_id,
            "planning_since": z(planning.planning_since(context, place)),
            "taken": planning.plan_as_json(now, now.taken),
            "proposed": planning.plan_as_json(now, now.proposed),
            "differences": [
                {"job": m.key, "from": z(m.from_at), "to": z(m.to_at)} for m in planning.slot_differences(now)
            ],
        }
    )


@router.get(
    "/api/v1/plants/{plant_id}/plan/why/{key}",
    responses=problems(409),
    tags=["plan"],
    summary="Why a job stands where it stands",
)
def plan_why(plant_id: str, key: str, context: ContextDep, who: AskingDep) -> answers.PlaceReasonAnswer:
    """Reasons in words, what forbids its other starts, and for a late or unplaced job what would help, each tried by planning
    again, with its price."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    return answers.PlaceReasonAnswer.model_validate(explaining.why(context, place.vessel_id, place.id, key))


@router.get("/api/v1/plants/{plant_id}/plan/outlook", tags=["plan"], summary="A plan far ahead")
def plan_outlook(
    plant_id: str,
    context: ContextDep,
    who: AskingDep,
    days: Annotated[int, Query(ge=2, le=outlook.OUTLOOK_DAYS)] = outlook.OUTLOOK_DAYS,
) -> answers.OutlookAnswer:
    """Worked out now, which takes seconds, and not kept: what is beyond the published days is no more than an outlook. One at
    a time; while one is being worked out another is told to ask again (503)."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    now, held = outlook.outlook(context, place.vessel_id, place.id, days)
    return answers.OutlookAnswer.model_validate(
        outlook.outlook_as_json(now, held, days, outlook.outlook_words(context, now))
    )


@router.post(
    "/api/v1/plants/{plant_id}/plan/previews",
    status_code=201,
    responses={
        202: {"model": answers.PlansAnswer, "description": "It is still being made.", "headers": WHERE_AND_WHEN}
    },
    tags=["plan"],
    summary="Plan anew",
)
def propose_plan(
    plant_id: str,
    context: ContextDep,
    who: AskingDep,
    response: Response,
    prefer: Annotated[str, Header(description="wait=60 waits for up to so many seconds, 60 at most (RFC 7240)")] = "",
) -> answers.PlansAnswer:
    """Works out a plan on what is known now and proposes it. Nothing is taken. Where that takes longer than a moment, or than was
    preferred, it is made beside the answer (202), which has what stands until then; the plan is at Location once
    `planning_since` is null there."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    preferred = PREFERRED_WAIT.search(prefer)
    wait_seconds = None if preferred is None else min(int(preferred[1]), MOST_WAIT_SECONDS)
    if planning.propose_soon(context, place, wait_seconds) is not None:
        response.status_code = 202
        response.headers.update(
            {"Location": f"/api/v1/plants/{place.id}/plan", "Retry-After": str(RETRY_AFTER_SECONDS)}
        )
    return get_plan(plant_id, context, who)


@router.post("/api/v1/plants/{plant_id}/plan", responses=problems(412), tags=["plan"], summary="Take the proposed plan")
def take_plan(plant_id: str, call: HandCallDep, body: TakeBody) -> answers.PlanTakenAnswer:
    """By the digest of the plan that was looked at; if another is proposed by now it is refused (412)."""
    place = call.place(AssetKind.PLANT, plant_id)
    answer = planning.take(call.context, call.hand(body), place, body.digest)
    return call.answered(answers.PlanTakenAnswer, answer)


@router.get(
    "/api/v1/plants/{plant_id}/plan/slots/{key}/times",
    responses=problems(409),
    tags=["plan"],
    summary="Whether a slot would hold at another time",
)
def slot_times(
    plant_id: str,
    key: str,
    context: ContextDep,
    who: AskingDep,
    response: Annotated[Response, StateTag()],
    start_at: Annotated[Instant, Query(description="where it would start, a whole hour")],
) -> answers.SlotTimesAnswer:
    """Changes nothing. What stands against it in words, what to mind all the same, the margin that would be left, and up to
    five starts near it that hold. Two jobs on one isolation go together. The ETag is the version of the plan aboard, for
    If-Match of the move."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    told = moving.try_move(context, place.vessel_id, place.id, key, start_at)
    response.headers["ETag"] = f'"{told["version"]}"'
    return answers.SlotTimesAnswer.model_validate(told)


@router.post(
    "/api/v1/plants/{plant_id}/plan/moves",
    tags=["plan"],
    status_code=201,
    summary="Move a slot of the plan aboard",
)
def move_slot(plant_id: str, call: MatchedCallDep, body: MoveBody) -> answers.SlotMovedAnswer:
    """It is pinned there: planning again leaves it. If-Match has the version of the plan that was looked at (428 without,
    412 when it is another by now). Where it does not hold it is refused (409) with the times that do."""
    place = call.place(AssetKind.PLANT, plant_id)
    answer = moving.move_slot(
        call.context, call.hand(body), place, body.job, body.start_at, if_match=call.version(), reason=body.reason
    )
    return _moved(call, answer)


@router.get("/api/v1/plants/{plant_id}/plan/moves", tags=["plan"], summary="The moves by hand, newest first")
def moves_made(plant_id: str, context: ContextDep, who: AskingDep, pages: NumberedPagesDep) -> answers.MovesAnswer:
    """Who moved what from where to where, why, and whether it was undone or can be."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    found = pages.shown_of_all(moving.moves_made(context, place), itemgetter("move"))
    return answers.MovesAnswer.model_validate({"plant": plant_id, "moves": found})


@router.post("/api/v1/plants/{plant_id}/plan/moves/{number}/undo", tags=["plan"], summary="Put a moved slot back")
def undo_move(plant_id: str, number: Number, call: HandCallDep) -> answers.SlotMovedAnswer:
    """The newest move of its job: the slot goes back where it was if that holds still (else 409 with the times that do),
    and its pin goes. Both the move and the undo stay on record."""
    place = call.place(AssetKind.PLANT, plant_id)
    return _moved(call, moving.undo_move(call.context, call.hand(None), place, number))


def _moved(call: HandCall, answer: Answer) -> answers.SlotMovedAnswer:
    return call.answered(answers.SlotMovedAnswer, answer, etag=True)


@router.get("/api/v1/plants/{plant_id}/lead-order", tags=["plant"], summary="Which pump should lead next")
def lead_order(plant_id: str, context: ContextDep, who: AskingDep) -> answers.LeadOrderAnswer:
    """Advice: the ladder of hours left, hours a day for the next period, what falls due together, the trend of pump-hours."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    return answers.LeadOrderAnswer.model_validate(plan_lead_order.lead_order(context, place.vessel_id, place.id))


@router.post("/api/v1/plants/{plant_id}/lead-order", status_code=201, tags=["work"], summary="Lead order was changed")
def set_lead_order(plant_id: str, call: HandCallDep, body: LeadOrderBody) -> answers.LeadOrderSetAnswer:
    """At the panel, by whom and when; kept on record, and handed over."""
    place = call.place(AssetKind.PLANT, plant_id)
    answer = lead_order_set.tell(call.context, call.hand(body), place, body.order, body.at)
    return call.answered(answers.LeadOrderSetAnswer, answer)
