"""The page of people and its forms. A link or a key stands in the answer to the form that asked for it, nowhere else."""

import re
import secrets
import unicodedata
from datetime import timedelta
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from api.pages.people.list_page import KeyOnce, LinkShown, PeopleView, people_page
from api.pages.shared import frame
from api.pages.shared.answers import page_answer
from api.pages.shared.forms import FormRefusal, FormState, PageForm, form_of
from api.pages.shared.frame import Frame
from api.routes.shared.fields import Fields
from api.server.deps import COMPUTER, Asking, AskingDep, ContextDep, lasting_cookie, reached_at
from scheduler.actions.base.context import Context
from scheduler.actions.people import computers, keys, managing, people
from scheduler.actions.vessel import fleet
from scheduler.actions.work import leaving
from scheduler.domain.base.enums import Role
from scheduler.domain.people.roles import FLEETWIDE, MANAGERS, PERSON_ROLES, may_manage
from scheduler.errors import NotFound, Refused
from scheduler.language import gettext as _

router = APIRouter(include_in_schema=False)

_ROLES = {role.value: role for role in PERSON_ROLES}
_NOT_LISTED_DAYS = 30
"""How long after its end a key is still listed."""


@router.get("/people")
def people_list(request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Who is aboard, where each is signed in, keys and shared computers."""
    return _answer(request, context, who, 200)


@router.post("/people")
async def change_people(request: Request, context: ContextDep, who: AskingDep) -> Response:
    """One of the page's forms; what was typed is kept when it is refused."""
    form = await form_of(request, who)

    def act() -> str | Response:
        return _do(request, context, who, form)

    def again(refused: FormRefusal) -> Response:
        name = f"{form['do']} {form['who']}"
        if form["do"] in ("rotate", "revoke", "unshare", "end", "back"):  # forms without fields: said above their list
            name = f"{'revoke' if form['do'] == 'rotate' else form['do']} "
        state = FormState(values=refused.values, faults=refused.faults, says=refused.error.says)
        return _answer(request, context, who, refused.status, refused=name, state=state)

    return await form.act(act, again)


def _do(request: Request, context: Context, who: Asking, form: PageForm) -> str | Response:
    what, (vessel, _slash, person) = form["do"], form["who"].partition("/")
    if what == "add":
        return _link(request, context, form, *_add(context, form))
    if what == "link":
        return _link(request, context, form, vessel, person)
    if what == "change":
        role = _role(form["role"])
        managing.change_person(context, form.hand(), vessel, person, name=form["name"], rank=form["rank"], role=role)
    elif what == "withdraw":
        says = leaving.withdraw_leaver(context, form.hand(), vessel, person).body.get("says")
        if says:
            return _answer(request, context, who, 200, says=says)
    elif what == "back":
        managing.take_back(context, form.hand(), vessel, person)
    elif what == "end":
        managing.end_session(context, who.actor, form["who"])
    elif what == "key":
        return _answer(request, context, who, 201, key=_make_key(context, who, form))
    elif what == "rotate":
        label = next((one.label for one in keys.keys_shown(context, who.actor) if one.prefix == form["who"]), "")
        made = keys.rotate_key(context, who.actor, form["who"], once=form.hand())
        return _answer(request, context, who, 201, key=KeyOnce(label=label, key=made, both_days=keys.BOTH_DAYS))
    elif what == "revoke":
        people.revoke_key(context, who.actor, form["who"])
    elif what == "share":
        secret = computers.share_computer(context, who.actor, who.actor.vessel_id or "", form["label"])
        answer = RedirectResponse("/people#shared", 303)
        lasting_cookie(answer, request, context, COMPUTER, secret)
        return answer
    elif what == "unshare":
        computers.withdraw_computer(context, who.actor, form["who"])
    else:
        raise Refused(_("This form is not known here. Load the page again."))
    return "/people"


def _add(context: Context, form: PageForm) -> tuple[str, str]:
    """Make the person known; vessel and id."""
    person, vessel = form["id"] or short_name(form["name"]), form["vessel"]
    people.add_person(
        context,
        form.hand(),
        person_id=person,
        name=form["name"],
        rank=form["rank"],
        role=_role(form["role"]),
        vessel_id=vessel or None,
    )
    return vessel, person


def short_name(name: str) -> str:
    """An id made of a name: small letters, digits and hyphens, at most 63.

    >>> short_name("Á. Sécond-Demo ")
    'a-second-demo'
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:63].rstrip("-")


def _role(text: str) -> Role:
    if text not in _ROLES:
        raise Refused(
            _("role: choose what this person may do."), faults=[("/role", _("Choose what this person may do."))]
        )
    return _ROLES[text]


def _link(request: Request, context: Context, form: PageForm, vessel: str, person: str) -> Response:
    who, key = form.who, form["idempotency_key"]
    base = reached_at(request, context)
    shown = next(
        (one for one in managing.people_shown(context, who.actor) if (one.vessel_id, one.id) == (vessel, person)), None
    )
    if shown is None:
        raise NotFound(_("There is no such person here. Load the page again."))
    token = people.make_link(context, person, vessel, who.actor, form.hand(key=f"{key}-link") if key else None)
    until_at = context.now() + timedelta(minutes=context.settings.link_minutes)
    link = LinkShown(name=shown.name, link=f"{base}/enter/{token}", until_at=until_at)
    return _answer(request, context, who, 201, link=link)


def _make_key(context: Context, who: Asking, form: PageForm) -> KeyOnce:
    fields = Fields(form.values)
    days = fields.whole("days")
    fields.check(_("A whole number is expected, or nothing."))
    vessel, _slash, person = form["whose"].partition("/")
    role, where = Role.COUNTER, who.actor.vessel_id or form["vessel"] or None
    if form["whose"] == Role.SHIP.value:
        role, where = Role.SHIP, form["ship"].strip() or None
    elif person:
        found = next(
            (one for one in managing.people_shown(context, who.actor) if (one.vessel_id, one.id) == (vessel, person)),
            None,
        )
        if found is None:
            raise NotFound(_("There is no such person here. Load the page again."))
        role, where = found.role, vessel or None
    made = people.add_key(
        context,
        who.actor,
        role=role,
        label=form["label"],
        vessel_id=where,
        person_id=person or None,
        days=days,
        once=form.hand(),
    )
    return KeyOnce(label=" ".join(form["label"].split()), key=made)


def _answer(request: Request, context: Context, who: Asking, status: int, **members: Any) -> Response:
    now, actor = context.now(), who.actor
    since = now - timedelta(days=_NOT_LISTED_DAYS)
    vessels = [(vessel.id, vessel.name) for vessel, _ in fleet.list_vessels(context, actor)]
    manages = actor.role in MANAGERS and who.csrf is not None
    view = PeopleView(
        frame=_frame(context, who, vessels),
        now_at=now,
        people=managing.people_shown(context, actor),
        keys=[one for one in keys.keys_shown(context, actor) if _ended_at(one, now) >= since],
        computers=[one for vessel, _ in vessels for one in computers.shared_computers(context, vessel)],
        vessels=vessels,
        roles=[role for role in PERSON_ROLES if may_manage(actor.role, role) and _fits(role, actor.vessel_id)],
        may_manage=manages,
        ships_keys=manages and actor.role in FLEETWIDE,
        own_vessel=actor.vessel_id,
        this_computer=computers.this_computer(context, request.cookies.get(COMPUTER, "")),
        idempotency_key=secrets.token_hex(16),
        **members,
    )
    return page_answer(request, who, people_page, view, status)


def _fits(role: Role, vessel_id: str | None) -> bool:
    """Chiefs make people of their own ship; a role of the installation is given by the office or an admin."""
    return vessel_id is None or role not in FLEETWIDE


def _ended_at(one: keys.KeyShown, now: Any) -> Any:
    return min((at for at in (one.revoked_at, one.expires_at) if at is not None), default=now)


def _frame(context: Context, who: Asking, vessels: list[tuple[str, str]]) -> Frame:
    if who.actor.vessel_id is not None and vessels:
        return frame.vessel_frame(context, who, vessels[0][0], "/people", _("People"), "people")
    return Frame(
        title=_("People · Leadline"),
        here="/people",
        links=frame.fleet_links("/people", who),
        now_at=context.now(),
        **frame.who_frame(who),
    )
