"""The page of a plant's minimum and its forms: each becomes the same action as the API's."""

import secrets
from datetime import timedelta

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.pages.capacity.page import WIDE_DAYS, MinimumView, minimum_page
from api.pages.shared import frame
from api.pages.shared.answers import page_answer
from api.pages.shared.forms import FormRefusal, FormState, PageForm, form_of
from api.pages.shared.margin import MarginStretch
from api.routes.shared.fields import Fields
from api.server.deps import Asking, AskingDep, ContextDep
from scheduler.actions.base.context import Answer, Context
from scheduler.actions.capacity import concessions as capacity_concessions
from scheduler.actions.plant_state.load import PlantState, plant_state
from scheduler.actions.vessel import fleet
from scheduler.domain.capacity.concessions import SECOND_SIGNERS, Lower
from scheduler.domain.capacity.minimum import Concession, Swept
from scheduler.domain.due.deciding import DECIDES
from scheduler.errors import Refused
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.planning.problem.shiphours import HOUR, minimum_stretches
from scheduler.storage.vessel import AssetKind

router = APIRouter(include_in_schema=False)
DONE = {
    "ask": marked("Asked, and on record. It counts once both sides have signed."),
    "chief": marked("Signed, and on record."),
    "second": marked("Signed, and on record."),
    "withdraw": marked("Withdrawn, and on record: the plant's own minimum holds."),
}


@router.get("/plants/{plant_id}/minimum")
def minimum(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The page."""
    done = DONE.get(request.query_params.get("done", ""))
    return _answer(request, context, who, plant_id, done=_(done) if done else "")


@router.post("/plants/{plant_id}/minimum")
async def act(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """One of the page's forms; what was typed is kept when it is refused."""
    form = await form_of(request, who)

    def done() -> str:
        _do(context, who, plant_id, form)
        done = "second" if form["do"] in SECOND_SIGNERS else form["do"]
        return f"/plants/{plant_id}/minimum?done={done}"

    def again(refused: FormRefusal) -> Response:
        return _answer(request, context, who, plant_id, refused=refused)

    return await form.act(done, again, fields={"minimum_swept_m3_per_h": "minimum"})


def _do(context: Context, who: Asking, plant_id: str, form: PageForm) -> Answer:
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    hand, what = form.hand(), form["do"]
    if what == "ask":
        lower = _lower(Fields(form.values, fleet.offset_now(context, place.vessel_id)))
        return capacity_concessions.ask_concession(context, hand, place, lower)
    number = form.number
    if what in ("chief", *SECOND_SIGNERS):
        form.must_name_nobody("name", "master")
        return capacity_concessions.sign_concession(context, hand, place, number, as_=what)
    if what == "withdraw":
        frame.must_pass(
            who, "POST", "/api/v1/plants/{plant_id}/concessions/{number}/withdrawal", "withdraw a lower minimum"
        )
        return capacity_concessions.withdraw_concession(context, hand, place, number)
    raise Refused(_("{what} is none of the page's forms.").format(what=f"{what[:40]!r}"))


def _lower(fields: Fields) -> Lower:
    """The request as typed.

    Raises:
        Refused: with a fault for each field that cannot be read.
    """
    from_at, to_at = fields.instant("from_at"), fields.instant("to_at")
    minimum = fields.figure("minimum", empty=_("this is empty; a figure in swept m3/h is expected."))
    fields.check(_("The request cannot be read; correct what is marked."))
    assert from_at is not None
    assert to_at is not None
    assert minimum is not None
    return Lower(from_at=from_at, to_at=to_at, minimum=Swept(minimum), reason=fields.text("reason"))


def _answer(
    request: Request,
    context: Context,
    who: Asking,
    plant_id: str,
    *,
    done: str = "",
    refused: FormRefusal | None = None,
) -> Response:
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    now = plant_state(context, place.vessel_id, plant_id)
    here = f"/plants/{plant_id}/minimum"
    view = MinimumView(
        frame=frame.frame_of(now, who, here, _("Minimum"), "minimum"),
        plant=now.plant,
        now_at=now.at,
        action=here,
        plant_href=f"/plants/{plant_id}",
        concessions=now.concessions,
        margins=_margins(now, now.concessions),
        own=_margins(now, ()),
        listed=capacity_concessions.concessions_listed(context, place),
        may_ask=frame.may(who, "POST", "/api/v1/plants/{plant_id}/concessions"),
        may_sign=who.actor.role in DECIDES,
        signs_as=who.actor.role.value,
        done=done,
        refused=refused.form_name if refused else "",
        **(refused.state if refused else FormState()).members,
        idempotency_key=secrets.token_hex(12),
    )
    return page_answer(request, who, minimum_page, view, refused.status if refused else 200)


def _margins(now: PlantState, concessions: tuple[Concession, ...]) -> tuple[MarginStretch, ...]:
    """The minimum of the coming days in touching stretches, on the planner's grid; as if capacity just held it."""
    starts_at = now.at.replace(minute=0, second=0, microsecond=0)
    return tuple(
        MarginStretch(
            from_at=starts_at + one.from_step * HOUR,
            to_at=starts_at + one.to_step * HOUR,
            available_m3_per_h=one.litres_per_h / 1000,
            minimum_m3_per_h=one.litres_per_h / 1000,
            minimum_label=one.label,
        )
        for one in minimum_stretches(
            now.plant, starts_at, (WIDE_DAYS + 1) * (timedelta(days=1) // HOUR), now.offset_minutes, concessions
        )
    )
