"""The page of a person's calendar addresses: a secret stands in the answer to the form that asked for it, nowhere else."""

from datetime import timedelta
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from api.pages.feed.addresses import address_shown, must_fit
from api.pages.feed.page import AddressesView, AddressForm, addresses_page
from api.pages.shared import build
from api.pages.shared.view import Frame, Link
from api.server.deps import Asking, AskingDep, ContextDep, must_be_own_form, reached_at
from api.server.page_answers import light_of, page
from scheduler.actions.base.context import Context
from scheduler.actions.feed import addresses, calendars, refresh
from scheduler.actions.vessel import fleet
from scheduler.domain.feed.scope import ALARM_HOUR, Scope
from scheduler.domain.vessel.document import Vessel
from scheduler.errors import NotAllowed, Refused

router = APIRouter(include_in_schema=False)


@router.get("/feeds")
def feeds(request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Addresses in use, and the form for a new one."""
    return _shown(request, context, who, 200)


@router.post("/feeds")
async def make(request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Make an address; the answer shows it this once."""
    form = await request.form()
    must_be_own_form(who, form.get("csrf"))
    typed = {
        name: str(form.get(name, "")).strip()
        for name in ("vessel", "label", "days", "alarms", "alarm_hour", "days_ahead")
    }
    kinds = frozenset(str(code) for code in form.getlist("kinds"))

    def act() -> Response:
        try:
            base = reached_at(request, context)
            must_fit(base)
            made = _make(context, who, typed, kinds)
        except Refused as refused:
            again = AddressForm(values=typed, kinds=kinds, says=refused.says, faults=_at(refused))
            return _shown(request, context, who, 422, form=again)
        told = address_shown(base, made)
        return _shown(request, context, who, 201, made=told)

    return await run_in_threadpool(act)


@router.post("/feeds/{feed_id}/rotate")
async def rotate(feed_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """A new secret for an address; the answer shows it this once."""
    must_be_own_form(who, (await request.form()).get("csrf"))

    def act() -> Response:
        base = reached_at(request, context)
        must_fit(base)
        made = address_shown(base, addresses.rotate(context, who.actor, feed_id))
        return _shown(request, context, who, 200, made=made, changed=True)

    return await run_in_threadpool(act)


@router.post("/feeds/{feed_id}/revoke")
async def revoke(feed_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Withdraw an address."""
    must_be_own_form(who, (await request.form()).get("csrf"))
    await run_in_threadpool(addresses.revoke, context, who.actor, feed_id)
    return RedirectResponse("/feeds", 303)


def _make(context: Context, who: Asking, typed: dict[str, str], kinds: frozenset[str]) -> addresses.Made:
    days, ahead, hour = (_whole(typed, name) for name in ("days", "days_ahead", "alarm_hour"))
    return addresses.make_address(
        context,
        who.actor,
        person_id=_person(who),
        vessel_id=typed["vessel"] or who.actor.vessel_id,
        label=typed["label"],
        alarms=bool(typed["alarms"]),
        kinds=sorted(kinds) or None,
        days=days,
        alarm_hour=ALARM_HOUR if hour is None else hour,
        days_ahead=ahead,
    )


def _whole(typed: dict[str, str], name: str) -> int | None:
    """The whole number typed in a field, none when it is empty. Raises Refused when it is none."""
    text = typed[name]
    if text and not (text.isascii() and text.isdigit()):
        says = "A whole number is expected, or nothing."
        raise Refused(says, faults=[(f"/{name}", says)])
    return int(text[:9]) if text else None


def _at(refused: Refused) -> dict[str, str]:
    return {pointer.lstrip("/"): says for pointer, says in refused.faults}


def _person(who: Asking) -> str:
    if who.actor.person_id is None:
        raise NotAllowed("Calendar addresses belong to a person; this key does not.")
    return who.actor.person_id


def _shown(request: Request, context: Context, who: Asking, status: int, **told: Any) -> Response:
    told_till = context.now() - timedelta(days=addresses.WITHDRAWN_DAYS)
    mine = [
        one for one in addresses.addresses(context, who.actor, _person(who)) if (one.ended_at or told_till) >= told_till
    ]
    reached = [vessel for vessel, _ in fleet.list_vessels(context, who.actor)]
    names = {vessel.id: vessel.name for vessel in reached}
    kinds = {kind.code: kind.name for vessel in reached for plant in vessel.plants for kind in plant.job_kinds}
    bodies = ((vessel, calendars.last_good(context, Scope(vessel_id=vessel.id))) for vessel in reached)
    view = AddressesView(
        frame=_frame(context, who, reached),
        now_at=context.now(),
        base_url=reached_at(request, context),
        addresses=mine,
        vessels=list(names.items()),
        fleet=who.actor.vessel_id is None,
        kinds=sorted(kinds.items(), key=lambda pair: pair[1]),
        served=[(vessel.name, body.made_at, body.changed_at) for vessel, body in bodies if body is not None],
        trouble=[(names[one], since_at) for one, (_, since_at) in refresh.trouble(context).items() if one in names],
        **told,
    )
    return page(addresses_page(view, light=light_of(request), csrf=who.csrf or ""), status)


def _frame(context: Context, who: Asking, reached: list[Vessel]) -> Frame:
    if who.actor.vessel_id is not None and reached:
        return build.vessel_frame(context, who, reached[0].id, "/feeds", "Calendar addresses", "feed")
    links = (Link(label="Feed", href="/feeds", current=True), Link(label="Fleet", href="/?all=1"))
    return Frame(
        title="Calendar addresses · Leadline",
        here="/feeds",
        links=links,
        now_at=context.now(),
        person=who.actor.name,
        sign_out_action="/sign-out",
    )
