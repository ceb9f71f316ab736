"""The doors of the page Ships: how the line of each ship that writes aboard stands, and which life goes on where two parted."""

import secrets

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.pages.shared import frame
from api.pages.shared.answers import page_answer
from api.pages.shared.forms import FormRefusal, FormState, form_of
from api.pages.shared.frame import Frame
from api.pages.ships.page import ShipsView, ships_page
from api.server.deps import Asking, AskingDep, ContextDep
from scheduler.actions.base.context import Context
from scheduler.actions.care.ships_seen import ships_seen
from scheduler.actions.shore.parted import LifeAnswer, answer_parted, lost_records
from scheduler.errors import Refused
from scheduler.language import gettext as _

router = APIRouter(include_in_schema=False)


@router.get("/ships")
def ships(request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Each ship that writes aboard: last heard, what waits, what stands against taking."""
    return _answer(request, context, who)


@router.post("/ships/{ship}/life")
async def answer_life(ship: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Which life goes on; what was typed is kept when it is refused."""
    form = await form_of(request, who)

    def act() -> str:
        if form["answer"] not in [one.value for one in LifeAnswer]:
            says = _("Choose which one goes on.")
            raise Refused(says, faults=[("/answer", says)])
        answer_parted(context, form.hand(), ship, LifeAnswer(form["answer"]), form["reason"])
        return "/ships"

    return await form.act(act, lambda refused: _answer(request, context, who, ship, refused))


def _answer(
    request: Request, context: Context, who: Asking, ship: str = "", refused: FormRefusal | None = None
) -> Response:
    found = ships_seen(context, who.actor.vessel_id)
    view = ShipsView(
        frame=Frame(
            title=_("Ships · Leadline"),
            here="/ships",
            links=frame.fleet_links("/ships", who),
            now_at=context.now(),
            **frame.who_frame(who),
        ),
        now_at=context.now(),
        ships=found,
        lost={one.vessel_id: lost_records(context, who.actor, one.vessel_id) for one in found if one.lost},
        may_answer=frame.may(who, "POST", "/ships/{ship}/life") and who.csrf is not None,
        once=secrets.token_hex(12),
        refused=ship,
        form=refused.state if refused else FormState(),
    )
    return page_answer(request, who, ships_page, view, refused.status if refused else 200)
