"""The page of the points that a pump has not, and its forms: each becomes the same action as the API's."""

import secrets

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.pages.shared import frame
from api.pages.shared.answers import page_answer
from api.pages.shared.forms import FormRefusal, FormState, PageForm, form_of
from api.pages.work.points_page import PointsView, points_page
from api.server.deps import Asking, AskingDep, ContextDep
from scheduler.actions.base.context import Answer, Context
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.vessel import fleet
from scheduler.actions.work import points
from scheduler.domain.vessel.isolation import PointRole
from scheduler.errors import Refused
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.storage.vessel import AssetKind
from scheduler.wording.names import pump_words

router = APIRouter(include_in_schema=False)
_SAY = "/api/v1/pumps/{pump_id}/points"
DONE = {
    "say": marked("Said, and on record. It counts once office or master has signed, from the next day on."),
    "sign": marked("Signed, and on record. It counts for work begun from tomorrow on."),
    "withdraw": marked("Withdrawn, and on record: the point is asked for again."),
}


@router.get("/pumps/{pump_id}/points")
def not_fitted(pump_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The page."""
    return _answer(
        request, context, who, pump_id, done=_(done) if (done := DONE.get(request.query_params.get("done", ""))) else ""
    )


@router.post("/pumps/{pump_id}/points")
async def act_on_points(pump_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """One of the page's forms; what was typed is kept when it is refused."""
    form = await form_of(request, who)

    def done() -> str:
        _do(context, who, pump_id, form)
        return f"/pumps/{pump_id}/points?done={form['do']}"

    def again(refused: FormRefusal) -> Response:
        return _answer(request, context, who, pump_id, refused=refused)

    return await form.act(done, again)


def _do(context: Context, who: Asking, pump_id: str, form: PageForm) -> Answer:
    place, hand, what = fleet.locate(context, who.actor, pump_id, AssetKind.PUMP), form.hand(), form["do"]
    if what == "say":
        frame.must_pass(who, "POST", _SAY, "say that a point is not fitted")
        return points.say_not_fitted(context, hand, place, form["point"], form["reason"])
    if what == "sign":
        frame.must_pass(who, "POST", f"{_SAY}/{{number}}/signature", "sign a point as not fitted")
        return points.sign_not_fitted(context, hand, place, form.number, as_=who.actor.role.value)
    if what == "withdraw":
        frame.must_pass(who, "POST", f"{_SAY}/{{number}}/withdrawal", "withdraw a point that is not fitted")
        return points.withdraw_not_fitted(context, hand, place, form.number)
    raise Refused(_("{what} is none of the page's forms.").format(what=f"{what[:40]!r}"))


def _answer(
    request: Request,
    context: Context,
    who: Asking,
    pump_id: str,
    *,
    done: str = "",
    refused: FormRefusal | None = None,
) -> Response:
    place = fleet.locate(context, who.actor, pump_id, AssetKind.PUMP)
    now = plant_state(context, place.vessel_id, place.plant_id)
    listed, here, role = points.points_listed(context, place), f"/pumps/{pump_id}/points", who.actor.role.value
    said = {one["point"] for one in listed if one["state"] != "withdrawn"}
    always = [one.name for one in now.plant.points if one.role is PointRole.SUPPLY]
    view = PointsView(
        frame=frame.frame_of(now, who, here, _("Points not fitted"), "pumps"),
        pump=pump_words(now.plant, now.at, pump_id),
        record_href=f"/pumps/{pump_id}/record",
        action=here,
        points=[one.name for one in now.plant.points if one.name not in (*said, *always)],
        always=always,
        listed=listed,
        may_say=frame.may(who, "POST", _SAY),
        signs_as=role if role in points.AS else "",
        person_name=who.actor.name,
        done=done,
        refused=refused.form_name if refused else "",
        **(refused.state if refused else FormState()).members,
        idempotency_key=secrets.token_hex(12),
    )
    return page_answer(request, who, points_page, view, refused.status if refused else 200)
