"""Instants and lists as people read them, in ship time."""

from collections.abc import Sequence
from datetime import datetime

from scheduler.shiptime import ship_time


def ship_moment(at: datetime, offset_minutes: int) -> str:
    """Day and time aboard, as "Tue 3 Nov 14:05"."""
    there = ship_time(at, offset_minutes)
    return f"{there:%a} {there.day} {there:%b %H:%M}"


def ship_day(at: datetime, offset_minutes: int) -> str:
    """The day aboard, as "3 November"."""
    there = ship_time(at, offset_minutes)
    return f"{there.day} {there:%B}"


def list_words(names: Sequence[str], last: str = "and") -> str:
    """Names in a row: "a", "a and b", "a, b and c"; empty for none."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} {last} {names[-1]}"
