"""The page of a person's calendar addresses: a secret stands in the answer to the form that asked for it, nowhere else."""

import secrets
from datetime import timedelta
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.pages.feed.addresses import address_shown, must_fit
from api.pages.feed.page import AddressesView, AddressForm, addresses_page
from api.pages.shared import frame
from api.pages.shared.answers import page_answer
from api.pages.shared.forms import FormRefusal, PageForm, form_of
from api.pages.shared.frame import Frame
from api.routes.shared.fields import Fields
from api.server.deps import Asking, AskingDep, ContextDep, reached_at
from scheduler.actions.base.context import Context
from scheduler.actions.feed import addresses, calendars, refresh
from scheduler.actions.vessel import fleet
from scheduler.domain.feed.scope import ALARM_HOUR, Scope
from scheduler.domain.vessel.document import Vessel
from scheduler.errors import NotAllowed
from scheduler.language import gettext as _

router = APIRouter(include_in_schema=False)


@router.get("/feeds")
def feeds(request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Addresses in use, and the form for a new one."""
    return _answer(request, context, who, 200)


@router.post("/feeds")
async def make(request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Make an address; the answer shows it this once."""
    form = await form_of(request, who)
    kinds = frozenset(str(code) for code in form.data.getlist("kinds"))

    def act() -> Response:
        base = reached_at(request, context)
        must_fit(base)
        made = _make(context, form, kinds)
        return _answer(request, context, who, 201, made=address_shown(base, made))

    def again(refused: FormRefusal) -> Response:
        entered = AddressForm(values=form.values, kinds=kinds, says=refused.error.says, faults=refused.faults)
        return _answer(request, context, who, refused.status, form=entered)

    return await form.act(act, again)


@router.post("/feeds/{feed_id}/rotate")
async def rotate(feed_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """A new secret for an address; the answer shows it this once."""
    form = await form_of(request, who)

    def act() -> Response:
        base = reached_at(request, context)
        must_fit(base)
        made = address_shown(base, addresses.rotate(context, who.actor, feed_id, once=form.hand()))
        return _answer(request, context, who, 200, made=made, changed=True)

    return await form.act(act)


@router.post("/feeds/{feed_id}/revoke")
async def revoke(feed_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Withdraw an address."""
    form = await form_of(request, who)

    def act() -> str:
        addresses.revoke(context, who.actor, feed_id)
        return "/feeds"

    return await form.act(act)


def _make(context: Context, form: PageForm, kinds: frozenset[str]) -> addresses.Made:
    who, fields = form.who, Fields(form.values)
    days, ahead, hour = (fields.whole(name) for name in ("days", "days_ahead", "alarm_hour"))
    fields.check(_("A whole number is expected, or nothing."))
    return addresses.make_address(
        context,
        who.actor,
        person_id=_person(who),
        vessel_id=fields.text("vessel") or who.actor.vessel_id,
        label=fields.text("label"),
        alarms=bool(fields.text("alarms")),
        kinds=sorted(kinds) or None,
        days=days,
        alarm_hour=ALARM_HOUR if hour is None else hour,
        days_ahead=ahead,
        once=form.hand(),
    )


def _person(who: Asking) -> str:
    if who.actor.person_id is None:
        raise NotAllowed(_("Calendar addresses belong to a person; this key does not."))
    return who.actor.person_id


def _answer(request: Request, context: Context, who: Asking, status: int, **members: Any) -> Response:
    listed_from = context.now() - timedelta(days=addresses.WITHDRAWN_DAYS)
    mine = [
        one
        for one in addresses.addresses(context, who.actor, _person(who))
        if (one.ended_at or listed_from) >= listed_from
    ]
    reached = [vessel for vessel, _ in fleet.list_vessels(context, who.actor)]
    names = {vessel.id: vessel.name for vessel in reached}
    kinds = {kind.code: kind.name for vessel in reached for plant in vessel.plants for kind in plant.job_kinds}
    bodies = ((vessel, calendars.last_good(context, Scope(vessel_id=vessel.id))) for vessel in reached)
    view = AddressesView(
        frame=_frame(context, who, reached),
        now_at=context.now(),
        idempotency_key=secrets.token_hex(16),
        base_url=reached_at(request, context),
        addresses=mine,
        vessels=list(names.items()),
        fleet=who.actor.vessel_id is None,
        kinds=sorted(kinds.items(), key=lambda pair: pair[1]),
        served=[(vessel.name, body.made_at, body.changed_at) for vessel, body in bodies if body is not None],
        trouble=[(names[one], since_at) for one, (_, since_at) in refresh.trouble(context).items() if one in names],
        **members,
    )
    return page_answer(request, who, addresses_page, view, status)


def _frame(context: Context, who: Asking, reached: list[Vessel]) -> Frame:
    if who.actor.vessel_id is not None and reached:
        return frame.vessel_frame(context, who, reached[0].id, "/feeds", _("Calendar addresses"), "feed")
    return Frame(
        title=_("Calendar addresses · Leadline"),
        here="/feeds",
        links=frame.fleet_links("/feeds", who),
        now_at=context.now(),
        **frame.who_frame(who),
    )
