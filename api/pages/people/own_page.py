"""A person's own page: passphrase, PIN for shared computers, where one is signed in. Values in, text out."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from api.pages.people.list_page import device_words
from api.pages.shared.forms import FormState
from api.pages.shared.frame import Frame
from api.pages.shared.layout import render
from scheduler.actions.people.managing import SessionShown
from scheduler.domain.people.authentication import Proof
from scheduler.language import LANGUAGES
from scheduler.language import gettext as _
from scheduler.wording.figures import clock, moment


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnView:
    """The page.

    maker: name of who made the link this session came from, "" for none. proved_at: when the passphrase was given in this session.
    session_id: of this session. refused: what the form that was refused does. aboard: one of a ship's crew.
    """

    frame: Frame
    name: str
    rank: str
    by: Proof
    maker: str
    proved_at: datetime | None
    passphrase_at: datetime | None
    has_pin: bool
    aboard: bool
    language: str
    session_id: str
    sessions: Sequence[SessionShown]
    refused: str = ""
    state: FormState = field(default_factory=FormState)


def own_page(view: OwnView, *, light: str, csrf: str) -> str:
    """Who one is here, and what one can choose."""
    offset = view.frame.utc_offset_minutes
    return render(
        "you.html",
        view.frame,
        light,
        csrf,
        view=view,
        heading=own_heading(view),
        languages=LANGUAGES,
        sessions=[(one.id, device_words(one, offset), one.id == view.session_id) for one in view.sessions],
    )


def own_heading(view: OwnView) -> str:
    """What to do next, or since when the passphrase stands."""
    offset = view.frame.utc_offset_minutes
    if view.passphrase_at is None:
        return _("{name}: choose a passphrase, and nobody has to sign you in again.", name=view.name)
    if view.proved_at is not None:
        return _("{name}: you gave your passphrase at {clock}.", name=view.name, clock=clock(view.proved_at, offset))
    return _(
        "{name}: your passphrase stands since {moment}.", name=view.name, moment=moment(view.passphrase_at, offset)
    )
