"""How a ship's line to her office stands, seen from aboard."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Any

from scheduler.domain.checks.diagnosis import About, Diagnosis

AWAY_LONG = timedelta(days=1)
"""A link that is down for less is nothing to look at."""


class ShoreState(StrEnum):
    """What came of the last post. The ship works on as ever in all of them."""

    NEW = ""
    REACHED = "reached"
    AWAY = "away"
    KEY = "key"
    """The office does not know the key, or withdrew it."""
    PARTED = "parted"
    """The office holds another life of this ship: a person there decides."""
    REFUSED = "refused"
    """The office cannot take what is sent; `code` says why."""


FOR_A_PERSON = frozenset({ShoreState.KEY, ShoreState.PARTED, ShoreState.REFUSED})
"""Nothing is sent until a person has seen to it; the ship asks again each hour."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LineStatus:
    """A vessel's line to her office.

    waits: changes that the office has not; oldest_at: of the first of them. since_at: since when a person is waited for. facts: of
    the state, such as `code`, `number`, `status`.
    """

    vessel_id: str
    address: str
    state: ShoreState
    joining: bool
    waits: int
    oldest_at: datetime | None
    reached_at: datetime | None
    tried_at: datetime | None
    since_at: datetime | None
    joined_at: datetime
    life: str
    number: int
    acknowledged: int
    facts: Mapping[str, Any] = field(default_factory=dict)

    def said(self) -> dict[str, Any]:
        """What its sentence is made from."""
        return {**self.facts, "state": self.state, "joining": self.joining, "waits": self.waits}


def of_line(status: LineStatus, name: str, now: datetime) -> Diagnosis | None:
    """What there is to look at: what a person must see to; as a note, an office that has not been reached for a day."""
    since_at = status.reached_at or status.joined_at
    if status.joining or status.state in FOR_A_PERSON:
        since_at = status.since_at or since_at
    elif now - since_at <= AWAY_LONG:
        return None
    note = not status.joining and status.state not in FOR_A_PERSON
    return Diagnosis(
        about=About.OFFICE, which=status.vessel_id, name=name, facts=status.said(), since_at=since_at, note=note
    )
