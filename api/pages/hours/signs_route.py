"""The page of what the hours say, and its forms: each becomes the same action as the API's."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.pages.hours.signs import signs_page, signs_view
from api.pages.shared.answers import page_answer
from api.pages.shared.forms import FormRefusal, PageForm, form_of
from api.routes.shared.fields import Fields
from api.server.deps import Asking, AskingDep, ContextDep
from scheduler.actions.base.context import Context
from scheduler.actions.due.sooner import days_sooner
from scheduler.actions.hours.sign_answers import AnswerAsked, answer_sign, undo_sign_answer
from scheduler.actions.hours.signs import folded_plant
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.vessel import fleet
from scheduler.errors import Refused
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.storage.vessel import AssetKind

router = APIRouter(include_in_schema=False)
DONE = {"answer": marked("Answered, and on record."), "undo": marked("Taken back, and on record.")}


@router.get("/plants/{plant_id}/signs")
def signs(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The page."""
    done = DONE.get(request.query_params.get("done", ""))
    return _shown(request, context, who, plant_id, done=_(done) if done else "")


@router.post("/plants/{plant_id}/signs")
async def act(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """An answer, or one taken back; what was typed is kept when it is refused."""
    form = await form_of(request, who)

    def done() -> str:
        _do(context, who, plant_id, form)
        return f"/plants/{plant_id}/signs?done={form['do']}"

    def again(refused: FormRefusal) -> Response:
        return _shown(request, context, who, plant_id, refused=refused)

    return await form.act(done, again)


def _do(context: Context, who: Asking, plant_id: str, form: PageForm) -> None:
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    match form["do"]:
        case "answer":
            fields = Fields(form.values)
            until = fields.day("until_on")
            fields.check()
            asked = AnswerAsked(cause=form["cause"], text=form["text"], until_on=until)
            answer_sign(context, form.hand(), place, form.number, asked)
        case "undo":
            undo_sign_answer(context, form.hand(), place, form.number, form["reason"])
        case other:
            raise Refused(_("{other} is none of the page's forms.").format(other=f"{other[:40]!r}"))


def _shown(
    request: Request,
    context: Context,
    who: Asking,
    plant_id: str,
    *,
    done: str = "",
    refused: FormRefusal | None = None,
) -> Response:
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    folded = folded_plant(context, place.vessel_id, place.id)
    now = plant_state(context, place.vessel_id, place.id)
    found = folded.facts()
    sooner = None if found.plant_sign is None else days_sooner(context, now, found.plant_sign)
    view = signs_view(now, folded, found, sooner, who, done=done, refused=refused)
    return page_answer(request, who, signs_page, view, refused.status if refused else 200)
