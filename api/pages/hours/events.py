"""What people said of a counter, as lines; what waits for another person, and what can be undone, with their forms."""

import secrets

from api.pages.hours.asking import Back
from api.pages.hours.view import AskField, AskForm, EventLine
from scheduler.actions.base.actor import Actor
from scheduler.actions.hours.counter_events import ASKED, EventShown
from scheduler.actions.people.sides import AUTHORITY
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.wording.figures import moment, number
from scheduler.wording.hours import counts_words

SHOWN = 5
_KINDS = {
    "replacement": marked("Replacement"),
    "rescale": marked("Rescale"),
    "adjustment": marked("Adjustment"),
    "opening balance": marked("Opening balance"),
    "step decision": marked("Step decision"),
    "bad reading": marked("Bad reading"),
    "primary": marked("Primary"),
    "nothing missing": marked("Nothing missing"),
    "undo": marked("Undo"),
}
"""What a person reads of each kind of event."""
_STATES = {"asked": marked("waits for another person"), "confirmed": marked("confirmed"), "undone": marked("undone")}


def event_lines(
    events: tuple[EventShown, ...], counter: str, offset: int, actor: Actor, back: Back, *, may: bool, asks: bool
) -> tuple[EventLine, ...]:
    """The newest events and all that wait, newest first.

    may: whether this person records events at all. asks: of a ship that writes aboard, whether it may be asked that one is confirmed.
    """
    shown = [event for place, event in enumerate(events) if place < SHOWN or event.state == "asked"]
    return tuple(
        EventLine(
            words=event_words(event, offset),
            waits=event.state == "asked",
            forms=tuple(_forms(event, counter, actor, back) if may else _asking(event, counter, back) if asks else ()),
        )
        for event in shown
    )


def event_words(event: EventShown, offset: int) -> str:
    """One event in a sentence: what, when, by whom, why, and what became of it."""
    code = ASKED.get(event.kind, event.kind)
    what = _(_KINDS.get(code, code))
    hours = "" if event.hours is None else _(" of {number} h", number=number(event.hours, 1))
    state = _(_STATES[event.state]) if event.state in _STATES else ""
    values = [
        f"{name} {counts_words(milli)}"
        for name, key in ((_("old final"), "old_final_milli"), (_("new first"), "new_first_milli"))
        if isinstance(milli := event.detail.get(key), int)
    ]
    told = _("{event}{hours} at {moment}").format(
        event=what,
        hours=hours,
        moment=moment(event.at, offset),
    ) + (": " + ", ".join(values) if values else "")
    by = _("{by}, asked by {asked_by}", by=event.by, asked_by=event.asked_by) if event.asked_by else event.by
    return f"{told}. {by}: {event.reason}{f' ({state})' if state else ''}"


def _forms(event: EventShown, counter: str, actor: Actor, back: Back) -> list[AskForm]:
    own = event.detail.get("asked_by_id") == (actor.person_id or actor.id)
    found = []
    if event.state == "asked":
        if actor.role in AUTHORITY and not own:
            help_ = _("You are the second person: with your word it happens, and both names stand in the record.")
            found.append(
                _form(event, counter, "confirm", _("Confirm"), help_, _("Confirm"), back, _("Looked at and agreed."))
            )
        help_ = _("Nothing happens then; that it was asked for stays in the record.")
        found.append(_form(event, counter, "undo", _("Turn down"), help_, _("Turn down"), back, ""))
    elif event.state == "counts" and event.kind not in ("undo", "nothing missing"):
        help_ = _("It is taken back, hours given by their opposite entry; both stay in the record.")
        found.append(_form(event, counter, "undo", _("Undo"), help_, _("Undo this"), back, ""))
    return found


def _asking(event: EventShown, counter: str, back: Back) -> list[AskForm]:
    """What is asked of the ship: it is confirmed aboard, where it is looked at whether this is another person."""
    if event.state != "asked":
        return []
    help_ = _("It is asked of the ship and done aboard in your name; it counts once she says so.")
    agreed, button = _("Looked at and agreed."), _("Send it to the ship")
    return [_form(event, counter, "confirm", _("Confirm"), help_, button, back, agreed, asks=True)]


def _form(
    event: EventShown,
    counter: str,
    what: str,
    label: str,
    help_: str,
    button: str,
    back: Back,
    reason: str,
    *,
    asks: bool = False,
) -> AskForm:
    fid = f"e-{event.id}-{what}"
    mine = back.asked == fid
    return AskForm(
        id=fid,
        label=label,
        help=help_,
        action=f"/counters/{counter}/answers",
        button=button,
        hidden={"what": what, "event": event.id, "idempotency_key": secrets.token_hex(16)},
        fields=(
            AskField(
                name="reason",
                label=_("Reason"),
                value=back.values.get("reason", reason) if mine else reason,
                hint=_("It stays in the record"),
                attrs={"autocomplete": "off"},
                fault=back.faults.get("reason", "") if mine else "",
            ),
        ),
        says=back.says if mine else "",
        open=mine,
        asks=asks,
    )
