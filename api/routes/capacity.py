"""Capacity by API: the margin, pumps down and back, pull-down tests, lower minima."""

from collections.abc import Mapping
from datetime import timedelta
from operator import itemgetter
from typing import Annotated, Any

from fastapi import APIRouter, Query

from api.pages.shared.margin import margin_stretches
from api.routes.answers import capacity as answers
from api.routes.bodies.capacity import (
    BackBody,
    ConcessionBody,
    ConcessionSignatureBody,
    DownBody,
    ExpectedBody,
    PumpTestBody,
    RunsBody,
    StopNoticeBody,
)
from api.routes.shared.bodies import Instant
from api.routes.shared.calls import HandCallDep, SeenCallDep
from api.routes.shared.paging import NumberedPagesDep
from api.routes.shared.problems import JsonRoute
from api.server.deps import AskingDep, ContextDep, Number, plant_now
from scheduler.actions.base.context import Context, utc_text
from scheduler.actions.capacity import concessions as capacity_concessions
from scheduler.actions.capacity import notices, outages, tests
from scheduler.actions.capacity.opening import MOST_HOURS, opening_answer
from scheduler.actions.plan import planning
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.vessel import fleet
from scheduler.actions.work import breakdown
from scheduler.domain.capacity.concessions import Lower
from scheduler.domain.capacity.minimum import Swept
from scheduler.errors import Refused
from scheduler.storage.vessel import AssetKind
from scheduler.wording.capacity import OpeningWords

router = APIRouter(route_class=JsonRoute)


@router.get("/api/v1/plants/{plant_id}/capacity", tags=["plant"], summary="Available, minimum and margin over time")
def get_capacity(
    plant_id: str,
    context: ContextDep,
    who: AskingDep,
    from_at: Annotated[Instant | None, Query(alias="from")] = None,
    to_at: Annotated[Instant | None, Query(alias="to")] = None,
) -> answers.CapacityAnswer:
    """As planned: pumps down now and the slots of the taken plan (the proposed one if none is taken) are out."""
    now = plant_now(context, who, AssetKind.PLANT, plant_id)
    first, last = from_at or now.at, to_at or now.at + timedelta(days=context.settings.horizon_days)
    if last <= first:
        raise Refused("The period ends before it begins; give from and to as instants, to after from.")
    runs = margin_stretches(*_planned(now, context), _positions(now))
    rests_on = "taken plan" if now.taken else "proposed plan" if now.proposed else "no plan"
    return answers.CapacityAnswer.of(plant_id, rests_on, runs, first, last)


def _planned(now: PlantState, context: Context) -> tuple[Any, Any]:
    problem, plan = planning.as_now(now, context)
    return problem, plan.slots


def _positions(now: PlantState) -> Mapping[str, str]:
    return {p.id: now.position_name(now.plant.position_of(p.id, now.at)) for p in now.plant.pumps}


@router.get("/api/v1/pumps/{pump_id}/may-open", tags=["plant"], summary="May this pump be opened then?")
def may_open_pump(
    pump_id: str,
    context: ContextDep,
    who: AskingDep,
    at: Annotated[Instant | None, Query(description="from when; without it now")] = None,
    hours: Annotated[
        int | None,
        Query(ge=1, le=MOST_HOURS, description="of work; without it what the pump's most pressing job takes"),
    ] = None,
    vacuum_kpa: Annotated[
        float | None, Query(ge=0, lt=101.325, description="as the gauge stands now, kPa below atmosphere")
    ] = None,
) -> answers.MayOpenAnswer:
    """What capacity holds, until when and by how much, what ends it, and what is left if one more pump trips. Asking records
    nothing, and the answer is no permit."""
    now = plant_now(context, who, AssetKind.PUMP, pump_id)
    answer = opening_answer(context, now, pump_id, at=at, hours=hours, vacuum_kpa=vacuum_kpa)
    return answers.MayOpenAnswer.of(answer, OpeningWords(answer, now.plant, now.at, now.offset_minutes))


@router.post("/api/v1/pumps/{pump_id}/down", tags=["work"], summary="A pump is out of order")
def pump_down(pump_id: str, call: HandCallDep, body: DownBody) -> answers.MarginLeft:
    """A fact, never refused for capacity; the answer states the margin that is left, and a new plan is made."""
    place = call.place(AssetKind.PUMP, pump_id)
    answer = outages.pump_down(
        call.context, call.hand(body), place, at=body.at, reason=body.reason, expected_at=body.expected_at
    )
    return call.answered(answers.MarginLeft, answer)


@router.post("/api/v1/pumps/{pump_id}/back", tags=["work"], summary="A pump is back")
def pump_back(pump_id: str, call: HandCallDep, body: BackBody) -> answers.MarginLeft:
    """Passed: it counts in full. None: returned, not proved, it counts at the provisional derate. Failed: it stays down."""
    place = call.place(AssetKind.PUMP, pump_id)
    measured = None if body.measured_swept_m3_per_h is None else Swept(body.measured_swept_m3_per_h)
    answer = outages.pump_back(
        call.context, call.hand(body), place, at=body.at, reason=body.reason, test=body.test, measured=measured
    )
    return call.answered(answers.MarginLeft, answer)


@router.post("/api/v1/pumps/{pump_id}/test", tags=["work"], summary="A pump's pull-down test")
def pump_test(pump_id: str, call: HandCallDep, body: PumpTestBody) -> answers.PumpTestAnswer:
    """Swept volume and leak from the figures or the log. Passed: the pump counts for that; failed: for nothing."""
    place = call.place(AssetKind.PUMP, pump_id)
    figures = None if body.figures is None else tests.Figures(**body.figures.model_dump())
    told = tests.PullDown(**{**body.model_dump(exclude={"figures"}), "figures": figures})
    answer = tests.record_test(call.context, call.hand(body), place, told)
    return call.answered(answers.PumpTestAnswer, answer)


@router.get("/api/v1/plants/{plant_id}/concessions", tags=["plant"], summary="Lower minima asked for and agreed")
def concessions(
    plant_id: str, context: ContextDep, who: AskingDep, pages: NumberedPagesDep
) -> answers.ConcessionsAnswer:
    """Newest first, with who asked, who signed and who withdrew."""
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    rows = capacity_concessions.concessions_listed(context, place, pages.asked)
    found = pages.shown(rows, itemgetter("concession"))
    return answers.ConcessionsAnswer.model_validate({"plant": plant_id, "concessions": found})


@router.post(
    "/api/v1/plants/{plant_id}/concessions", status_code=201, tags=["plant"], summary="Ask for a lower minimum"
)
def ask_concession(plant_id: str, call: HandCallDep, body: ConcessionBody) -> answers.ConcessionAnswer:
    """For a stretch of time. It counts once chief engineer and second signer have both signed."""
    place = call.place(AssetKind.PLANT, plant_id)
    asked = Lower(
        from_at=body.from_at, to_at=body.to_at, minimum=Swept(body.minimum_swept_m3_per_h), reason=body.reason
    )
    answer = capacity_concessions.ask_concession(call.context, call.hand(body), place, asked)
    return call.answered(answers.ConcessionAnswer, answer)


@router.post("/api/v1/plants/{plant_id}/concessions/{number}/signature", tags=["plant"], summary="Sign a lower minimum")
def sign_concession(
    plant_id: str, number: Number, call: HandCallDep, body: ConcessionSignatureBody
) -> answers.ConcessionAnswer:
    """The chief engineer's side by the chief engineer, the office, or the master while the link is down; the second by a person with
    the role that the ship names (hotel, chief officer, master). Two people, each in the own sign-in or with the own key."""
    place = call.place(AssetKind.PLANT, plant_id)
    answer = capacity_concessions.sign_concession(call.context, call.hand(body), place, number, as_=body.as_)
    return call.answered(answers.ConcessionAnswer, answer)


@router.post(
    "/api/v1/plants/{plant_id}/concessions/{number}/withdrawal", tags=["plant"], summary="Withdraw a lower minimum"
)
def withdraw_concession(plant_id: str, number: Number, call: HandCallDep) -> answers.ConcessionAnswer:
    """From then on the plant's own minimum holds."""
    place = call.place(AssetKind.PLANT, plant_id)
    answer = capacity_concessions.withdraw_concession(call.context, call.hand({}), place, number)
    return call.answered(answers.ConcessionAnswer, answer)


@router.post(
    "/api/v1/pumps/{pump_id}/breakdowns", status_code=201, tags=["work"], summary="A pump failed: out, repair opened"
)
def open_breakdown(pump_id: str, call: HandCallDep, body: DownBody) -> answers.BreakdownAnswer:
    """The pump is out since then, its repair is a job that is worked in steps and closed like any other, without a due
    point. The answer states the margin that is left; the plant is planned again at once."""
    place = call.place(AssetKind.PUMP, pump_id)
    answer = breakdown.open_breakdown(
        call.context, call.hand(body), place, at=body.at, reason=body.reason, expected_at=body.expected_at
    )
    return call.answered(answers.BreakdownAnswer, answer, plan=breakdown.plan_again(call.context, place, soon=True))


@router.put("/api/v1/pumps/{pump_id}/expected-return", tags=["work"], summary="When a pump that is out is back")
def say_expected(pump_id: str, call: SeenCallDep, body: ExpectedBody) -> answers.ExpectedReturnAnswer:
    """As far as it is known; null: not known any more. Plans alone go by it; the present margin and the record never do.
    If-Match, where it is sent: the record that last said so (0: none since it went out); 412 with what is said by now."""
    place = call.place(AssetKind.PUMP, pump_id)
    answer = outages.say_expected(call.context, call.hand(body), place, body.expected_at, if_match=call.version())
    return call.answered(
        answers.ExpectedReturnAnswer, answer, plan=breakdown.plan_again(call.context, place, soon=True)
    )


@router.get("/api/v1/pumps/{pump_id}/notices", tags=["work"], summary="Who was told that a pump stopped")
def stop_notices(pump_id: str, context: ContextDep, who: AskingDep) -> answers.StopNoticesAnswer:
    """Of the stop that lasts; empty while the pump is not out. Those of earlier stops stand in the record."""
    stopped_at, found = notices.stop_notices(context, fleet.locate(context, who.actor, pump_id, AssetKind.PUMP))
    since = None if stopped_at is None else utc_text(stopped_at)
    shown = [notices.notice_members(one) for one in found]
    return answers.StopNoticesAnswer.model_validate({"pump": pump_id, "stopped_at": since, "notices": shown})


@router.post(
    "/api/v1/pumps/{pump_id}/notices", status_code=201, tags=["work"], summary="Somebody was told that a pump stopped"
)
def record_stop_notice(pump_id: str, call: HandCallDep, body: StopNoticeBody) -> answers.StopNoticeAnswer:
    """On record with who recorded it; told again is another record. The answer lists all of this stop."""
    place = call.place(AssetKind.PUMP, pump_id)
    return call.answered(
        answers.StopNoticeAnswer,
        notices.record_notice(call.context, call.hand(body), place, whom=body.whom, at=body.at),
    )


@router.post("/api/v1/pumps/{pump_id}/runs-after-all", tags=["work"], summary="A pump that was put out runs after all")
def runs_after_all(pump_id: str, call: HandCallDep, body: RunsBody) -> answers.RunsAfterAllAnswer:
    """Untouched: the stop stays on record with its minutes, and its repair is withdrawn."""
    place = call.place(AssetKind.PUMP, pump_id)
    answer = breakdown.runs_after_all(call.context, call.hand(body), place, at=body.at, reason=body.reason)
    return call.answered(answers.RunsAfterAllAnswer, answer, plan=breakdown.plan_again(call.context, place, soon=True))
