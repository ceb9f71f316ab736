"""The strip "waits for you": a line a matter, one verb, and where it leads."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from scheduler.domain.base.matters import Matter, MatterCode
from scheduler.domain.feed.summary import Waiting
from scheduler.wording.figures import count_words
from scheduler.wording.waiting import matter_words


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitLine:
    """A matter: what it is, a few words on it, the verb and where it leads. ship: named on the fleet's page alone."""

    what: str
    words: str
    verb: str
    href: str
    ship: str = ""


def waits_heading(waits: tuple[WaitLine, ...]) -> str:
    """How many wait."""
    return count_words(len(waits), "waits for you", "wait for you")


def wait_lines(
    waiting: Iterable[Waiting], now_at: datetime, offset_minutes: int, ship: str = ""
) -> tuple[WaitLine, ...]:
    """The matters of one plant and its vessel as lines."""
    return tuple(
        WaitLine(**matter_words(one, now_at, offset_minutes)._asdict(), href=_href(one.matter), ship=ship)
        for one in waiting
    )


def _href(one: Matter) -> str:
    vessel, plant = f"/vessels/{one.vessel_id}", f"/plants/{one.plant_id}"
    return {
        MatterCode.POSTPONEMENT: f"{vessel}/decide/{one.number}",
        MatterCode.LOWER_MINIMUM: f"{plant}/minimum",
        MatterCode.FIRST_DATE: f"{vessel}/jobs/{one.job_key}",
        MatterCode.OFFICE_REQUEST: f"{vessel}/requests#r{one.number}",
        MatterCode.HANDOVER: f"{vessel}/handover",
        MatterCode.HELD_READING: f"{vessel}/counters",
        MatterCode.NEWER_PLAN: f"{plant}/plan#newer",
        MatterCode.NON_CONFORMITY: f"{vessel}/non-conformities/{one.number}"
        if one.count == 1
        else f"{vessel}/decisions#h-nc",
        MatterCode.NON_CONFORMITY_ANSWERED: f"{vessel}/non-conformities/{one.number}",
        MatterCode.VERSION: f"{vessel}/versions/{one.number}",
        MatterCode.MONTH: f"{vessel}/months/{one.text}#h-signed",
    }[one.code]
