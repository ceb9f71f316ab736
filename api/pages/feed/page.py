"""The page of a person's calendar addresses: its view, its words and its drawing into HTML. Values in, text out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from api.pages.feed.addresses import KEEP, REFRESH, AddressShown, address_is_local
from api.pages.shared import qr
from api.pages.shared.forms import FormState
from api.pages.shared.frame import Frame
from api.pages.shared.layout import render
from scheduler.actions.feed.addresses import Address
from scheduler.language import gettext as _
from scheduler.wording.figures import count_words, moment


@dataclass(frozen=True, slots=True, kw_only=True)
class AddressForm(FormState):
    """The form for a new address as typed, and what is wrong with it. kinds: codes that are ticked."""

    kinds: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class AddressesView:
    """The page.

    vessels: (id, name) of those the person may choose; the fleet too when `fleet`. kinds: (code, name). made: the
    address that is shown this once. served: (vessel name, made at, changed at) of the calendars as they are served.
    trouble: (vessel name, since) of calendars that could not be written.
    """

    frame: Frame
    now_at: datetime
    idempotency_key: str
    base_url: str
    addresses: Sequence[Address]
    vessels: Sequence[tuple[str, str]]
    fleet: bool
    kinds: Sequence[tuple[str, str]]
    form: AddressForm = field(default_factory=AddressForm)
    made: AddressShown | None = None
    changed: bool = False
    served: Sequence[tuple[str, datetime, datetime]] = ()
    trouble: Sequence[tuple[str, datetime]] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class AddressLine:
    """An address in words. good: it may still be changed or withdrawn."""

    id: str
    name: str
    shows: str
    state: str
    used: str
    good: bool


def addresses_page(view: AddressesView, *, light: str, csrf: str) -> str:
    """A person's calendar addresses: the one just made, those in use, the form for another, what to expect of them."""
    offset = view.frame.utc_offset_minutes
    names, kinds = dict(view.vessels), dict(view.kinds)
    code = None if view.made is None else qr.svg(view.made.webcal, _("The webcal address as a QR code"))
    return render(
        "feeds.html",
        view.frame,
        light,
        csrf,
        view=view,
        answer=addresses_heading(view),
        lines=[line(one, names, kinds, offset) for one in view.addresses],
        served=[
            _(
                "{name}: looked through {moment}, last changed {moment_2}.",
                name=name,
                moment=moment(made_at, offset),
                moment_2=moment(changed_at, offset),
            )
            for name, made_at, changed_at in view.served
        ],
        trouble=[
            _(
                "The calendar of {name} could not be written on {moment}. The last good one is being served, so "
                "what changed since is missing in it. Tell whoever keeps the server.",
                name=name,
                moment=moment(since_at, offset),
            )
            for name, since_at in view.trouble
        ],
        code=code,
        keep=[_(says) for says in KEEP],
        refresh=[_(says) for says in REFRESH],
        aboard=address_is_local(view.base_url),
    )


def addresses_heading(view: AddressesView) -> str:
    """The heading."""
    if view.made is not None:
        return _("The address is changed; the old one is dead.") if view.changed else _("Your new calendar address.")
    good = [one for one in view.addresses if one.state == "good"]
    if not good:
        return _("You have no calendar address yet.")
    said = count_words(len(good), "calendar address is", "calendar addresses are")
    used = [one for one in good if one.last_used_at is not None]
    if not used:
        return _("{said} in use; no program has fetched yet.", said=said)
    newest = max(one.last_used_at for one in used if one.last_used_at is not None)
    return _("{said} in use, last fetched {moment}.", said=said, moment=moment(newest, view.frame.utc_offset_minutes))


def line(one: Address, names: Mapping[str, str], kinds: Mapping[str, str], offset_minutes: int) -> AddressLine:
    """An address in words."""
    whose = _("Whole fleet") if one.vessel_id is None else names.get(one.vessel_id, one.vessel_id)
    which = _("all jobs") if one.kinds is None else ", ".join(kinds.get(code, code) for code in one.kinds)
    ahead = "" if one.days_ahead is None else _(", the next {days_ahead} days", days_ahead=one.days_ahead)
    until = _(", good until {moment}", moment=moment(one.expires_at, offset_minutes)) if one.expires_at else ""
    state = {
        "good": _("In use{until}", until=until),
        "withdrawn": _("Withdrawn {moment}", moment=moment(one.revoked_at or one.made_at, offset_minutes)),
        "run out": _("Ran out {moment}", moment=moment(one.expires_at or one.made_at, offset_minutes)),
    }[one.state]
    used = _("Not fetched yet")
    if one.last_used_at is not None:
        used = _(
            "Last fetched {moment} by {agent}",
            moment=moment(one.last_used_at, offset_minutes),
            agent=one.agent or _("a program without a name"),
        )
    alarms = _(", reminders at ") + f"{one.alarm_hour}:00" if one.alarms else ""
    return AddressLine(
        id=one.id,
        name=one.label or whose,
        shows=f"{whose}: {which}{ahead}{alarms}",
        state=state,
        used=used,
        good=one.state == "good",
    )
