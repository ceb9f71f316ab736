"""Why nothing of what a ship sent was taken, in words: for her server's log, the office's page and doctor."""

from collections.abc import Mapping
from typing import Any

from scheduler.domain.shore.frame import BatchFault
from scheduler.domain.shore.taking import AgainstTaking
from scheduler.language import gettext as _
from scheduler.language import marked, ngettext
from scheduler.wording.figures import listed, number

_FAULTS = {
    BatchFault.NOT_PACKED.value: marked("it is not packed as a batch is"),
    BatchFault.TOO_LARGE.value: marked("it is larger than a batch may be"),
    BatchFault.NOT_A_BATCH.value: marked("what is in it is no batch"),
    BatchFault.FORM.value: marked("it is of a form that is not known here"),
    BatchFault.NUMBER.value: marked("its numbers leave a change out"),
    BatchFault.CHAIN.value: marked("its chain does not hold: something in it was changed on the way"),
}
"""What is wrong with a frame."""


def not_taken_words(why: AgainstTaking, figures: Mapping[str, Any], ship: str, names: Mapping[str, str]) -> str:
    """What was not taken, why, and what to do. ship: her name; names: of every vessel by id."""
    number, other = figures.get("number"), names.get(str(figures.get("other")), str(figures.get("other")))
    if why is AgainstTaking.BROKEN:
        fault = _(_FAULTS.get(str(figures.get("fault")), marked("it cannot be read")))
        if number is None:
            return _(
                "Nothing of what {ship} sent was taken: {fault}. Her server sends it again.", ship=ship, fault=fault
            )
        return _(
            "Nothing of what {ship} sent was taken, from change {number} on: {fault}. Her server sends it again.",
            ship=ship,
            number=number,
            fault=fault,
        )
    if why is AgainstTaking.RECORD_CHAIN:
        return _(
            "Nothing was taken: in change {number} of {ship} record {record} does not continue her history as it stands here. "
            "Her records aboard are to be verified.",
            number=number,
            ship=ship,
            record=figures.get("record"),
        )
    if why is AgainstTaking.FOREIGN:
        return _(
            "Nothing was taken: {ids} of {ship} belongs to {other} already. Ids are unique over all ships; one of the two "
            "changes hers.",
            ids=listed([str(one) for one in figures.get("ids", ())]),
            ship=ship,
            other=other,
        )
    if why is AgainstTaking.PARTED and number is None:
        return _(
            "Nothing more of {ship} is taken: what was sent is another history than the one held here. Somebody of the office "
            "says which one goes on.",
            ship=ship,
        )
    if why is AgainstTaking.PARTED:
        return _(
            "Nothing more of {ship} is taken: what was sent goes its own way after change {number}, and {held} are held here. "
            "Somebody of the office says which one goes on.",
            ship=ship,
            number=number,
            held=figures.get("held"),
        )
    return _(_PLAIN[why], ship=ship, number=number, other=other)


_PLAIN = {
    AgainstTaking.OTHER_SHIP: marked(
        "Nothing was taken: {ship} sent what is {other}'s. Her server's key or vessel is to be put right."
    ),
    AgainstTaking.HOME: marked(
        "Nothing was taken: {ship} is written here, at the office, and has one place to be written in."
    ),
    AgainstTaking.NEWER: marked(
        "Nothing was taken: {ship} runs a newer program than the office. The office is upgraded first."
    ),
    AgainstTaking.GAP: marked(
        "What {ship} sent begins after change {number}, which is the last one held here. Her server goes back to it."
    ),
    AgainstTaking.ROW: marked("Nothing was taken: change {number} of {ship} holds what the tables here do not take."),
}


def ship_clock_words(skew_s: int) -> str:
    """How far a ship's clock is off. skew_s: her clock ahead of ours."""
    far = _far(abs(skew_s))
    if skew_s > 0:
        return _("Her server's clock is {time} ahead of the office's.", time=far)
    return _("Her server's clock is {time} behind the office's.", time=far)


def _far(seconds: int) -> str:
    minutes = round(seconds / 60)
    if minutes < 120:
        return f"{minutes} min"
    if minutes < 48 * 60:
        return f"{round(minutes / 60)} h"
    days = round(minutes / 1440)
    return ngettext("{count} day", "{count} days", days, count=number(days))


def requests_waiting_words(count: int) -> str:
    """How many requests a ship has not fetched."""
    return ngettext("{count} request waits to be fetched.", "{count} requests wait to be fetched.", count, count=count)
