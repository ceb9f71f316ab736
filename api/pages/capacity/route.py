"""The page of a plant's minimum and its forms: each becomes the same action as the API's."""

import secrets
from collections.abc import Mapping
from datetime import timedelta

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from api.pages.capacity.page import WIDE_DAYS, MinimumView, minimum_page
from api.pages.shared import build
from api.pages.shared.view import MarginStretch
from api.server.deps import Asking, AskingDep, ContextDep, must_be_own_form
from api.server.errors import STATUS
from api.server.page_answers import light_of, page
from scheduler.actions.base.context import Answer, Context, Hand
from scheduler.actions.capacity import concessions as capacity_concessions
from scheduler.actions.plant_state.load import PlantState, plant_state
from scheduler.actions.vessel import fleet
from scheduler.domain.capacity.concessions import SECOND_SIGNERS, Lower
from scheduler.domain.capacity.minimum import Concession, Swept
from scheduler.domain.due.deciding import DECIDES
from scheduler.errors import Clash, NotAllowed, NotFound, Refused
from scheduler.parsing import figure, ship_instant, whole_number
from scheduler.planning.problem.shiphours import HOUR, minimum_stretches
from scheduler.storage.vessel import AssetKind

router = APIRouter(include_in_schema=False)
DONE = {
    "ask": "Asked, and on record. It counts once both sides have signed.",
    "chief": "Signed as chief, and on record.",
    **dict.fromkeys(SECOND_SIGNERS, "The second signature is on record."),
    "withdraw": "Withdrawn, and on record: the plant's own minimum holds.",
}
_FIELDS = {"minimum_swept_m3_per_h": "minimum"}


@router.get("/plants/{plant_id}/minimum")
def minimum(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The page."""
    return _shown(request, context, who, plant_id, done=DONE.get(request.query_params.get("done", ""), ""))


@router.post("/plants/{plant_id}/minimum")
async def act(plant_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """One of the page's forms; what was typed is kept when it is refused."""
    form = await request.form()
    must_be_own_form(who, form.get("csrf"))
    typed = {name: str(value).strip() for name, value in form.items()}

    def done() -> Response:
        what = typed.get("do", "")
        try:
            _do(context, who, plant_id, what, typed)
        except (Refused, Clash, NotAllowed, NotFound) as refused:
            faults = {_field(pointer): says for pointer, says in refused.faults}
            return _shown(
                request,
                context,
                who,
                plant_id,
                STATUS[type(refused)][0],
                refused=f"{what}{typed.get('number', '')}",
                values=typed,
                faults=faults,
                says="" if faults else refused.says,
            )
        return RedirectResponse(f"/plants/{plant_id}/minimum?done={what}", 303)

    return await run_in_threadpool(done)


def _field(pointer: str) -> str:
    name = pointer.lstrip("/")
    return _FIELDS.get(name, name)


def _do(context: Context, who: Asking, plant_id: str, what: str, typed: Mapping[str, str]) -> Answer:
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    asked = {"route": f"POST /plants/{plant_id}/minimum", "body": {k: v for k, v in typed.items() if k != "csrf"}}
    hand = Hand(who.actor, typed.get("idempotency_key", ""), asked)
    if what == "ask":
        return capacity_concessions.ask_concession(
            context, hand, place, _lower(typed, fleet.offset_now(context, place.vessel_id))
        )
    number = whole_number("number", typed.get("number", ""))
    if what in ("chief", *SECOND_SIGNERS):
        name, master = typed.get("name", "")[:200], typed.get("master", "")[:200]
        return capacity_concessions.sign_concession(context, hand, place, number, as_=what, name=name, master=master)
    if what == "withdraw":
        return capacity_concessions.withdraw_concession(context, hand, place, number)
    raise Refused(f"{what[:40]!r} is none of the page's forms.")


def _lower(typed: Mapping[str, str], clock: int) -> Lower:
    """The request as typed.

    Raises:
        Refused: with a fault for each field that cannot be read.
    """
    faults: list[tuple[str, str]] = []
    times = {}
    for name in ("from_at", "to_at"):
        try:
            times[name] = ship_instant(name, typed.get(name, ""), typed.get("utc_offset_minutes", ""), clock)
        except Refused as refused:
            faults += refused.faults
    wanted, says = None, "this is empty; a figure in swept m3/h is expected."
    try:
        wanted = figure(typed.get("minimum", ""))
    except ValueError as error:
        says = str(error)
    if wanted is None:
        faults.append(("/minimum", says))
    if faults or wanted is None:
        raise Refused("The request cannot be read; correct what is marked.", faults=faults)
    return Lower(
        from_at=times["from_at"],
        to_at=times["to_at"],
        minimum=Swept(wanted),
        reason=typed.get("reason", "")[:1000],
    )


def _shown(
    request: Request,
    context: Context,
    who: Asking,
    plant_id: str,
    status: int = 200,
    *,
    done: str = "",
    refused: str = "",
    values: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
    says: str = "",
) -> Response:
    place = fleet.locate(context, who.actor, plant_id, AssetKind.PLANT)
    now = plant_state(context, place.vessel_id, plant_id)
    here = f"/plants/{plant_id}/minimum"
    view = MinimumView(
        frame=build.frame_of(now, who, here, "Minimum", "minimum"),
        plant=now.plant,
        now_at=now.at,
        action=here,
        plant_href=f"/plants/{plant_id}",
        concessions=now.concessions,
        runs=_runs(now, now.concessions),
        own=_runs(now, ()),
        listed=capacity_concessions.concessions_listed(context, place),
        may_ask=build.may(who, "POST", "/plants/{plant_id}/minimum"),
        may_sign=who.actor.role in DECIDES,
        done=done,
        refused=refused,
        values=values or {},
        faults=faults or {},
        says=says,
        idempotency_key=secrets.token_hex(12),
    )
    return page(minimum_page(view, light=light_of(request), csrf=who.csrf or ""), status)


def _runs(now: PlantState, concessions: tuple[Concession, ...]) -> tuple[MarginStretch, ...]:
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
