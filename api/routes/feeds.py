"""A person's own calendar addresses over the API."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse

from api.pages.feed.addresses import address_json, address_shown, must_fit
from api.routes.shared import bodies
from api.server.deps import AskingDep, ContextDep, reached_at
from scheduler.actions.feed import addresses
from scheduler.domain.base.enums import Role
from scheduler.errors import NotAllowed

router = APIRouter(prefix="/api/v1/feeds", tags=["feed"])
_ONCE = {"Cache-Control": "no-store"}


@router.post("", status_code=201, summary="A calendar address of your own")
def make_feed(context: ContextDep, who: AskingDep, request: Request, body: bodies.AddressBody) -> JSONResponse:
    """Shown this once; only its hash is stored. The key must belong to a person. Without a vessel: the whole fleet."""
    if body.vessel is not None:
        who.actor.must_reach(body.vessel, f"vessel {body.vessel}")
    base = reached_at(request, context)
    must_fit(base)
    made = addresses.make_address(
        context,
        who.actor,
        person_id=_person(who),
        vessel_id=body.vessel,
        label=body.label,
        alarms=body.alarms,
        alarm_hour=body.alarm_hour,
        days_ahead=body.days_ahead,
        kinds=body.kinds,
        days=body.days,
    )
    return JSONResponse(address_shown(base, made).as_json(), status_code=201, headers=_ONCE)


@router.get("", summary="Your calendar addresses")
def list_feeds(context: ContextDep, who: AskingDep) -> dict[str, Any]:
    """Without their secrets: what each shows, until when, and when and by what it was used last."""
    person = None if who.actor.role is Role.ADMIN and who.actor.person_id is None else _person(who)
    return {"feeds": [address_json(one) for one in addresses.addresses(context, who.actor, person)]}


@router.post("/{feed_id}/rotate", summary="A new secret for an address")
def rotate_feed(feed_id: str, context: ContextDep, who: AskingDep, request: Request) -> JSONResponse:
    """Programs that have the old one are told that it was withdrawn; the new one is shown this once."""
    base = reached_at(request, context)
    must_fit(base)
    return JSONResponse(address_shown(base, addresses.rotate(context, who.actor, feed_id)).as_json(), headers=_ONCE)


@router.delete("/{feed_id}", summary="Withdraw an address")
def revoke_feed(feed_id: str, context: ContextDep, who: AskingDep) -> dict[str, Any]:
    """For 30 days it serves a calendar that says so, then 410."""
    addresses.revoke(context, who.actor, feed_id)
    return {"id": feed_id, "state": "withdrawn"}


def _person(who: AskingDep) -> str:
    if who.actor.person_id is None:
        raise NotAllowed("A calendar address belongs to a person; this key does not. Use `leadline feed` aboard.")
    return who.actor.person_id
