"""How a ship's line to her office stands, in words: what was not taken and why, and what to do."""

from collections.abc import Mapping
from typing import Any

from scheduler.domain.shore.line_state import LineStatus, ShoreState
from scheduler.language import gettext as _
from scheduler.language import marked, ngettext
from scheduler.wording.figures import moment, number

REFUSED: Mapping[str, tuple[str, str]] = {
    "newer": (
        marked("The program aboard is newer than the office's, so the office takes nothing."),
        marked("Ask the office to bring its program up to date. What waits goes then by itself."),
    ),
    "home": (
        marked("The office writes this vessel itself, so it takes nothing from aboard."),
        marked("Ask the office where this vessel is to be written. It can be one place only."),
    ),
    "broken": (
        marked("The office cannot read what was sent{number}."),
        marked("Have the database checked, then tell the office. Nothing is lost: it waits here."),
    ),
    "record chain": (
        marked("A record that was sent{number} does not continue the history that the office holds."),
        marked("Have the record walked here, then tell the office. Nothing is lost: it waits here."),
    ),
    "foreign": (
        marked("An id that was sent{number} is another vessel's at the office."),
        marked("Ask the office which vessel has it, and give the thing aboard another id."),
    ),
    "row": (
        marked("The office's tables do not take something that was sent{number}."),
        marked("Tell the office. Nothing is lost: it waits here."),
    ),
    "other ship": (
        marked("The key is another ship's."),
        marked("Put the key that the office made for this vessel into the key file."),
    ),
    "too old": (
        marked("The office lacks changes that are not kept here any more."),
        marked("Tell the office; this vessel has to join anew."),
    ),
    "other": (
        marked("The office takes nothing and does not say why (answer {status})."),
        marked("Ask the office. Nothing is lost: it waits here."),
    ),
}
"""By what the office answers: what it said, and what to do."""


_WELL = frozenset({ShoreState.NEW, ShoreState.REACHED})


def line_words(facts: Mapping[str, Any]) -> tuple[str, str]:
    """How a line stands, and what to do about it.

    Args:
        facts: `state`, `joining`, `waits`, and those of the state.
    """
    state = ShoreState(facts["state"])
    if facts["joining"]:
        return (
            _("Joining the office was broken off; nothing goes there."),
            _("Have whoever runs the server join this vessel again."),
        )
    if state is ShoreState.KEY:
        return _key(facts)
    if state is ShoreState.PARTED:
        return (
            _(
                "The office holds another history of this vessel, as after a backup was put back or where two servers "
                "send for her. It takes nothing until somebody there has decided."
            ),
            _("Tell the office what happened aboard. Work goes on as ever, and what waits stays here."),
        )
    if state is ShoreState.REFUSED:
        says, do = REFUSED.get(str(facts.get("code")), REFUSED["other"])
        at = facts.get("number")
        where = "" if at is None else _(" (change {number})", number=at)
        return _(says, number=where, status=facts.get("status", "")), _(do)
    if state in _WELL:
        says = (
            _("The office was reached at the last try.") if state is ShoreState.REACHED else _("Nothing was sent yet.")
        )
        return says, _("See that the server runs: it sends by itself.")
    return (
        _("The office is not reached. {why}", why=_why(facts)).rstrip(),
        _("Work goes on as ever; what waits goes by itself once the link is there."),
    )


def office_lines(status: LineStatus, offset_minutes: int) -> tuple[str, ...]:
    """A line to the office as a page shows it: where it goes, when it was reached, what waits, what is the matter, what to do."""
    says, do = line_words(status.said())
    reached = (
        _("Not reached yet.")
        if status.reached_at is None
        else _("Last reached {when}.", when=moment(status.reached_at, offset_minutes))
    )
    if status.state in _WELL and not status.joining:
        do = ""
    place = _("Sends to {address}.", address=status.address)
    return tuple(line for line in (place, reached, _waits(status, offset_minutes), says, do) if line)


def _waits(status: LineStatus, offset_minutes: int) -> str:
    if not status.waits:
        return _("Nothing waits.")
    many = number(status.waits)
    if status.oldest_at is None:
        return ngettext("{count} change waits.", "{count} changes wait.", status.waits, count=many)
    return ngettext(
        "{count} change waits, of {when}.",
        "{count} changes wait, the oldest of {when}.",
        status.waits,
        count=many,
        when=moment(status.oldest_at, offset_minutes),
    )


def _key(facts: Mapping[str, Any]) -> tuple[str, str]:
    if facts.get("code") == "no key file":
        says = _("The file with the ship's key for the office cannot be read.")
    else:
        says = _("The office does not know the ship's key, or has withdrawn it.")
    return says, _("Ask the office for a new key, and have whoever runs the server put it into the key file.")


_WHY: Mapping[str, str] = {
    "ConnectTimeout": marked("No connection came about in time."),
    "ConnectError": marked("No connection came about."),
    "ReadTimeout": marked("No answer came in time."),
    "WriteTimeout": marked("The link took nothing more."),
}


def _why(facts: Mapping[str, Any]) -> str:
    if facts.get("status") in (429, 503):
        return _("It asked to be tried again later.")
    if "status" in facts:
        return _("It answered {status}.", status=facts["status"])
    said: str | None = _WHY.get(str(facts.get("why")))
    return _("The link broke off.") if said is None else _(said)
