"""The only place that asks the time."""

from collections.abc import Callable
from datetime import UTC, datetime

Clock = Callable[[], datetime]
"""Gives the present instant, aware, in UTC."""


def system_clock() -> datetime:
    """The machine's time, aware, in UTC."""
    return datetime.now(UTC)


def fixed_clock(at: datetime) -> Clock:
    """A clock that always says `at`, for tests and for `leadline demo --check`."""
    if at.tzinfo is None:
        raise ValueError("a clock needs an aware instant")
    return lambda: at
