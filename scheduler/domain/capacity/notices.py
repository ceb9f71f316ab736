"""Who is told that a pump stopped, and when: a fact on record."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any

STOP_NOTICE = "told of the stop"
"""Kind of its record."""


class Notified(StrEnum):
    """Whom a ship tells that a pump stopped. Common practice, no source; the ship's own list rules."""

    CHIEF = "chief"
    BRIDGE = "bridge"
    HOTEL = "hotel"
    CHIEF_OFFICER = "chief officer"
    MASTER = "master"
    OFFICE = "office"


@dataclass(frozen=True, slots=True)
class StopNotice:
    """Somebody was told of a stop. by: who says so; record: its number."""

    whom: Notified
    at: datetime
    by: str
    record: int


def notices_of(
    records: Iterable[tuple[int, Mapping[str, Any]]], pump: str, stopped_at: datetime
) -> tuple[StopNotice, ...]:
    """Those of one stop, in order of their records.

    Args:
        records: (number, members) of records of that kind.
    """
    found = [
        StopNotice(Notified(one["whom"]), datetime.fromisoformat(one["at"]), str(one["by"]), number)
        for number, one in records
        if one["pump"] == pump and datetime.fromisoformat(one["stopped_at"]) == stopped_at
    ]
    return tuple(sorted(found, key=lambda one: one.record))
