"""Due jobs by API: their dates, postponements, dry dock."""

from operator import itemgetter
from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from api.routes.answers import due as answers
from api.routes.bodies.due import DecisionBody, DockBody, FirstDateBody, PartDateBody, PostponementBody
from api.routes.shared.bodies import Instant
from api.routes.shared.calls import HandCallDep, SeenCallDep
from api.routes.shared.describing import InPages
from api.routes.shared.paging import NumberedPagesDep, link_next
from api.routes.shared.problems import JsonRoute
from api.server.deps import AskingDep, ContextDep, Number, plant_now
from scheduler.actions.due import docking, first_dates, part_dates, postponing
from scheduler.actions.plant_state import published
from scheduler.actions.vessel import fleet
from scheduler.actions.work import jobs
from scheduler.domain.due.postponing import Asked
from scheduler.storage.vessel import AssetKind

router = APIRouter(route_class=JsonRoute)


@router.get("/api/v1/plants/{plant_id}/due", tags=["plant"], summary="Due jobs of a plant")
def get_due(
    plant_id: str,
    context: ContextDep,
    who: AskingDep,
    outlook: Annotated[bool, Query(description="also the turns after the open ones")] = False,
) -> answers.DueAnswer:
    """Due point, window, limit, early/likely/late dates, trigger and state of each open job."""
    now = plant_now(context, who, AssetKind.PLANT, plant_id)
    return answers.DueAnswer.of(now, outlook=outlook)


_SINCE = Query(
    le=2**31 - 1, description="number of the last one read; 0: from the first", json_schema_extra={"minimum": 0}
)
_LIMIT = Query(description="at most so many, 1 to 500", json_schema_extra={"minimum": 1, "maximum": 500})


@router.get("/api/v1/plants/{plant_id}/due/moved", tags=["plant"], summary="Published due dates that moved")
def get_moved(
    plant_id: str,
    context: ContextDep,
    who: AskingDep,
    request: Annotated[Request, InPages()],
    response: Response,
    since: Annotated[int, _SINCE] = 0,
    limit: Annotated[int, _LIMIT] = 100,
) -> answers.MovedDatesAnswer:
    """In order, each with its cause. Ask again with `next` as `since`. Written after the commit of what moved them, some
    seconds later, never batch by batch."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    found = published.moved_since(context, place.vessel_id, place.id, after=since, limit=limit)
    if len(found) == limit:
        link_next(request, response, since=found[-1].number, limit=limit)
    return answers.MovedDatesAnswer(
        plant=plant_id,
        moved=[answers.MovedDateShown.of(one) for one in found],
        next=found[-1].number if found else since,
    )


@router.post("/api/v1/jobs/{key}/postponements", status_code=201, tags=["work"], summary="Ask for a postponement")
def ask_postponement(key: str, call: HandCallDep, body: PostponementBody) -> answers.PostponementAskedAnswer:
    """A later limit for the open turn of a job. Another person decides; the due point stays where it is."""
    place, job_id = jobs.job_place(call.context, call.actor, key)
    answer = postponing.ask_postponement(call.context, call.hand(body), place, job_id, Asked(**body.model_dump()))
    return call.answered(answers.PostponementAskedAnswer, answer)


@router.get("/api/v1/vessels/{vessel_id}/postponements", tags=["work"], summary="A vessel's postponements")
def postponements(
    vessel_id: str, context: ContextDep, who: AskingDep, pages: NumberedPagesDep
) -> answers.PostponementsAnswer:
    """Newest first, with who asked and who decided."""
    fleet.get_vessel(context, who.actor, vessel_id)
    rows = postponing.postponements_listed(context, vessel_id, page=pages.asked)
    found = pages.shown(rows, itemgetter("postponement"))
    return answers.PostponementsAnswer.model_validate({"vessel": vessel_id, "postponements": found})


@router.post(
    "/api/v1/vessels/{vessel_id}/postponements/{number}/decision",
    tags=["work"],
    summary="Grant or refuse a postponement",
)
def decide_postponement(
    vessel_id: str, number: Number, call: HandCallDep, body: DecisionBody
) -> answers.PostponementDecidedAnswer:
    """By another person than asked; a critical job by the office; a class item with the class's agreement. With the link down the
    master decides; each in the own sign-in or with the own key."""
    call.must_reach_vessel(vessel_id)
    answer = postponing.decide_postponement(
        call.context,
        call.hand(body),
        vessel_id,
        number,
        granted=body.granted,
        note=body.note,
        class_agreed=body.class_agreed,
    )
    return call.answered(answers.PostponementDecidedAnswer, answer)


@router.put(
    "/api/v1/jobs/{key}/first-date",
    tags=["work"],
    summary="Set the first date of a job nobody knows the last time of",
    responses={
        202: {"model": answers.FirstDateAnswer, "description": "Of a critical job: it counts once another has agreed."}
    },
)
def set_first_date(key: str, call: SeenCallDep, body: FirstDateBody) -> answers.FirstDateAnswer:
    """By the chief engineer or the office, with a reason, on record. That of a critical kind counts once another person has agreed
    (202 until then). It may be brought forward later; putting it off is a postponement. If-Match, where it is sent:
    the newest record about it (0: none is set); 412 with what is set by now."""
    place, job_id = jobs.job_place(call.context, call.actor, key)
    answer = first_dates.set_first(
        call.context,
        call.hand(body),
        place,
        job_id,
        on=body.on,
        reason=body.reason,
        class_agreed=body.class_agreed,
        if_match=call.version(),
    )
    return call.answered(answers.FirstDateAnswer, answer)


@router.post(
    "/api/v1/jobs/{key}/first-date/agreement", tags=["work"], summary="Agree to a first date of a critical job"
)
def agree_first_date(key: str, call: HandCallDep) -> answers.FirstDateAnswer:
    """By another person than set it; one of both is the office, or the master while the link is down. Then it counts."""
    place, job_id = jobs.job_place(call.context, call.actor, key)
    return call.answered(answers.FirstDateAnswer, first_dates.agree_first(call.context, call.hand({}), place, job_id))


@router.put("/api/v1/jobs/{key}/part-date", tags=["work"], summary="Say when a job's parts come")
def set_part_date(key: str, call: SeenCallDep, body: PartDateBody) -> answers.PartDateAnswer:
    """A ship's date; the plan puts the job no earlier. With null the date is taken back.
    If-Match, where it is sent: the record that last said so (0: no date is given); 412 with what is said by now."""
    place, job_id = jobs.job_place(call.context, call.actor, key)
    answer = part_dates.set_date(
        call.context, call.hand(body), place, job_id, from_on=body.from_on, note=body.note, if_match=call.version()
    )
    return call.answered(answers.PartDateAnswer, answer)


@router.get("/api/v1/plants/{plant_id}/dock", tags=["plan"], summary="What is better done in dock")
def dock_choices(
    plant_id: str,
    context: ContextDep,
    who: AskingDep,
    from_at: Annotated[Instant, Query(description="When the stay begins.")],
    to_at: Annotated[Instant, Query(description="When it ends.")],
) -> answers.DockChoicesAnswer:
    """Open jobs that take a pump out and fall due in the dock or within 120 days of it, and the batches chosen."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    return answers.DockChoicesAnswer.model_validate(docking.dock_choices(context, place, from_at, to_at))


@router.post("/api/v1/plants/{plant_id}/dock", status_code=201, tags=["plan"], summary="Choose jobs for a dock")
def choose_dock(plant_id: str, call: HandCallDep, body: DockBody) -> answers.DockBatchAnswer:
    """Plans put them in its days as far as limits allow. Refused where a minimum above 0 holds in the days."""
    place = call.place(AssetKind.PLANT, plant_id)
    answer = docking.choose_dock(call.context, call.hand(body), place, body.from_at, body.to_at, body.jobs)
    return call.answered(answers.DockBatchAnswer, answer)


@router.post("/api/v1/plants/{plant_id}/dock/{number}/withdrawal", tags=["plan"], summary="Take a dock batch back")
def withdraw_dock(plant_id: str, number: Number, call: HandCallDep) -> answers.DockBatchAnswer:
    """Its jobs are planned as any other again."""
    place = call.place(AssetKind.PLANT, plant_id)
    answer = docking.withdraw_dock(call.context, call.hand({}), place, number)
    return call.answered(answers.DockBatchAnswer, answer)
