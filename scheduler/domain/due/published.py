"""When a published date moves: only when a reader would act on the difference.

A forecast moves a little with every reading. What was published stands until the likely date has moved by 7 days or 15 %
of the time to go, whichever is more; or the early date enters the planning window; or the hours are reached before the
published date. Nearer the date the 15 % shrink, so what is published is never far from what is reckoned.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

AHEAD_DAYS_MOVED, SHARE_MOVED = 7, 0.15


class MoveReason(StrEnum):
    """Why a published date moves."""

    FIRST = "first published"
    MOVED = "moved by more than a week and 15 % of the time to go"
    IN_WINDOW = "the early date has entered the planning window"
    REACHED = "the hours were reached before the published date"


@dataclass(frozen=True, slots=True, kw_only=True)
class Dates:
    """Early, likely and late date of a turn, reckoned at `as_of`."""

    early_at: datetime
    likely_at: datetime
    late_at: datetime
    as_of: datetime


def moved_enough(was_at: datetime, is_at: datetime, at: datetime, least_days: int = AHEAD_DAYS_MOVED) -> bool:
    """Whether a date moved by `least_days` or 15 % of the time that was to go at `at`, whichever is more."""
    to_go = max(was_at - at, timedelta(0))
    return abs(is_at - was_at) >= max(timedelta(days=least_days), to_go * SHARE_MOVED)


def why_moved(published: Dates | None, reckoned: Dates, planning_window: timedelta) -> MoveReason | None:
    """Why the published dates give way to those reckoned now (at `reckoned.as_of`); none: they stand.

    Args:
        published: none when nothing was published yet.
        planning_window: how far ahead jobs are given slots.
    """
    if published is None:
        return MoveReason.FIRST
    at = reckoned.as_of
    if published.likely_at == reckoned.likely_at and published.early_at == reckoned.early_at:
        return None
    if reckoned.likely_at <= at < published.likely_at:
        return MoveReason.REACHED
    inside = reckoned.early_at <= at + planning_window
    if inside and published.early_at > published.as_of + planning_window:
        return MoveReason.IN_WINDOW
    return MoveReason.MOVED if moved_enough(published.likely_at, reckoned.likely_at, at) else None
