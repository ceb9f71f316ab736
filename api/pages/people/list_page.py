"""The page of people: its view, its words and its drawing into HTML. Values in, text out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from api.pages.shared import qr
from api.pages.shared.codes import code_words
from api.pages.shared.forms import FormState
from api.pages.shared.frame import Frame
from api.pages.shared.layout import render
from scheduler.actions.people.computers import ComputerShown
from scheduler.actions.people.keys import KeyShown
from scheduler.actions.people.managing import PersonShown, SessionShown
from scheduler.domain.base.enums import Role
from scheduler.domain.people.authentication import Proof
from scheduler.language import gettext as _
from scheduler.language import marked, ngettext
from scheduler.wording.figures import count_words, listed, moment

MAY = {
    Role.ENGINEER: marked("records work and hours, asks"),
    Role.CHIEF: marked("decides and signs too, and signs people in"),
    Role.HOTEL: marked("reads, and signs second as hotel"),
    Role.CHIEF_OFFICER: marked("reads, and signs second as chief officer"),
    Role.MASTER: marked("reads; signs and decides as master, and signs people in"),
    Role.OFFICE: marked("sets up and decides for every ship, exports"),
    Role.ADMIN: marked("sets up everything, on every ship; decides and signs nothing"),
    Role.COUNTER: marked("posts counters, and nothing else"),
    Role.SHIP: marked("the ship's own server brings what was written aboard"),
}
"""What each role may do, for a list."""
BY = {
    Proof.LINK: marked("by a link"),
    Proof.PASSPHRASE: marked("by passphrase"),
    Proof.PIN: marked("by PIN"),
    Proof.KEY: marked("by a key"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkShown:
    """A sign-in link just made: shown this once. until_at: how long it is good."""

    name: str
    link: str
    until_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyOnce:
    """A key just made: shown this once. both_days: how long the key it takes over from is good beside it, none for a new one."""

    label: str
    key: str
    both_days: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PeopleView:
    """The page.

    vessels: (id, name) of those within reach. roles: that may be given here. may_manage: the asker manages people,
    ships_keys: keys of ships. state: of the form
    that was refused, named by `refused` (what it does, and for whom); else empty.
    """

    frame: Frame
    now_at: datetime
    people: Sequence[PersonShown]
    keys: Sequence[KeyShown]
    computers: Sequence[ComputerShown]
    vessels: Sequence[tuple[str, str]]
    roles: Sequence[Role]
    may_manage: bool
    ships_keys: bool
    own_vessel: str | None
    this_computer: ComputerShown | None = None
    idempotency_key: str = ""
    refused: str = ""
    state: FormState = field(default_factory=FormState)
    link: LinkShown | None = None
    key: KeyOnce | None = None
    says: str = ""
    """What is to be seen to after a withdrawal."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonLine:
    """A person in words. key: vessel and id, for names of fields and forms."""

    person: PersonShown
    key: str
    where: str
    devices: tuple[tuple[str, str], ...]
    roles: tuple[Role, ...]


def people_page(view: PeopleView, *, light: str, csrf: str) -> str:
    """People aboard, where each is signed in, keys and shared computers."""
    names, offset = dict(view.vessels), view.frame.utc_offset_minutes
    lines = [_line(one, view, names, offset) for one in view.people]
    return render(
        "people.html",
        view.frame,
        light,
        csrf,
        view=view,
        heading=people_heading(view),
        aboard=[one for one in lines if one.person.withdrawn_at is None],
        gone=[one for one in lines if one.person.withdrawn_at is not None],
        keys=[(one, key_words(one, names, offset)) for one in view.keys],
        code=None
        if view.link is None
        else qr.svg(view.link.link, _("The sign-in link as a code for a phone's camera")),
        may={role: _(words) for role, words in MAY.items()},
        whose=[("", _("a gateway: posts counters"))] * view.may_manage
        + [(Role.SHIP.value, _("a ship's own server: brings what was written aboard"))] * view.ships_keys
        + [
            (one.key, _("{name}: does what this person may", name=one.person.name))
            for one in lines
            if one.person.withdrawn_at is None and (one.person.own or one.person.manageable)
        ],
    )


def people_heading(view: PeopleView) -> str:
    """The answer: who is just being signed in, or how many there are and how many of them are signed in nowhere."""
    if view.link is not None:
        return _("{name}: point the phone's camera at the code.", name=view.link.name)
    if view.key is not None:
        return _("The key for {label}, shown this once.", label=view.key.label)
    there = [one for one in view.people if one.withdrawn_at is None]
    said = count_words(len(there), "person", "people")
    nowhere = [one.name for one in there if (one.manageable or one.own) and not one.sessions]
    if not nowhere:
        return f"{said}."
    if len(nowhere) <= 2:
        return ngettext(
            "{said}; {names} is signed in nowhere.", "{said}; {names} are signed in nowhere.", len(nowhere)
        ).format(said=said, names=listed(nowhere))
    return _("{said}; {total} of them are signed in nowhere.", said=said, total=len(nowhere))


def _line(one: PersonShown, view: PeopleView, names: Mapping[str, str], offset_minutes: int) -> PersonLine:
    whole = not one.vessel_id
    return PersonLine(
        person=one,
        key=f"{one.vessel_id}/{one.id}",
        where=""
        if one.vessel_id == view.own_vessel
        else _("every ship")
        if whole
        else names.get(one.vessel_id, one.vessel_id),
        devices=tuple((session.id, device_words(session, offset_minutes)) for session in one.sessions),
        roles=tuple(role for role in view.roles if (role in (Role.OFFICE, Role.ADMIN)) is whole),
    )


def device_words(session: SessionShown, offset_minutes: int) -> str:
    """Where and since when somebody is signed in: "phone, by a link of Demo chief, since Mon 30 Nov 14:05, seen Mon 30 Nov 15:20"."""
    device = session.computer or (_("phone") if session.mobile else _("computer"))
    by = _(BY[session.proof]) + (_(" of {maker}", maker=session.link_by.partition(",")[0]) if session.link_by else "")
    since, seen_at = moment(session.since_at, offset_minutes), session.seen_at
    seen = (
        ""
        if seen_at is None or seen_at == session.since_at
        else _(", seen {moment}", moment=moment(seen_at, offset_minutes))
    )
    return _("{device}, {by}, since {since}{seen}", device=device, by=by, since=since, seen=seen)


def key_words(one: KeyShown, names: Mapping[str, str], offset_minutes: int) -> str:
    """Whose a key is, what it may, when it was used last and until when it is good."""
    where = names.get(one.vessel_id or "", one.vessel_id) if one.vessel_id else _("every ship")
    whose = (
        _("{person}, as {value}", person=one.person, value=code_words(one.role.value))
        if one.person
        else f"{where}: {_(MAY[one.role])}"
    )
    used = (
        _("not used yet")
        if one.last_used_at is None
        else _("last used {moment}", moment=moment(one.last_used_at, offset_minutes))
    )
    if one.state == "withdrawn" and one.revoked_at is not None:
        return f"{whose}. Withdrawn {moment(one.revoked_at, offset_minutes)}, {used}."
    if one.expires_at is None:
        return _("{whose}. Good until withdrawn, {used}.", whose=whose, used=used)
    ends = _("Ran out") if one.state == "run out" else _("Good until")
    return f"{whose}. {ends} {moment(one.expires_at, offset_minutes)}, {used}."
